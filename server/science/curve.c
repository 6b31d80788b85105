/* SPDX-License-Identifier: MIT */
/* curve: from shadows to zenith distances, and the two-parameter fit (latitude
 * and clock offset) on which the reduction stands. libm only. */
#include "server/science/curve.h"

#include <assert.h>
#include <float.h>
#include <stddef.h>

#include "server/science/angle.h"
#include "server/science/normal.h"

#define CLOCK_SIGMA_S 15.0        /* a phone on a network, looked at a little late */
#define MARK_SIGMA_M 0.0015       /* marking the shadow's end and reading the tape */
#define MARK_SIGMA_FUZZY 0.1      /* and judging where a fuzzy end is, of the zone's width */
#define REACTION_SIGMA_S 1.0      /* between mark and look at the clock */
#define SMALLEST_SINE 1e-4        /* keeps slopes finite under an overhead Sun */
#define DAYLIGHT_S (6.0 * 3600.0) /* no reading counts farther from noon */
#define NEAREST_DEG 0.01          /* how near to overhead a fit may bring the noon Sun */
#define PAIRS_MAX 160             /* elementary fits tried for a robust start */
#define STRAYS_MAX (RUN_READINGS_MAX / 4)
#define SMALLEST_DETERMINANT 1e-12 /* of the product of the diagonal */
#define SETTLED_DEG 1e-6
#define SETTLED_S 1e-3
#define ROUNDS 12

/* Times given to whole minutes, or whole tens of seconds, are rounded. */
static double rounding_sigma_s(const struct run *run) {
    static const double steps_s[] = {60.0, 30.0, 10.0, 5.0};
    for (size_t k = 0; k < sizeof steps_s / sizeof steps_s[0]; k++) {
        bool all = true;
        for (int i = 0; i < run->readings && all; i++)
            all = fabs(remainder(run->reading[i].t_utc_s, steps_s[k])) < 1e-3;
        if (all)
            return steps_s[k] / sqrt(12.0);
    }
    return 0.0;
}

static double shadow_sigma_m(const struct curve *curve, const struct reading *reading,
                             double semidiameter_deg) {
    if (!isnan(reading->shadow_sigma_m))
        return reading->shadow_sigma_m;
    double zenith_deg = gnomon_apparent_zenith_deg(curve->height_m, reading->shadow_m);
    double fuzzy_m = gnomon_fuzzy_width_m(curve->height_m, zenith_deg, semidiameter_deg);
    return hypot(MARK_SIGMA_M, MARK_SIGMA_FUZZY * fuzzy_m);
}

/* The very reading of an earlier one: a row pasted twice tells nothing new. */
static bool stands_before(const struct run *run, int index) {
    for (int i = 0; i < index; i++)
        if (run->reading[i].t_utc_s == run->reading[index].t_utc_s &&
            run->reading[i].shadow_m == run->reading[index].shadow_m)
            return true;
    return false;
}

static enum slip useless(const struct run *run, int index, double zenith_deg, double noon_utc_s) {
    if (fabs(run->reading[index].t_utc_s - noon_utc_s) > DAYLIGHT_S)
        return SLIP_TIME;
    if (stands_before(run, index))
        return SLIP_DUPLICATE;
    return isnan(zenith_deg) ? SLIP_TOO_LOW : SLIP_NONE;
}

void curve_init(struct curve *curve, const struct place *place, const struct run *run,
                const struct sun_day *day) {
    struct length height = gnomon_height(&run->gnomon);
    double rounding_s = rounding_sigma_s(run);
    double noon_utc_s = sun_transit_utc_s(day, place->lon_deg);
    struct sun_place noon_sun;
    sun_at(day, noon_utc_s, &noon_sun);
    *curve = (struct curve){
        .place = place,
        .run = run,
        .day = day,
        .air = refraction_at(place->elevation_m, run->pressure_hpa, run->temperature_c),
        .noon_declination_deg = noon_sun.declination_deg,
        .side = place->lat_deg < noon_sun.declination_deg ? -1.0 : 1.0,
        .height_m = height.value_m,
        .height_sigma_m = height.sigma_m,
        /* A clock's minutes may have been rounded or cut off: the offset is in doubt
         * by as much as a single reading. */
        .clock_sigma_s =
            hypot(isnan(run->clock_sigma_s) ? CLOCK_SIGMA_S : run->clock_sigma_s, rounding_s),
        .time_sigma_s = hypot(REACTION_SIGMA_S, rounding_s),
        .sights = run->readings,
    };
    for (int i = 0; i < run->readings; i++) {
        const struct reading *reading = &run->reading[i];
        struct sight *sight = &curve->sight[i];
        struct sun_place sun;
        sun_at(day, reading->t_utc_s, &sun);
        sight->t_utc_s = reading->t_utc_s;
        sight->zenith_deg = gnomon_zenith_deg(height.value_m, reading->shadow_m, run->gnomon.edge,
                                              &curve->air, &sun);
        sight->useless = useless(run, i, sight->zenith_deg, noon_utc_s);
        sight->kept = sight->useless == SLIP_NONE;
        if (!sight->kept)
            sight->zenith_deg = NAN;
        double cosine = angle_cos(gnomon_apparent_zenith_deg(height.value_m, reading->shadow_m));
        double mark_deg = cosine * cosine * shadow_sigma_m(curve, reading, sun.semidiameter_deg) /
                          height.value_m * ANGLE_DEG_PER_RAD;
        double by_lat, by_offset;
        curve_slopes(curve, place->lat_deg, reading->t_utc_s, 0.0, &by_lat, &by_offset);
        sight->sigma_deg = hypot(mark_deg, by_offset * curve->time_sigma_s);
    }
}

/* A latitude with what every sight needs of it. */
struct parallel {
    double sine, cosine;
};

static struct parallel parallel_of(double lat_deg) {
    return (struct parallel){angle_sin(lat_deg), angle_cos(lat_deg)};
}

static double slopes_on(const struct curve *curve, const struct parallel *lat, double t_utc_s,
                        double *by_lat, double *by_offset) {
    struct sun_place sun;
    sun_at(curve->day, t_utc_s, &sun);
    double hour_deg = sun_hour_angle_deg(curve->day, t_utc_s, curve->place->lon_deg);
    double sin_dec = angle_sin(sun.declination_deg), cos_dec = angle_cos(sun.declination_deg);
    double cos_hour = angle_cos(hour_deg), sin_hour = angle_sin(hour_deg);
    double up = lat->sine * sin_dec + lat->cosine * cos_dec * cos_hour;
    double north = lat->cosine * sin_dec - lat->sine * cos_dec * cos_hour;
    double west = cos_dec * sin_hour;
    double sine = sqrt(north * north + west * west);
    double safe_sine = fmax(sine, SMALLEST_SINE);
    *by_lat = -north / safe_sine;
    *by_offset = -lat->cosine * west / safe_sine * ANGLE_DEG_PER_DAY_S;
    return atan2(sine, up) * ANGLE_DEG_PER_RAD;
}

double curve_slopes(const struct curve *curve, double lat_deg, double t_clock_s, double offset_s,
                    double *by_lat, double *by_offset) {
    const struct parallel lat = parallel_of(lat_deg);
    return slopes_on(curve, &lat, t_clock_s - offset_s, by_lat, by_offset);
}

double curve_zenith_deg(const struct curve *curve, double lat_deg, double t_clock_s,
                        double offset_s) {
    double by_lat, by_offset;
    return curve_slopes(curve, lat_deg, t_clock_s, offset_s, &by_lat, &by_offset);
}

double curve_shadow_m(const struct curve *curve, double t_utc_s, double zenith_deg) {
    struct sun_place sun;
    sun_at(curve->day, t_utc_s, &sun);
    return gnomon_shadow_m(curve->height_m, zenith_deg, curve->run->gnomon.edge, &curve->air, &sun);
}

/* Near an overhead Sun two latitudes, one on each side, fit nearly alike: only the
 * known side counts. */
static bool on_known_side(const struct curve *curve, double lat_deg) {
    return curve->side * (lat_deg - curve->noon_declination_deg) > 0.0;
}

int curve_kept(const struct curve *curve) {
    int kept = 0;
    for (int i = 0; i < curve->sights; i++)
        kept += curve->sight[i].kept;
    return kept;
}

bool curve_fit(const struct curve *curve, double start_lat_deg, double start_offset_s,
               double prior_offset_s, double prior_s, struct curve_fit *out) {
    double lat_deg = start_lat_deg, offset_s = start_offset_s;
    double covariance[NORMAL_MAX][NORMAL_MAX];
    double lat_information = 0.0, chi2 = 0.0;
    bool settled = false;
    for (int round = 0; round < ROUNDS && !settled; round++) {
        const struct parallel lat = parallel_of(lat_deg);
        struct normal normal;
        normal_init(&normal, 2);
        normal_add(&normal, (const double[]){0.0, 1.0}, prior_offset_s - offset_s, prior_s);
        lat_information = chi2 = 0.0;
        for (int i = 0; i < curve->sights; i++) {
            const struct sight *sight = &curve->sight[i];
            if (!sight->kept)
                continue;
            double slope[2];
            double zenith_deg =
                slopes_on(curve, &lat, sight->t_utc_s - offset_s, &slope[0], &slope[1]);
            double residual = (sight->zenith_deg - zenith_deg) / sight->sigma_deg;
            normal_add(&normal, slope, sight->zenith_deg - zenith_deg, sight->sigma_deg);
            lat_information += slope[0] * slope[0] / (sight->sigma_deg * sight->sigma_deg);
            chi2 += residual * residual;
        }
        double step[NORMAL_MAX];
        if (!normal_solve(&normal, step, covariance))
            return false;
        /* A step of more than some degrees leaves the region where slopes mean anything. */
        double shorten =
            fmin(1.0, fmin(5.0 / (fabs(step[0]) + DBL_MIN), 7200.0 / (fabs(step[1]) + DBL_MIN)));
        lat_deg += shorten * step[0];
        if (!on_known_side(curve, lat_deg))
            lat_deg = curve->noon_declination_deg + curve->side * NEAREST_DEG;
        offset_s += shorten * step[1];
        /* A further step would be a thousandth of this one. */
        settled = fabs(step[0]) < SETTLED_DEG && fabs(step[1]) < SETTLED_S;
        if (!(fabs(lat_deg) < 180.0 && fabs(offset_s) < ANGLE_DAY_S))
            return false;
    }
    *out = (struct curve_fit){
        .lat_deg = lat_deg,
        .offset_s = offset_s,
        .lat_variance = covariance[0][0],
        .offset_variance = covariance[1][1],
        .lat_variance_true_clock = 1.0 / lat_information,
        .chi2 = chi2,
    };
    return true;
}

/* A sight about the point of linearisation. */
struct linear {
    double residual; /* all over the sight's sigma */
    double slope[2]; /* by latitude, by clock offset */
};

/* Sum of squares without the `strays` largest; stops above `enough`. */
static double trimmed_sum(const struct linear *sight, int count, int strays, double lat,
                          double offset, double enough) {
    double largest[STRAYS_MAX] = {0.0}, sum = 0.0; /* largest first */
    for (int i = 0; i < count; i++) {
        double left = sight[i].residual - sight[i].slope[0] * lat - sight[i].slope[1] * offset;
        double square = left * left;
        for (int k = 0; k < strays; k++) {
            if (square > largest[k]) {
                double smaller = largest[k];
                largest[k] = square;
                square = smaller;
            }
        }
        sum += square;
        if (sum > enough)
            break;
    }
    return sum;
}

double curve_trimmed(const struct curve *curve, double lat_deg, double offset_s, double prior_s,
                     int strays, struct curve_fit *out) {
    assert(strays >= 0 && strays <= STRAYS_MAX);
    struct linear sight[RUN_READINGS_MAX];
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *from = &curve->sight[i];
        if (!from->kept)
            continue;
        double by_lat, by_offset;
        double zenith_deg =
            curve_slopes(curve, lat_deg, from->t_utc_s, offset_s, &by_lat, &by_offset);
        sight[count++] = (struct linear){
            (from->zenith_deg - zenith_deg) / from->sigma_deg,
            {by_lat / from->sigma_deg, by_offset / from->sigma_deg},
        };
    }
    double best = INFINITY;
    long pairs = (long)count * (count - 1) / 2;
    long stride = pairs / PAIRS_MAX + 1, number = 0;
    for (int i = 0; i < count; i++) {
        for (int j = i + 1; j < count; j++) {
            if (number++ % stride != 0)
                continue;
            /* Two sights and the prior on the clock settle two unknowns. */
            const struct linear *one = &sight[i], *two = &sight[j];
            double prior = 1.0 / (prior_s * prior_s);
            double aa = one->slope[0] * one->slope[0] + two->slope[0] * two->slope[0];
            double ab = one->slope[0] * one->slope[1] + two->slope[0] * two->slope[1];
            double bb = one->slope[1] * one->slope[1] + two->slope[1] * two->slope[1] + prior;
            double ar = one->slope[0] * one->residual + two->slope[0] * two->residual;
            double br = one->slope[1] * one->residual + two->slope[1] * two->residual;
            double determinant = aa * bb - ab * ab;
            if (!(determinant > SMALLEST_DETERMINANT * aa * bb))
                continue;
            double lat = (ar * bb - br * ab) / determinant;
            double offset = (aa * br - ab * ar) / determinant;
            if (!on_known_side(curve, lat_deg + lat))
                continue;
            double prior_square = offset * offset * prior;
            double sum =
                prior_square + trimmed_sum(sight, count, strays, lat, offset, best - prior_square);
            if (sum < best) {
                best = sum;
                *out = (struct curve_fit){.lat_deg = lat_deg + lat, .offset_s = offset_s + offset};
            }
        }
    }
    return best;
}
