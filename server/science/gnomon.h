/* SPDX-License-Identifier: MIT */
/* gnomon: from a shadow on the ground to the zenith distance of the Sun's
 * centre, and back.
 *
 * The Sun is a disc, so a shadow has a fuzzy end. With semidiameter s, height h
 * and the centre at apparent zenith distance z: full shadow (umbra) ends at
 * h tan(z - s), where the upper limb is just hidden; the last trace (outer edge
 * of the penumbra) at h tan(z + s), the lower limb; half light near h tan z.
 * Each limb is refracted at its own altitude. Never the small-angle shortcut. */
#ifndef NOONARC_GNOMON_H
#define NOONARC_GNOMON_H

#include <stdbool.h>

#include "server/science/refraction.h"
#include "server/science/sun.h"

#define GNOMON_PARTS_MAX 6
#define GNOMON_HEIGHT_MIN_M 0.02
#define GNOMON_HEIGHT_MAX_M 100.0

/* Which end of the fuzzy zone the class marks. */
enum edge { EDGE_UMBRA, EDGE_PENUMBRA, EDGE_CENTRE };
#define EDGE_COUNT 3

/* "umbra", "penumbra", "centre". */
const char *edge_name(enum edge edge);
bool edge_parse(const char *name, enum edge *out);

/* A length with its standard uncertainty; sigma_m is NAN when none was given. */
struct length {
    double value_m;
    double sigma_m;
};

/* A height often comes as two tape lengths (base to mark, mark to top). */
struct gnomon {
    struct length part[GNOMON_PARTS_MAX];
    int parts;
    enum edge edge;
};

/* Sum of the parts; sigma is the root of the sum of squares, a part without
 * sigma counting 0.5 mm and 0.0003 of its length, which is what a tape read to
 * the millimetre and held straight gives. */
struct length gnomon_height(const struct gnomon *gnomon);

/* Apparent zenith distance (degrees) of the limb or centre that the marked edge
 * belongs to: atan(shadow / height). */
double gnomon_apparent_zenith_deg(double height_m, double shadow_m);

/* Zenith distance (degrees) of the Sun's centre, freed from edge, refraction
 * and parallax: geocentric, unsigned. NAN beyond REFRACTION_LIMIT_DEG. */
double gnomon_zenith_deg(double height_m, double shadow_m, enum edge edge,
                         const struct refraction *air, const struct sun_place *sun);

/* The same with its sine and cosine, which the shadow gives almost for nothing. */
struct zenith {
    double deg, sine, cosine;
};
struct zenith gnomon_zenith(double height_m, double shadow_m, enum edge edge,
                            const struct refraction *air, const struct sun_place *sun);

/* The shadow (m) that a gnomon of height_m throws with the Sun's centre at this
 * geocentric zenith distance: the inverse of gnomon_zenith_deg. */
double gnomon_shadow_m(double height_m, double zenith_deg, enum edge edge,
                       const struct refraction *air, const struct sun_place *sun);

/* Width (m) of the fuzzy zone: h [tan(z + s) - tan(z - s)], z apparent; and the same
 * about the end of a shadow, tan z being shadow over height. */
double gnomon_fuzzy_width_m(double height_m, double apparent_zenith_deg, double semidiameter_deg);
double gnomon_fuzzy_shadow_m(double height_m, double shadow_m, double semidiameter_deg);

#endif
