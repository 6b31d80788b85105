/* SPDX-License-Identifier: MIT */
/* refraction: how much higher the air makes the Sun appear.
 *
 * dz = A tan z + B tan^3 z at 0.55 um. Good
 * to about 0.3" above 20 degrees altitude and 1" at z = 78; refused beyond
 * z = 80, where two terms no longer serve. Without measured air the standard
 * atmosphere at the site's elevation is assumed (ISO 2533: 1013.25 hPa, 15 C,
 * 6.5 K/km), which real weather leaves by up to 5 %, 3" at z = 45.
 * References: Gill, Atmosphere-Ocean Dynamics (1982), for water vapour; Green,
 * Spherical Astronomy (1985), 4.3, for A and B; Hohenkerk & Sinclair, NAO Technical
 * Note 63 (1985), for ray tracing. The constants agree with ERFA's refco to the last
 * digits (a test). */
#ifndef NOONARC_REFRACTION_H
#define NOONARC_REFRACTION_H

#define REFRACTION_LIMIT_DEG 80.0

struct refraction {
    double a_deg; /* dz = a tan z + b tan^3 z, z apparent */
    double b_deg;
};

/* Constants for a site. pressure_hpa (300..1100) and temperature_c (-60..60)
 * may be NAN each: the standard atmosphere at elevation_m (-500..9000) then
 * fills it in. */
struct refraction refraction_at(double elevation_m, double pressure_hpa, double temperature_c);

/* The same from the air itself: relative humidity 0..1, wavelength 0.3..1 um. */
struct refraction refraction_constants(double pressure_hpa, double temperature_c, double humidity,
                                       double wavelength_um);

/* Refraction in degrees at apparent zenith distance 0..80 degrees; the same where the
 * tangent of that is known. */
double refraction_of_apparent(const struct refraction *air, double apparent_zenith_deg);
double refraction_of_tangent(const struct refraction *air, double apparent_tangent);

/* Apparent zenith distance of a body at true (airless) zenith distance
 * 0..80 degrees: inverse of the above, to 1e-9 degrees. */
double refraction_apparent_zenith_deg(const struct refraction *air, double true_zenith_deg);

#endif
