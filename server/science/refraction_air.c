/* SPDX-License-Identifier: MIT */
/* refraction_air: the refraction constants of a site's air. libm only, so that a
 * run can be reduced anywhere.
 *
 * Light is bent by the refractivity of the air at the ground, gamma, and by how
 * fast the air thins with height, beta (its scale height over the Earth's radius):
 * A = gamma (1 - beta), B = -gamma (beta - gamma / 2). */
#include "server/science/angle.h"
#include "server/science/refraction.h"

#define SEA_LEVEL_HPA 1013.25   /* ISO 2533 */
#define SEA_LEVEL_K 288.15      /* ISO 2533 */
#define LAPSE_K_PER_M 0.0065    /* ISO 2533, to 11 km */
#define LAPSE_EXPONENT 5.255876 /* g / (R L), ISO 2533 */
#define HUMIDITY 0.5            /* matters by 0.1" */
#define WAVELENGTH_UM 0.55      /* where the eye is most sensitive */
#define KELVIN_0C 273.15
#define SCALE_PER_K 4.4474e-6 /* scale height over the Earth's radius, per kelvin */

/* Partial pressure of water vapour, hPa: Gill's saturation formula (1982) with its
 * correction for moist air. */
static double vapour_hpa(double pressure_hpa, double temperature_c, double humidity) {
    double saturated_hpa =
        pow(10.0, (0.7859 + 0.03477 * temperature_c) / (1.0 + 0.00412 * temperature_c)) *
        (1.0 + pressure_hpa * (4.5e-6 + 6e-10 * temperature_c * temperature_c));
    return humidity * saturated_hpa / (1.0 - (1.0 - humidity) * saturated_hpa / pressure_hpa);
}

struct refraction refraction_constants(double pressure_hpa, double temperature_c, double humidity,
                                       double wavelength_um) {
    double kelvin = temperature_c + KELVIN_0C;
    double per_um2 = 1.0 / (wavelength_um * wavelength_um);
    double dispersion = 77.53484e-6 + (4.39108e-7 + 3.666e-9 * per_um2) * per_um2;
    double vapour = vapour_hpa(pressure_hpa, temperature_c, humidity);
    double gamma = (dispersion * pressure_hpa - 11.2684e-6 * vapour) / kelvin;
    double beta = SCALE_PER_K * kelvin;
    return (struct refraction){gamma * (1.0 - beta) * ANGLE_DEG_PER_RAD,
                               -gamma * (beta - 0.5 * gamma) * ANGLE_DEG_PER_RAD};
}

struct refraction refraction_at(double elevation_m, double pressure_hpa, double temperature_c) {
    double standard_k = SEA_LEVEL_K - LAPSE_K_PER_M * elevation_m;
    if (isnan(pressure_hpa))
        pressure_hpa = SEA_LEVEL_HPA * pow(standard_k / SEA_LEVEL_K, LAPSE_EXPONENT);
    if (isnan(temperature_c))
        temperature_c = standard_k - KELVIN_0C;
    return refraction_constants(pressure_hpa, temperature_c, HUMIDITY, WAVELENGTH_UM);
}
