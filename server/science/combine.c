/* SPDX-License-Identifier: MIT */
/* combine: the one line through all noons of a day. Sums run in the order of
 * (group, key), so that the same set gives the same bits. libm only. */
#include "server/science/combine.h"

#include <math.h>
#include <stdlib.h>

#include "server/science/order.h"

#define STRAY_SIGMAS 4.0
#define STRAY_SHARE 0.25 /* at most this share of the sites is left out */
#define JUDGED_SITES 5   /* fewer sites cannot tell which of them is wrong */
#define SURE_SIGMAS 2.0

static const char *const status_names[] = {
    [COMBINE_OK] = "ok",
    [COMBINE_TOO_FEW] = "too_few",
    [COMBINE_UNSURE] = "unsure",
};

const char *combine_status_name(enum combine_status status) {
    return status_names[status];
}

static int by_group_key(const void *left, const void *right) {
    const struct combine_point *a = left, *b = right;
    if (a->group != b->group)
        return a->group < b->group ? -1 : 1;
    return (a->key > b->key) - (a->key < b->key);
}

/* As they mostly come: sorting costs more than all the sums. */
static bool in_order(const struct combine_point *points, size_t count) {
    size_t i = 1;
    while (i < count && by_group_key(&points[i - 1], &points[i]) <= 0)
        i++;
    return i >= count;
}

static size_t group_end(const struct combine_point *points, size_t count, size_t begin) {
    if (points[begin].group == points[count - 1].group) /* groups are in order */
        return count;
    size_t end = begin;
    while (end < count && points[end].group == points[begin].group)
        end++;
    return end;
}

/* Weighted means of one group's points in use. */
struct centre {
    double weight, meridian_km, angle_deg, lat_deg;
    int used;
};

static double weight_of(const struct combine_point *point) {
    return 1.0 / (point->sigma_deg * point->sigma_deg);
}

static struct centre centre_of(const struct combine_point *points, size_t begin, size_t end) {
    struct centre centre = {0};
    double meridian = 0.0, angle = 0.0, lat = 0.0;
    for (size_t i = begin; i < end; i++) {
        const struct combine_point *point = &points[i];
        if (point->left_out)
            continue;
        double weight = weight_of(point);
        centre.weight += weight;
        meridian += weight * point->meridian_km;
        angle += weight * point->noon_angle_deg;
        lat += weight * point->lat_deg;
        centre.used++;
    }
    if (centre.used > 0) {
        centre.meridian_km = meridian / centre.weight;
        centre.angle_deg = angle / centre.weight;
        centre.lat_deg = lat / centre.weight;
    }
    return centre;
}

static void find_centres(const struct combine_point *points, size_t count, struct centre *centres) {
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        *centres++ = centre_of(points, begin, end);
    }
}

struct line {
    double slope;       /* degrees a kilometre */
    double sxx;         /* information on it */
    double local_slope; /* of latitude on distance, with the same weights */
    int sites, groups;
};

/* centres: of the groups, in turn. */
static struct line fit_line(const struct combine_point *points, size_t count,
                            const struct centre *centres) {
    struct line line = {0};
    double sxy = 0.0, sxl = 0.0;
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        const struct centre centre = *centres++;
        if (centre.used < 2)
            continue;
        line.groups++;
        line.sites += centre.used;
        for (size_t i = begin; i < end; i++) {
            const struct combine_point *point = &points[i];
            if (point->left_out)
                continue;
            double weight = weight_of(point), off_km = point->meridian_km - centre.meridian_km;
            line.sxx += weight * off_km * off_km;
            sxy += weight * off_km * (point->noon_angle_deg - centre.angle_deg);
            sxl += weight * off_km * (point->lat_deg - centre.lat_deg);
        }
    }
    line.slope = sxy / line.sxx;
    line.local_slope = sxl / line.sxx;
    return line;
}

/* Residuals and influences about the line; returns chi-square of the points used. */
static double tell_points(struct combine_point *points, size_t count, const struct centre *centres,
                          const struct line *line) {
    double chi2 = 0.0;
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        const struct centre centre = *centres++;
        for (size_t i = begin; i < end; i++) {
            struct combine_point *point = &points[i];
            point->residual_deg = point->influence_km = NAN;
            if (centre.used == 0 || (centre.used == 1 && !point->left_out))
                continue;
            double weight = weight_of(point), off_km = point->meridian_km - centre.meridian_km;
            point->residual_deg = point->noon_angle_deg - centre.angle_deg - line->slope * off_km;
            if (point->left_out)
                continue;
            chi2 += weight * point->residual_deg * point->residual_deg;
            double leverage = weight / centre.weight + weight * off_km * off_km / line->sxx;
            if (leverage < 1.0 - 1e-9) {
                double without = line->slope - weight * off_km * point->residual_deg /
                                                   ((1.0 - leverage) * line->sxx);
                point->influence_km = 360.0 / without - 360.0 / line->slope;
            }
        }
    }
    return chi2;
}

/* Leaves out the points that do not belong to the robust line of this slope. Returns
 * the limit, in the points' own sigma, that its scatter asks for. */
static double flag_strays(struct combine_point *points, size_t count, double slope,
                          double *scratch) {
    double *level = scratch, *size = scratch + count;
    size_t judged = 0;
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        for (size_t i = begin; i < end; i++)
            level[i - begin] = points[i].noon_angle_deg - slope * points[i].meridian_km;
        double intercept = order_median(level, end - begin);
        for (size_t i = begin; i < end; i++) {
            points[i].residual_deg =
                points[i].noon_angle_deg - slope * points[i].meridian_km - intercept;
            if (end - begin >= JUDGED_SITES)
                size[judged++] = fabs(points[i].residual_deg) / points[i].sigma_deg;
        }
    }
    if (judged < JUDGED_SITES)
        return INFINITY;
    size_t strays = (size_t)(STRAY_SHARE * (double)judged);
    double limit = STRAY_SIGMAS * fmax(1.0, order_median(size, judged) / 0.6745);
    double bar = limit;
    size_t beyond = 0;
    for (size_t i = 0; i < judged; i++)
        beyond += size[i] > limit;
    if (beyond > strays)
        bar = order_select(size, judged, judged - 1 - strays);
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        for (size_t i = begin; i < end && end - begin >= JUDGED_SITES; i++)
            points[i].left_out = fabs(points[i].residual_deg) / points[i].sigma_deg > bar;
    }
    return limit;
}

/* Takes back the points that lie off the robust line for the line's sake: it knows no
 * weights, and among coarse sites it can pass a precise one by many of its sigma. They
 * are judged again by the weighted line of all others, that line's variance included.
 * Returns whether there were any. */
static bool readmit(struct combine_point *points, size_t count, double limit,
                    const struct centre *centres, const struct line *line) {
    bool any = false;
    for (size_t begin = 0, end; begin < count && line->sxx > 0.0; begin = end) {
        end = group_end(points, count, begin);
        const struct centre centre = *centres++;
        for (size_t i = begin; i < end && centre.used > 0; i++) {
            struct combine_point *point = &points[i];
            if (!point->left_out)
                continue;
            double off_km = point->meridian_km - centre.meridian_km;
            double residual = point->noon_angle_deg - centre.angle_deg - line->slope * off_km;
            double variance =
                1.0 / weight_of(point) + 1.0 / centre.weight + off_km * off_km / line->sxx;
            point->left_out = residual * residual > limit * limit * variance;
            any |= !point->left_out;
        }
    }
    return any;
}

static bool robust_slopes(const struct combine_point *points, size_t count,
                          const struct slopes *near, double *scratch, struct slopes *out) {
    struct slope_point *slope_points = (struct slope_point *)scratch;
    for (size_t i = 0; i < count; i++)
        slope_points[i] =
            (struct slope_point){points[i].meridian_km, points[i].noon_angle_deg, points[i].group};
    return slopes_median(slope_points, count, 1.0, near, scratch + 3 * count, out);
}

void combine_fit(struct combine_point *points, size_t count, const struct slopes *near,
                 double *scratch, struct combined *out) {
    struct combined combined = {
        .status = COMBINE_TOO_FEW,
        .circumference_km = NAN,
        .sigma_km = NAN,
        .internal_sigma_km = NAN,
        .low_km = NAN,
        .high_km = NAN,
        .chi2 = NAN,
        .birge_ratio = NAN,
        .median_km = NAN,
        .median_low_km = NAN,
        .median_high_km = NAN,
        .local_km = NAN,
    };
    if (!in_order(points, count))
        qsort(points, count, sizeof *points, by_group_key);
    for (size_t i = 0; i < count; i++) {
        points[i].left_out = false;
        points[i].residual_deg = points[i].influence_km = NAN;
    }
    double limit = INFINITY;
    if (robust_slopes(points, count, near, scratch, &combined.slopes)) {
        const struct slopes *slopes = &combined.slopes;
        if (slopes->median > 0.0) {
            combined.median_km = 360.0 / slopes->median;
            combined.median_low_km = 360.0 / slopes->high;
            combined.median_high_km = slopes->low > 0.0 ? 360.0 / slopes->low : INFINITY;
        }
        limit = flag_strays(points, count, slopes->median, scratch);
    }
    struct centre *centres = (struct centre *)scratch;
    find_centres(points, count, centres);
    struct line line = fit_line(points, count, centres);
    if (readmit(points, count, limit, centres, &line)) {
        find_centres(points, count, centres);
        line = fit_line(points, count, centres);
    }
    for (size_t i = 0; i < count; i++)
        combined.left_out += points[i].left_out;
    combined.sites = line.sites;
    combined.groups = line.groups;
    if (!(line.sxx > 0.0)) {
        *out = combined;
        return;
    }
    combined.chi2 = tell_points(points, count, centres, &line);
    combined.dof = line.sites - line.groups - 1;
    if (combined.dof > 0)
        combined.birge_ratio = sqrt(combined.chi2 / combined.dof);
    double internal_sigma = 1.0 / sqrt(line.sxx);
    double sigma = internal_sigma * (combined.birge_ratio > 1.0 ? combined.birge_ratio : 1.0);
    combined.local_km = 360.0 / line.local_slope;
    combined.status = line.slope > SURE_SIGMAS * sigma ? COMBINE_OK : COMBINE_UNSURE;
    if (combined.status == COMBINE_OK) {
        combined.circumference_km = 360.0 / line.slope;
        combined.internal_sigma_km = combined.circumference_km * internal_sigma / line.slope;
        combined.sigma_km = combined.circumference_km * sigma / line.slope;
        combined.low_km = 360.0 / (line.slope + sigma);
        combined.high_km = 360.0 / (line.slope - sigma);
    }
    *out = combined;
}
