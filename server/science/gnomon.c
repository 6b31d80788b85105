/* SPDX-License-Identifier: MIT */
/* gnomon: shadow to zenith distance and back. libm only. */
#include "server/science/gnomon.h"

#include <stddef.h>
#include <string.h>

#include "server/science/angle.h"

#define TAPE_SIGMA_M 0.0005     /* a tape read to the millimetre, both ends */
#define TAPE_SIGMA_PER_M 0.0003 /* and held straight */

static const char *const edge_names[EDGE_COUNT] = {
    [EDGE_UMBRA] = "umbra",
    [EDGE_PENUMBRA] = "penumbra",
    [EDGE_CENTRE] = "centre",
};

const char *edge_name(enum edge edge) {
    return edge_names[edge];
}

bool edge_parse(const char *name, enum edge *out) {
    for (int edge = 0; edge < EDGE_COUNT; edge++) {
        if (strcmp(edge_names[edge], name) == 0) {
            *out = (enum edge)edge;
            return true;
        }
    }
    return false;
}

struct length gnomon_height(const struct gnomon *gnomon) {
    double value_m = 0.0, variance_m2 = 0.0;
    for (int i = 0; i < gnomon->parts; i++) {
        const struct length *part = &gnomon->part[i];
        double sigma_m =
            isnan(part->sigma_m) ? TAPE_SIGMA_M + TAPE_SIGMA_PER_M * part->value_m : part->sigma_m;
        value_m += part->value_m;
        variance_m2 += sigma_m * sigma_m;
    }
    return (struct length){value_m, sqrt(variance_m2)};
}

double gnomon_apparent_zenith_deg(double height_m, double shadow_m) {
    return atan2(shadow_m, height_m) * ANGLE_DEG_PER_RAD;
}

/* Where the limb that casts the edge stands, seen from the Sun's centre (deg of
 * zenith distance): the umbra ends by the upper limb, nearer to the zenith. */
static double limb_offset_deg(enum edge edge, double semidiameter_deg) {
    switch (edge) {
    case EDGE_UMBRA:
        return -semidiameter_deg;
    case EDGE_PENUMBRA:
        return semidiameter_deg;
    case EDGE_CENTRE:
        break;
    }
    return 0.0;
}

double gnomon_zenith_deg(double height_m, double shadow_m, enum edge edge,
                         const struct refraction *air, const struct sun_place *sun) {
    return gnomon_zenith(height_m, shadow_m, edge, air, sun).deg;
}

struct zenith gnomon_zenith(double height_m, double shadow_m, enum edge edge,
                            const struct refraction *air, const struct sun_place *sun) {
    const double tangent = shadow_m / height_m;
    const double limb_deg = atan(tangent) * ANGLE_DEG_PER_RAD;
    if (!(limb_deg <= REFRACTION_LIMIT_DEG))
        return (struct zenith){NAN, NAN, NAN};
    double cosine = 1.0 / sqrt(1.0 + tangent * tangent), sine = tangent * cosine;
    /* From the limb through the air to the centre, then to the centre of the Earth. */
    double turned_deg =
        refraction_of_tangent(air, tangent) - limb_offset_deg(edge, sun->semidiameter_deg);
    angle_turn(&sine, &cosine, turned_deg);
    double parallax_deg = sun->parallax_deg * sine;
    angle_turn(&sine, &cosine, -parallax_deg);
    return (struct zenith){limb_deg + turned_deg - parallax_deg, sine, cosine};
}

double gnomon_shadow_m(double height_m, double zenith_deg, enum edge edge,
                       const struct refraction *air, const struct sun_place *sun) {
    double seen_deg = zenith_deg;
    for (int round = 0; round < 3; round++) /* parallax is 4e-5: each round gains as much */
        seen_deg = zenith_deg + sun->parallax_deg * angle_sin(seen_deg);
    double limb_deg = seen_deg + limb_offset_deg(edge, sun->semidiameter_deg);
    return height_m * angle_tan(refraction_apparent_zenith_deg(air, limb_deg));
}

double gnomon_fuzzy_width_m(double height_m, double apparent_zenith_deg, double semidiameter_deg) {
    return gnomon_fuzzy_shadow_m(height_m, height_m * angle_tan(apparent_zenith_deg),
                                 semidiameter_deg);
}

double gnomon_fuzzy_shadow_m(double height_m, double shadow_m, double semidiameter_deg) {
    /* The difference of the tangents is sin 2s / (cos(z + s) cos(z - s)), and that product
     * cos^2 z - sin^2 s. */
    double sine = 0.0, cosine = 1.0, height2 = height_m * height_m;
    angle_turn(&sine, &cosine, semidiameter_deg);
    double cosine2 = height2 / (height2 + shadow_m * shadow_m);
    return height_m * 2.0 * sine * cosine / (cosine2 - sine * sine);
}
