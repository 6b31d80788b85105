/* SPDX-License-Identifier: MIT */
/* standing: how a site did, for the leaderboard.
 *
 * A site's own circumference comes from the line through its own point: with
 * noon angles z, meridian distances s and partners j, each differenced against
 * the site itself, slope = sum(w dz s) / sum(w s^2), w = 1 / sigma_j^2, and
 * C = 360 / slope. The site's own error moves every difference alike:
 * var(slope) = [sum(w s^2) + sigma^2 (sum(w s))^2] / (sum(w s^2))^2. What two
 * sites share because they mark the same edge is not taken out, so sigma errs to
 * the large side.
 *
 * Points stand on a grid finer than doubles are, and sums over them are exact whole
 * numbers: partner by partner or many at once, in whatever order, and with partners
 * taken away again, they come to the same last bit. Angles count from the handbook's
 * meridian, z - 360 s / 40 007.863 km, which leaves small differences small. */
#ifndef NOONARC_STANDING_H
#define NOONARC_STANDING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/science/wide.h"

/* A site's point on the grid. */
struct standing_point {
    int64_t weight; /* 2^-36 / deg^2 */
    int64_t along;  /* distance from the equator, 2^-39 km */
    int64_t off;    /* angle above the handbook's meridian, 2^-45 deg */
};

/* meridian_km within +-10 100, north positive; off_deg = angle_deg - standing_handbook_deg,
 * within +-250; sigma_deg > 0, below 0.01 it counts as 0.01. */
struct standing_point standing_point_of(double meridian_km, double off_deg, double sigma_deg);

/* The angle that the handbook's meridian makes of a distance. */
double standing_handbook_deg(double meridian_km);

/* What a site's partners lend it; starts all zero. Room for sixteen million. */
struct standing_sums {
    struct wide off, square; /* of w d(off) d(along), w d(along)^2 */
    __int128 along;          /* of w d(along) */
    int32_t partners;
};

/* A site as seen from a partner. From the other side only along turns round. */
struct standing_apart {
    __int128 off, square; /* d(off) d(along), d(along)^2 */
    int64_t along;
};

static inline struct standing_apart standing_apart(const struct standing_point *site,
                                                   const struct standing_point *partner) {
    const int64_t along = site->along - partner->along, off = site->off - partner->off;
    return (struct standing_apart){(__int128)off * along, (__int128)along * along, along};
}

static inline struct standing_apart standing_turned(struct standing_apart apart) {
    apart.along = -apart.along;
    return apart;
}

/* Adds a partner of that weight to a site's sums, or takes it away again. */
static inline void standing_add(struct standing_sums *sums, struct standing_apart apart,
                                int64_t weight) {
    sums->off = wide_plus(sums->off, wide_product(apart.off, weight));
    sums->square = wide_plus(sums->square, wide_product(apart.square, weight));
    sums->along += (__int128)weight * apart.along;
    sums->partners++;
}
static inline void standing_take(struct standing_sums *sums, struct standing_apart apart,
                                 int64_t weight) {
    sums->off = wide_minus(sums->off, wide_product(apart.off, weight));
    sums->square = wide_minus(sums->square, wide_product(apart.square, weight));
    sums->along -= (__int128)weight * apart.along;
    sums->partners--;
}

/* Many points at once: sums over them that belong to no site as yet. */
struct standing_crowd {
    __int128 weight, along, off;   /* of w, w along, w off */
    struct wide square, off_along; /* of w along^2, w off along */
    int32_t points;
};

void standing_join(struct standing_crowd *crowd, const struct standing_point *point);

/* The crowd without a part of it. */
struct standing_crowd standing_without(const struct standing_crowd *crowd,
                                       const struct standing_crowd *part);

/* Adds all points of a crowd as partners. */
void standing_add_crowd(struct standing_sums *sums, const struct standing_point *site,
                        const struct standing_crowd *crowd);

struct standing_figure {
    double circumference_km;
    double sigma_km;
    int partners;
};

/* The site's own circumference. False, and out untouched, without partners or with
 * a slope that is not positive. own_sigma_deg > 0. */
bool standing_make(const struct standing_sums *sums, double own_sigma_deg,
                   struct standing_figure *out);

/* That of standing_make, alone; NAN without one. */
double standing_circumference_km(const struct standing_sums *sums);

/* Score of a stated sigma (deg, > 0) against what happened (deg): ln sigma + z^2 / 2
 * with z = error / sigma, the logarithmic score of a normal forecast less its
 * constant. Lower is better; it is least, on average, for the sigma that is true
 * (Good, J. R. Stat. Soc. B 14 (1952) 107). */
double standing_score(double error_deg, double sigma_deg);

/* Places 1, 2, 2, 4 ... of figures sorted from best (smallest) to worst; equal
 * figures (to 1e-8 of themselves) share a place. */
void standing_places(const double *sorted, size_t count, int *place);

#endif
