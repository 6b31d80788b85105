/* SPDX-License-Identifier: MIT */
/* standing: exact sums, and their quotients. libm only. */
#include "server/science/standing.h"

#include <assert.h>
#include <math.h>

#include "server/science/meridian.h"

#define SIGMA_LEAST_DEG 0.01
#define SAME_FIGURE 1e-8 /* figures nearer than this share differ by rounding alone */

#define WEIGHT_UNIT 0x1p-36
#define ALONG_UNIT 0x1p-39
#define OFF_UNIT 0x1p-45
#define HANDBOOK_DEG_KM (360.0 / MERIDIAN_CIRCUMFERENCE_KM)

double standing_handbook_deg(double meridian_km) {
    return HANDBOOK_DEG_KM * meridian_km;
}

struct standing_point standing_point_of(double meridian_km, double off_deg, double sigma_deg) {
    const double sigma = fmax(sigma_deg, SIGMA_LEAST_DEG);
    assert(fabs(meridian_km) <= 10100.0 && fabs(off_deg) <= 250.0);
    return (struct standing_point){
        .weight = llround(1.0 / (sigma * sigma) / WEIGHT_UNIT),
        .along = llround(meridian_km / ALONG_UNIT),
        .off = llround(off_deg / OFF_UNIT),
    };
}

void standing_join(struct standing_crowd *crowd, const struct standing_point *point) {
    const __int128 along = (__int128)point->weight * point->along;
    crowd->weight += point->weight;
    crowd->along += along;
    crowd->off += (__int128)point->weight * point->off;
    crowd->square = wide_plus(crowd->square, wide_times(wide_of(along), point->along));
    crowd->off_along = wide_plus(crowd->off_along, wide_times(wide_of(along), point->off));
    crowd->points++;
}

struct standing_crowd standing_without(const struct standing_crowd *crowd,
                                       const struct standing_crowd *part) {
    return (struct standing_crowd){
        .weight = crowd->weight - part->weight,
        .along = crowd->along - part->along,
        .off = crowd->off - part->off,
        .square = wide_minus(crowd->square, part->square),
        .off_along = wide_minus(crowd->off_along, part->off_along),
        .points = crowd->points - part->points,
    };
}

void standing_add_crowd(struct standing_sums *sums, const struct standing_point *site,
                        const struct standing_crowd *crowd) {
    /* The products of sums and differences, multiplied out. */
    const struct wide along = wide_times(wide_of(crowd->weight), site->along);
    const struct wide crowd_along = wide_of(crowd->along), crowd_off = wide_of(crowd->off);
    const struct wide apart = wide_minus(along, crowd_along);
    sums->off = wide_plus(sums->off, wide_times(apart, site->off));
    sums->off = wide_minus(sums->off, wide_times(crowd_off, site->along));
    sums->off = wide_plus(sums->off, crowd->off_along);
    sums->square = wide_plus(sums->square, wide_times(apart, site->along));
    sums->square = wide_minus(sums->square, wide_times(crowd_along, site->along));
    sums->square = wide_plus(sums->square, crowd->square);
    sums->along += wide_low(apart);
    sums->partners += crowd->points;
}

static double square_of(const struct standing_sums *sums) {
    return wide_double(sums->square) * (WEIGHT_UNIT * ALONG_UNIT * ALONG_UNIT);
}

/* NAN where it says nothing. */
static double slope_of(const struct standing_sums *sums, double square) {
    const double off = wide_double(sums->off) * (WEIGHT_UNIT * ALONG_UNIT * OFF_UNIT);
    const double slope = HANDBOOK_DEG_KM + off / square;
    return sums->partners > 0 && square > 0.0 && slope > 0.0 ? slope : NAN;
}

double standing_circumference_km(const struct standing_sums *sums) {
    return 360.0 / slope_of(sums, square_of(sums));
}

bool standing_make(const struct standing_sums *sums, double own_sigma_deg,
                   struct standing_figure *out) {
    const double square = square_of(sums), slope = slope_of(sums, square);
    const double own = own_sigma_deg * (double)sums->along * (WEIGHT_UNIT * ALONG_UNIT);
    if (isnan(slope))
        return false;
    double slope_sigma = sqrt(square + own * own) / square;
    out->circumference_km = 360.0 / slope;
    out->sigma_km = out->circumference_km * slope_sigma / slope;
    out->partners = sums->partners;
    return true;
}

double standing_score(double error_deg, double sigma_deg) {
    double z = error_deg / sigma_deg;
    return log(sigma_deg) + 0.5 * z * z;
}

/* The two sites of one pair have one figure, worked out from either end. */
static bool equal(double one, double two) {
    return fabs(one - two) <= SAME_FIGURE * fmax(fabs(one), fabs(two));
}

void standing_places(const double *sorted, size_t count, int *place) {
    for (size_t i = 0; i < count; i++)
        place[i] = i > 0 && equal(sorted[i], sorted[i - 1]) ? place[i - 1] : (int)i + 1;
}
