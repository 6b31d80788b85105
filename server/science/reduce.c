/* SPDX-License-Identifier: MIT */
/* reduce: from a run to its noon angle, in the order a careful reader would
 * follow: can this noon be measured, do the readings make sense at all, which
 * of them stray, is the clock to be believed, what is the angle, how sure. */
#include "server/science/reduce.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

#include "server/science/angle.h"
#include "server/science/curve.h"
#include "server/science/estimators.h"
#include "server/science/order.h"
#include "server/science/slip.h"

#define TILT_SIGMA_DEG 0.03    /* plumb line and level: 0.5 mm a metre */
#define EDGE_SIGMA_DEG 0.02    /* a class's habit of where the fuzzy end is */
#define AIR_SIGMA_SHARE 0.03   /* weather against the standard atmosphere */
#define STRAY_SIGMAS 4.2       /* beyond this a reading does not belong */
#define PRIOR_DOF 2.0          /* how many readings the expected scatter is worth */
#define CLOCK_WRONG_SIGMAS 4.0 /* run against its own clock */
#define CLOCK_UNKNOWN_S 7200.0 /* prior for a clock not believed */
#define SEARCH_PRIOR_S 600.0   /* while strays are sought */
#define LINEAR_DEG 0.3         /* so near, a fit linear about the guess is good */
#define LINEAR_S 200.0
#define DAYLIGHT_S (6.0 * 3600.0)
#define SCATTERED_RATIO 8.0 /* scatter over what is expected, at which a run is questioned */
#define SCATTERED_DEG 0.5
#define ROUNDS 12

static const char *const estimator_names[] = {
    [ESTIMATOR_SHORTEST] = "shortest",
    [ESTIMATOR_FREE] = "free",
    [ESTIMATOR_TIMED] = "timed",
    [ESTIMATOR_SOLAR] = "solar",
};

static const char *const status_names[] = {
    [REDUCE_OK] = "ok",
    [REDUCE_TOO_FEW] = "too_few_readings",
    [REDUCE_NOON_UNUSABLE] = "noon_unusable",
    [REDUCE_WRONG_TIME] = "wrong_time",
    [REDUCE_IMPLAUSIBLE] = "implausible",
};

const char *estimator_name(enum estimator estimator) {
    return estimator_names[estimator];
}

const char *reduce_status_name(enum reduce_status status) {
    return status_names[status];
}

/* Indices of the usable sights by time, then by index. Returns their count. */
static int by_time(const struct curve *curve, int order[RUN_READINGS_MAX]) {
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        if (isnan(curve->sight[i].zenith_deg))
            continue;
        int at = count++;
        while (at > 0 && curve->sight[order[at - 1]].t_utc_s > curve->sight[i].t_utc_s) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = i;
    }
    return count;
}

/* How many readings may be left out at most: a quarter, and none of three. */
static int strays_max(int usable) {
    return usable < 4 ? 0 : usable < 8 ? 1 : usable / 4;
}

/* How far the sights lie off the curve, in their own sigma. */
static void stray_sigmas(const struct curve *curve, const struct equations *about,
                         double sigmas[RUN_READINGS_MAX]) {
    for (int i = 0; i < curve->sights; i++)
        sigmas[i] = fabs(about->sight[i].residual_deg) / curve->sight[i].sigma_deg;
}

/* Keeps all usable sights but the at most `strays` worst beyond the limit. */
static bool choose_kept(struct curve *curve, const double *sigmas, double limit, int strays) {
    bool changed = false, kept[RUN_READINGS_MAX];
    for (int i = 0; i < curve->sights; i++)
        kept[i] = !isnan(curve->sight[i].zenith_deg);
    for (int out = 0; out < strays; out++) {
        int worst = -1;
        for (int i = 0; i < curve->sights; i++)
            if (kept[i] && sigmas[i] > limit && (worst < 0 || sigmas[i] > sigmas[worst]))
                worst = i;
        if (worst < 0)
            break;
        kept[worst] = false;
    }
    for (int i = 0; i < curve->sights; i++) {
        changed |= kept[i] != curve->sight[i].kept;
        curve->sight[i].kept = kept[i];
    }
    return changed;
}

/* Scatter over what was expected: the expectation counts as PRIOR_DOF readings. */
static double scatter_ratio(double chi2, double dof) {
    return sqrt((PRIOR_DOF + chi2) / (PRIOR_DOF + fmax(0.0, dof)));
}

/* From few readings a stray is told less surely: the limit for `dof` others. */
static double stray_limit(double dof) {
    return STRAY_SIGMAS * (1.0 + 4.0 / fmax(1.0, dof * dof));
}

/* A small sample knows its own scatter badly: Student's 68 % factor, first order. */
static double small_sample_factor(double dof) {
    return 1.0 + 0.5 / (PRIOR_DOF + fmax(0.0, dof));
}

/* Scatter from the median residual: what a first look, with strays inside, can say. */
static double median_ratio(const struct curve *curve, const double *sigmas) {
    double usable[RUN_READINGS_MAX];
    size_t count = 0;
    for (int i = 0; i < curve->sights; i++)
        if (!isnan(curve->sight[i].zenith_deg))
            usable[count++] = sigmas[i];
    assert(count > 0);
    double sigma = order_median(usable, count) / 0.6745, dof = (double)count - 2.0;
    return scatter_ratio(dof * sigma * sigma * (double)count / fmax(1.0, dof), dof);
}

/* Robust start: the clock as it is, or shifted as summer time and zones shift it
 * where that explains the run far better. Leaves the equations about it. */
static bool robust_start(const struct curve *curve, int strays, struct equations *out) {
    static const double shifts_s[] = {3600.0, -3600.0, 1800.0, -1800.0, 7200.0, -7200.0};
    const double lat_deg = curve->place->lat_deg;
    struct curve_fit start;
    double best = curve_trimmed(curve, &curve->declared, SEARCH_PRIOR_S, strays, &start);
    int used = curve_kept(curve) - strays;
    for (size_t k = 0; best > 16.0 * used && k < sizeof shifts_s / sizeof shifts_s[0]; k++) {
        struct curve_fit shifted;
        curve_equations(curve, lat_deg, shifts_s[k], out);
        double sum = curve_trimmed(curve, out, SEARCH_PRIOR_S, strays, &shifted);
        if (sum < 0.25 * best) {
            best = sum;
            start = shifted;
        }
    }
    if (isinf(best))
        return false;
    curve_equations(curve, start.lat_deg, start.offset_s, out);
    bool near_guess = fabs(start.lat_deg - lat_deg) < LINEAR_DEG && fabs(start.offset_s) < LINEAR_S;
    struct curve_fit again; /* the first was linear about a guess */
    if (!near_guess && !isinf(curve_trimmed(curve, out, SEARCH_PRIOR_S, strays, &again)))
        curve_equations(curve, again.lat_deg, again.offset_s, out);
    return true;
}

/* Fits the sights kept by now, the clock being free about where it was found, and moves
 * the equations there. */
static bool search_on(const struct curve *curve, struct equations *about, struct curve_fit *fit) {
    if (!curve_fit(curve, about, about->offset_s, SEARCH_PRIOR_S, fit))
        return false;
    curve_equations(curve, fit->lat_deg, fit->offset_s, about);
    return true;
}

/* Leaves out two marks that were exchanged, where so many may be left out. */
static bool drop_exchanged(struct curve *curve, const int *order, int usable, struct curve_fit *fit,
                           struct equations *about) {
    int pair[2] = {0, 0};
    if (!slip_exchange(curve, fit, about, order, usable, pair))
        return true;
    int more = curve->sight[pair[0]].kept + curve->sight[pair[1]].kept;
    if (usable - curve_kept(curve) + more > strays_max(usable))
        return true;
    curve->sight[pair[0]].kept = curve->sight[pair[1]].kept = false;
    return search_on(curve, about, fit);
}

/* Finds the sights that belong together and fits them. */
static bool settle(struct curve *curve, int usable, struct curve_fit *fit,
                   struct equations *about) {
    int strays = strays_max(usable);
    if (!robust_start(curve, strays, about))
        return false;
    double sigmas[RUN_READINGS_MAX], ratio = 0.0;
    for (int round = 0; round < ROUNDS; round++) {
        stray_sigmas(curve, about, sigmas);
        if (round == 0)
            ratio = median_ratio(curve, sigmas);
        bool changed = choose_kept(curve, sigmas, stray_limit(usable - 2.0) * ratio, strays);
        if (round > 0 && !changed)
            break;
        if (!search_on(curve, about, fit))
            return false;
        ratio = scatter_ratio(fit->chi2, curve_kept(curve) - 2.0);
    }
    return true;
}

/* Is the clock wrong beyond its uncertainty, by the run's own witness? */
static enum slip clock_slip(const struct curve *curve, const struct equations *about) {
    struct curve_fit witness;
    if (!curve_fit(curve, about, about->offset_s, CLOCK_UNKNOWN_S, &witness))
        return SLIP_NONE;
    double ratio = scatter_ratio(witness.chi2, curve_kept(curve) - 2.0);
    double sigma_s = hypot(ratio * sqrt(witness.offset_variance), curve->clock_sigma_s);
    if (fabs(witness.offset_s) < CLOCK_WRONG_SIGMAS * sigma_s)
        return SLIP_NONE;
    double half_hours = round(witness.offset_s / 1800.0);
    bool whole = half_hours != 0.0 &&
                 fabs(witness.offset_s - half_hours * 1800.0) < fmin(600.0, 3.0 * sigma_s);
    return whole ? SLIP_CLOCK_HOUR : SLIP_CLOCK;
}

/* Leaves out what follows a bump (or precedes it, where too little does). */
static void drop_bumped(struct curve *curve, const int *order, int count, int first) {
    bool keep_early = first >= REDUCE_READINGS_MIN;
    for (int k = 0; k < count; k++)
        curve->sight[order[k]].kept = (k < first) == keep_early;
}

static void budget_of(const struct curve *curve, const struct curve_fit *fit, double noon_angle_deg,
                      double dof, struct error_budget *out) {
    double zenith_deg = fabs(noon_angle_deg);
    double refraction_deg =
        refraction_of_apparent(&curve->air, fmin(zenith_deg, REFRACTION_LIMIT_DEG));
    double clock_variance = fmax(0.0, fit->lat_variance - fit->lat_variance_true_clock);
    *out = (struct error_budget){
        .random_deg = sqrt(fit->lat_variance_true_clock) * small_sample_factor(dof),
        .clock_deg = sqrt(clock_variance),
        .height_deg = 0.5 * angle_sin(2.0 * zenith_deg) * curve->height_sigma_m / curve->height_m *
                      ANGLE_DEG_PER_RAD,
        .tilt_deg = isnan(curve->run->tilt_sigma_deg) ? TILT_SIGMA_DEG : curve->run->tilt_sigma_deg,
        .edge_deg = EDGE_SIGMA_DEG,
        .air_deg = AIR_SIGMA_SHARE * refraction_deg,
        .position_deg = curve->place->sigma_deg,
    };
}

static double budget_sum(const struct error_budget *budget) {
    return sqrt(budget->random_deg * budget->random_deg + budget->clock_deg * budget->clock_deg +
                budget->height_deg * budget->height_deg + budget->tilt_deg * budget->tilt_deg +
                budget->edge_deg * budget->edge_deg + budget->air_deg * budget->air_deg +
                budget->position_deg * budget->position_deg);
}

/* Everything that is said about single readings, against the final curve. */
static void tell_readings(const struct curve *curve, const struct equations *about,
                          enum slip bumped, struct reduction *out) {
    double squares = 0.0;
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        double residual_deg = about->sight[i].residual_deg;
        out->residual_deg[i] = residual_deg;
        if (sight->kept) {
            squares += residual_deg * residual_deg;
            continue;
        }
        enum slip cause[SLIP_CAUSES];
        slip_of_reading(curve, about, i, cause);
        if (bumped != SLIP_NONE)
            cause[0] = bumped;
        out->left_out[out->left_outs++] = (struct left_out){
            .reading = i,
            .slip = cause[0],
            .also = {cause[1], cause[2]},
            .residual_deg = residual_deg,
            .residual_sigma = residual_deg / sight->sigma_deg,
            .instead_m = sight->useless == SLIP_TIME
                             ? NAN
                             : curve_shadow_m(curve, sight->t_utc_s,
                                              curve_zenith_deg(curve, about->lat_deg,
                                                               sight->t_utc_s, about->offset_s)),
        };
    }
    out->used = curve_kept(curve);
    out->scatter_deg = out->used > 0 ? sqrt(squares / out->used) : NAN;
}

/* Readings that cannot be used, where there is no curve to hold them against. */
static void tell_useless(const struct curve *curve, struct reduction *out) {
    for (int i = 0; i < curve->sights; i++)
        if (curve->sight[i].useless != SLIP_NONE)
            out->left_out[out->left_outs++] = (struct left_out){
                .reading = i,
                .slip = curve->sight[i].useless,
                .residual_deg = NAN,
                .residual_sigma = NAN,
                .instead_m = NAN,
            };
}

static enum reduce_status time_status(const struct curve *curve, const struct noon *noon,
                                      struct reduction *out) {
    double t_s[RUN_READINGS_MAX];
    for (int i = 0; i < curve->sights; i++)
        t_s[i] = curve->sight[i].t_utc_s;
    const size_t count = (size_t)curve->sights;
    double away_s = fabs(order_select(t_s, count, count / 2) - noon->transit_utc_s);
    if (away_s < DAYLIGHT_S)
        return REDUCE_OK;
    if (away_s < 3.0 * DAYLIGHT_S && slip_of_senseless_run(curve) == SLIP_HALF_DAY)
        out->run_slip = SLIP_HALF_DAY;
    return REDUCE_WRONG_TIME;
}

/* The part that needs a sensible run: strays, clock, fit, sigma. */
static enum reduce_status fit_run(struct curve *curve, int usable, const int *order,
                                  struct reduction *out) {
    struct curve_fit fit;
    struct equations about; /* that fit, as soon as there is one */
    if (!settle(curve, usable, &fit, &about) || !drop_exchanged(curve, order, usable, &fit, &about))
        return REDUCE_IMPLAUSIBLE;
    enum slip bumped = SLIP_NONE;
    int first = slip_bump(curve, &fit, &about, order, usable);
    if (first > 0) {
        bumped = out->run_slip = SLIP_BUMPED;
        drop_bumped(curve, order, usable, first);
    }
    enum slip clock = clock_slip(curve, &about);
    if (clock != SLIP_NONE && bumped == SLIP_NONE)
        out->run_slip = clock;
    double prior_offset_s = clock == SLIP_NONE ? 0.0 : fit.offset_s;
    double prior_s = clock == SLIP_NONE ? curve->clock_sigma_s : CLOCK_UNKNOWN_S;
    if (!curve_fit(curve, &about, prior_offset_s, prior_s, &fit))
        return REDUCE_IMPLAUSIBLE;
    curve_equations(curve, fit.lat_deg, fit.offset_s, &about);
    out->chi2 = fit.chi2;
    out->dof = curve_kept(curve) - (clock == SLIP_NONE ? 1 : 2);
    tell_readings(curve, &about, bumped, out);

    /* From here on sights count with the scatter they showed. */
    double ratio = scatter_ratio(fit.chi2, out->dof);
    for (int i = 0; i < curve->sights; i++)
        sight_set_sigma(&curve->sight[i], curve->sight[i].sigma_deg * ratio);
    if (!curve_fit(curve, &about, prior_offset_s, prior_s, &fit))
        return REDUCE_IMPLAUSIBLE;
    out->clock_offset_s = fit.offset_s + curve->clock.applied_s;
    out->clock_offset_sigma_s = sqrt(fit.offset_variance);
    out->published = ESTIMATOR_SOLAR;
    out->noon_angle_deg = fit.lat_deg - out->noon.sun.declination_deg;
    budget_of(curve, &fit, out->noon_angle_deg, out->dof, &out->budget);
    out->sigma_deg = budget_sum(&out->budget);
    out->estimate[ESTIMATOR_SHORTEST] = estimator_shortest(curve, &fit);
    estimator_cosines(curve, &fit, &out->estimate[ESTIMATOR_TIMED], &out->estimate[ESTIMATOR_FREE]);
    out->estimate[ESTIMATOR_SOLAR] = (struct estimate){
        .usable = true,
        .noon_angle_deg = out->noon_angle_deg,
        .sigma_deg = hypot(out->budget.random_deg, out->budget.clock_deg),
        .transit_utc_s = out->noon.transit_utc_s + out->clock_offset_s,
        .transit_sigma_s = out->clock_offset_sigma_s,
    };
    /* By the run's own clock, which was corrected before. */
    out->estimate[ESTIMATOR_SHORTEST].transit_utc_s += curve->clock.applied_s;
    out->estimate[ESTIMATOR_FREE].transit_utc_s += curve->clock.applied_s;
    if (out->run_slip == SLIP_NONE && ratio > SCATTERED_RATIO && out->scatter_deg > SCATTERED_DEG)
        out->run_slip = SLIP_SCATTERED;
    if (out->run_slip == SLIP_NONE)
        out->run_slip = slip_of_height(curve, &fit, fmax(1.0, 6.0 * out->sigma_deg));
    return REDUCE_OK;
}

void reduce_run(const struct place *place, const struct run *run, const struct sun_day *day,
                struct reduction *out) {
    assert(run->readings >= 0 && run->readings <= RUN_READINGS_MAX);
    memset(out, 0, offsetof(struct reduction, left_out));
    out->published = ESTIMATOR_SOLAR;
    out->noon_angle_deg = out->sigma_deg = NAN;
    out->clock_offset_s = out->clock_offset_sigma_s = NAN;
    out->scatter_deg = out->chi2 = NAN;
    struct curve curve;
    curve_init(&curve, place, run, day);
    out->clock = curve.clock;
    out->noon = curve.noon;
    if (out->noon.status != NOON_MEASURABLE) {
        bool swapped = run->readings > 0 && slip_of_senseless_run(&curve) == SLIP_POSITION_SWAPPED;
        out->status = swapped ? REDUCE_IMPLAUSIBLE : REDUCE_NOON_UNUSABLE;
        out->run_slip = swapped ? SLIP_POSITION_SWAPPED : SLIP_NONE;
        return;
    }
    if (run->readings < REDUCE_READINGS_MIN) {
        out->status = REDUCE_TOO_FEW;
        return;
    }
    out->status = time_status(&curve, &out->noon, out);
    if (out->status != REDUCE_OK)
        return;
    enum slip senseless = slip_of_senseless_run(&curve);
    if (senseless != SLIP_NONE && senseless != SLIP_CLOCK_HOUR) {
        out->run_slip = senseless;
        out->status = REDUCE_IMPLAUSIBLE;
        return;
    }
    int order[RUN_READINGS_MAX];
    int usable = by_time(&curve, order);
    if (usable < REDUCE_READINGS_MIN) {
        tell_useless(&curve, out);
        out->status = REDUCE_TOO_FEW;
        return;
    }
    out->status = fit_run(&curve, usable, order, out);
    if (out->status == REDUCE_IMPLAUSIBLE)
        out->run_slip = SLIP_IMPLAUSIBLE;
}
