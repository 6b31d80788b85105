/* SPDX-License-Identifier: MIT */
/* curve: from shadows to zenith distances, and the two-parameter fit (latitude
 * and clock offset) on which the reduction stands. libm only. */
#include "server/science/curve.h"

#include <assert.h>
#include <float.h>
#include <stddef.h>

#include "server/science/angle.h"
#include "server/science/order.h"

#define CLOCK_SIGMA_S 15.0        /* a phone on a network, looked at a little late */
#define MARK_SIGMA_M 0.0015       /* marking the shadow's end and reading the tape */
#define MARK_SIGMA_FUZZY 0.1      /* and judging where a fuzzy end is, of the zone's width */
#define REACTION_SIGMA_S 1.0      /* between mark and look at the clock */
#define SMALLEST_SINE 1e-4        /* keeps slopes finite under an overhead Sun */
#define DAYLIGHT_S (6.0 * 3600.0) /* no reading counts farther from noon */
#define NEAREST_DEG 0.01          /* how near to overhead a fit may bring the noon Sun */
#define ARC_SERIES 0.01           /* radians */
#define PAIRS_MAX 160             /* elementary fits tried for a robust start */
#define STRAYS_MAX (RUN_READINGS_MAX / 4)
#define SMALLEST_DETERMINANT 1e-12 /* of the product of the diagonal */
#define SETTLED_DEG 2e-5
#define SETTLED_S 0.02
#define ROUNDS 12

static bool is_multiple(double t_utc_s, double step_s) {
    const double steps = t_utc_s / step_s;
    return fabs(steps - floor(steps + 0.5)) * step_s < 1e-3;
}

/* Times given to whole minutes, or whole tens of seconds, are rounded. */
static double rounding_sigma_s(const struct run *run) {
    static const double steps_s[] = {60.0, 30.0, 10.0, 5.0};
    for (size_t k = 0; k < sizeof steps_s / sizeof steps_s[0]; k++) {
        bool all = true;
        for (int i = 0; i < run->readings && all; i++)
            all = is_multiple(run->reading[i].t_utc_s, steps_s[k]);
        if (all)
            return steps_s[k] / sqrt(12.0);
    }
    return 0.0;
}

static double shadow_sigma_m(const struct curve *curve, const struct reading *reading,
                             double semidiameter_deg) {
    if (!isnan(reading->shadow_sigma_m))
        return reading->shadow_sigma_m;
    double fuzzy_m = MARK_SIGMA_FUZZY *
                     gnomon_fuzzy_shadow_m(curve->height_m, reading->shadow_m, semidiameter_deg);
    return sqrt(MARK_SIGMA_M * MARK_SIGMA_M + fuzzy_m * fuzzy_m);
}

/* The very reading of an earlier one: a row pasted twice tells nothing new. */
static bool stands_before(const struct run *run, int index) {
    for (int i = 0; i < index; i++)
        if (run->reading[i].t_utc_s == run->reading[index].t_utc_s &&
            run->reading[i].shadow_m == run->reading[index].shadow_m)
            return true;
    return false;
}

static enum slip useless(const struct run *run, int index, double t_utc_s, double zenith_deg,
                         double noon_utc_s) {
    if (fabs(t_utc_s - noon_utc_s) > DAYLIGHT_S)
        return SLIP_TIME;
    if (stands_before(run, index))
        return SLIP_DUPLICATE;
    return isnan(zenith_deg) ? SLIP_TOO_LOW : SLIP_NONE;
}

/* Chebyshev's series in powers of x. */
static void to_powers(const double chebyshev[SUN_TERMS], double power[SUN_TERMS]) {
    _Static_assert(SUN_TERMS == 5, "T0 .. T4 stand here");
    power[0] = chebyshev[0] - chebyshev[2] + chebyshev[4];
    power[1] = chebyshev[1] - 3.0 * chebyshev[3];
    power[2] = 2.0 * chebyshev[2] - 8.0 * chebyshev[4];
    power[3] = 4.0 * chebyshev[3];
    power[4] = 8.0 * chebyshev[4];
}

static inline double powers(const double power[SUN_TERMS], double x) {
    return power[0] + x * (power[1] + x * (power[2] + x * (power[3] + x * power[4])));
}

/* A latitude and a clock that is offset_s fast, with what every sight needs of them. */
struct stance {
    double sin_lat, cos_lat;
    double offset_s;
    double sin_offset, cos_offset; /* of the hour angle that the offset amounts to */
};

static struct stance stance_at(const struct curve *curve, double lat_deg, double offset_s) {
    struct stance stance = {.sin_lat = curve->sin_lat,
                            .cos_lat = curve->cos_lat,
                            .offset_s = offset_s,
                            .sin_offset = 0.0,
                            .cos_offset = 1.0};
    angle_turn(&stance.sin_lat, &stance.cos_lat, lat_deg - curve->place->lat_deg);
    angle_turn(&stance.sin_offset, &stance.cos_offset, offset_s * ANGLE_DEG_PER_DAY_S);
    return stance;
}

static struct course course_of(const struct curve *curve, double t_utc_s) {
    struct course course;
    sun_course(curve->day, t_utc_s, &course.declination_deg, &course.equation_s);
    double hour_deg =
        (t_utc_s - curve->day->centre_utc_s + course.equation_s) * ANGLE_DEG_PER_DAY_S +
        curve->place->lon_deg;
    course.sin_hour = angle_sin(hour_deg);
    course.cos_hour = angle_cos(hour_deg);
    course.sin_declination = curve->sin_noon_declination;
    course.cos_declination = curve->cos_noon_declination;
    angle_turn(&course.sin_declination, &course.cos_declination,
               course.declination_deg - curve->noon.sun.declination_deg);
    return course;
}

/* The Sun of a sight with the clock set right. */
static inline struct course set_right(const struct curve *curve, const struct sight *sight,
                                      const struct stance *stance) {
    struct course course = sight->course;
    if (stance->offset_s == 0.0)
        return course;
    const double x =
        (sight->t_utc_s - stance->offset_s - curve->day->centre_utc_s) * curve->per_half_span_s;
    course.declination_deg = powers(curve->declination_deg, x);
    course.equation_s = powers(curve->equation_s, x);
    angle_turn(&course.sin_declination, &course.cos_declination,
               course.declination_deg - sight->course.declination_deg);
    const double sine = course.sin_hour, cosine = course.cos_hour;
    course.sin_hour = sine * stance->cos_offset - cosine * stance->sin_offset;
    course.cos_hour = cosine * stance->cos_offset + sine * stance->sin_offset;
    angle_turn(&course.sin_hour, &course.cos_hour,
               (course.equation_s - sight->course.equation_s) * ANGLE_DEG_PER_DAY_S);
    return course;
}

/* Direction to the Sun: sine and cosine of its zenith distance, and the slopes of that. */
struct over {
    double sine, cosine, by_lat, by_offset;
};

static inline struct over over(const struct stance *stance, const struct course *sun) {
    double meridian = sun->cos_declination * sun->cos_hour;
    double up = stance->sin_lat * sun->sin_declination + stance->cos_lat * meridian;
    double north = stance->cos_lat * sun->sin_declination - stance->sin_lat * meridian;
    double west = sun->cos_declination * sun->sin_hour;
    double sine = sqrt(north * north + west * west);
    double per_sine = 1.0 / (sine > SMALLEST_SINE ? sine : SMALLEST_SINE);
    return (struct over){
        .sine = sine,
        .cosine = up,
        .by_lat = -north * per_sine,
        .by_offset = -stance->cos_lat * west * per_sine * ANGLE_DEG_PER_DAY_S,
    };
}

double curve_zenith_deg(const struct curve *curve, double lat_deg, double t_clock_s,
                        double offset_s) {
    const struct stance stance = stance_at(curve, lat_deg, 0.0);
    const struct course course = course_of(curve, t_clock_s - offset_s);
    const struct over there = over(&stance, &course);
    return atan2(there.sine, there.cosine) * ANGLE_DEG_PER_RAD;
}

/* An angle from its sine, given that its cosine is positive: mostly it is small, and
 * the series good to 1e-16 within its bound. */
static inline double small_arc(double sine, double cosine) {
    double s2 = sine * sine;
    if (s2 < ARC_SERIES * ARC_SERIES && cosine > 0.0)
        return sine * (1.0 + s2 * (1.0 / 6.0 + s2 * (3.0 / 40.0 + s2 * (15.0 / 336.0))));
    return atan2(sine, cosine);
}

static inline struct equation equation_of(const struct sight *sight, const struct over *there) {
    return (struct equation){
        .residual_deg =
            ANGLE_DEG_PER_RAD *
            small_arc(sight->sin_zenith * there->cosine - sight->cos_zenith * there->sine,
                      sight->cos_zenith * there->cosine + sight->sin_zenith * there->sine),
        .by_lat = there->by_lat,
        .by_offset = there->by_offset,
    };
}

void curve_equations(const struct curve *curve, double lat_deg, double offset_s,
                     struct equations *out) {
    const struct stance stance = stance_at(curve, lat_deg, offset_s);
    out->lat_deg = lat_deg;
    out->offset_s = offset_s;
    for (int i = 0; i < curve->sights; i++) {
        const struct course course = set_right(curve, &curve->sight[i], &stance);
        const struct over there = over(&stance, &course);
        out->sight[i] = equation_of(&curve->sight[i], &there);
    }
}

void curve_steady(const struct curve *curve, double lat_deg, double offset_s,
                  struct steady out[RUN_READINGS_MAX]) {
    const struct stance stance = stance_at(curve, lat_deg, offset_s);
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        struct course course = set_right(curve, sight, &stance);
        const struct over moved = over(&stance, &course);
        course.sin_declination = curve->sin_noon_declination;
        course.cos_declination = curve->cos_noon_declination;
        const struct over kept = over(&stance, &course);
        /* The sight less the Sun as it moved, and on to the Sun that kept its place. */
        const double sine = sight->sin_zenith * moved.cosine - sight->cos_zenith * moved.sine;
        const double cosine = sight->cos_zenith * moved.cosine + sight->sin_zenith * moved.sine;
        out[i].sine = kept.sine * cosine + kept.cosine * sine;
        out[i].cosine = kept.cosine * cosine - kept.sine * sine;
    }
}

/* Everything but the sights. */
static void begin(struct curve *curve, const struct place *place, const struct run *run,
                  const struct sun_day *day) {
    const struct length height = gnomon_height(&run->gnomon);
    const double rounding_s = rounding_sigma_s(run);
    curve->place = place;
    curve->run = run;
    curve->day = day;
    curve->per_half_span_s = 1.0 / day->half_span_s;
    to_powers(day->declination_deg, curve->declination_deg);
    to_powers(day->equation_s, curve->equation_s);
    curve->air = refraction_at(place->elevation_m, run->pressure_hpa, run->temperature_c);
    noon_predict(place, day, &curve->air, &curve->noon);
    curve->sin_noon_declination = angle_sin(curve->noon.sun.declination_deg);
    curve->cos_noon_declination = angle_cos(curve->noon.sun.declination_deg);
    curve->sin_lat = angle_sin(place->lat_deg);
    curve->cos_lat = angle_cos(place->lat_deg);
    curve->side = place->lat_deg < curve->noon.sun.declination_deg ? -1.0 : 1.0;
    curve->height_m = height.value_m;
    curve->height_sigma_m = height.sigma_m;
    curve->clock = clock_check_of(&run->clock);
    /* A clock's minutes may have been rounded or cut off: the offset is in doubt by as
     * much as a single reading. */
    curve->clock_sigma_s =
        hypot(hypot(isnan(run->clock_sigma_s) ? CLOCK_SIGMA_S : run->clock_sigma_s, rounding_s),
              hypot(place->sigma_deg / ANGLE_DEG_PER_DAY_S, curve->clock.doubt_s));
    curve->time_sigma_s = hypot(REACTION_SIGMA_S, rounding_s);
    curve->sights = run->readings;
}

void curve_init(struct curve *curve, const struct place *place, const struct run *run,
                const struct sun_day *day) {
    begin(curve, place, run, day);
    const struct stance here = stance_at(curve, place->lat_deg, 0.0);
    const double height_m = curve->height_m;
    curve->declared.lat_deg = place->lat_deg;
    curve->declared.offset_s = 0.0;
    for (int i = 0; i < run->readings; i++) {
        const struct reading *reading = &run->reading[i];
        struct sight *sight = &curve->sight[i];
        struct sun_place sun;
        sight->t_utc_s = reading->t_utc_s - curve->clock.applied_s;
        sun_at(day, sight->t_utc_s, &sun);
        struct zenith zenith =
            gnomon_zenith(height_m, reading->shadow_m, run->gnomon.edge, &curve->air, &sun);
        sight->useless = useless(run, i, sight->t_utc_s, zenith.deg, curve->noon.transit_utc_s);
        sight->kept = sight->useless == SLIP_NONE;
        if (!sight->kept)
            zenith = (struct zenith){NAN, NAN, NAN};
        sight->zenith_deg = zenith.deg;
        sight->sin_zenith = zenith.sine;
        sight->cos_zenith = zenith.cosine;
        /* h / (h^2 + shadow^2) is how much the angle turns as the mark moves. */
        double turn_per_m =
            height_m / (height_m * height_m + reading->shadow_m * reading->shadow_m);
        double mark_deg =
            turn_per_m * shadow_sigma_m(curve, reading, sun.semidiameter_deg) * ANGLE_DEG_PER_RAD;
        sight->course = course_of(curve, sight->t_utc_s);
        const struct over there = over(&here, &sight->course);
        curve->declared.sight[i] = equation_of(sight, &there);
        double time_deg = there.by_offset * curve->time_sigma_s;
        sight_set_sigma(sight, sqrt(mark_deg * mark_deg + time_deg * time_deg));
    }
}

double curve_shadow_m(const struct curve *curve, double t_utc_s, double zenith_deg) {
    struct sun_place sun;
    sun_at(curve->day, t_utc_s, &sun);
    return gnomon_shadow_m(curve->height_m, zenith_deg, curve->run->gnomon.edge, &curve->air, &sun);
}

/* Near an overhead Sun two latitudes, one on each side, fit nearly alike: only the
 * known side counts. */
static bool on_known_side(const struct curve *curve, double lat_deg) {
    return curve->side * (lat_deg - curve->noon.sun.declination_deg) > 0.0;
}

int curve_kept(const struct curve *curve) {
    int kept = 0;
    for (int i = 0; i < curve->sights; i++)
        kept += curve->sight[i].kept;
    return kept;
}

/* Sums of one round of the fit: the two unknowns' normal equations. */
struct round {
    double lat_lat, lat_offset, offset_offset; /* information */
    double lat_right, offset_right;
    double chi2;
};

static struct round round_of(const struct curve *curve, const struct equations *equations) {
    struct round sum = {0};
    for (int i = 0; i < curve->sights; i++) {
        const struct equation *equation = &equations->sight[i];
        if (!curve->sight[i].kept)
            continue;
        const double lat = curve->sight[i].weight * equation->by_lat;
        const double offset = curve->sight[i].weight * equation->by_offset;
        const double residual = curve->sight[i].weight * equation->residual_deg;
        sum.lat_lat += lat * equation->by_lat;
        sum.lat_offset += lat * equation->by_offset;
        sum.offset_offset += offset * equation->by_offset;
        sum.lat_right += residual * equation->by_lat;
        sum.offset_right += residual * equation->by_offset;
        sum.chi2 += residual * equation->residual_deg;
    }
    return sum;
}

bool curve_fit(const struct curve *curve, const struct equations *start, double prior_offset_s,
               double prior_s, struct curve_fit *out) {
    const double prior = 1.0 / (prior_s * prior_s);
    double lat_deg = start->lat_deg, offset_s = start->offset_s;
    struct equations nearer;
    struct round sum = {0};
    double information = 0.0, determinant = 0.0;
    bool settled = false;
    for (int round = 0; round < ROUNDS && !settled; round++) {
        if (round > 0)
            curve_equations(curve, lat_deg, offset_s, &nearer);
        sum = round_of(curve, round > 0 ? &nearer : start);
        information = sum.offset_offset + prior;
        determinant = sum.lat_lat * information - sum.lat_offset * sum.lat_offset;
        if (!(determinant > SMALLEST_DETERMINANT * sum.lat_lat * information))
            return false;
        double right = sum.offset_right + prior * (prior_offset_s - offset_s);
        double lat_step = (sum.lat_right * information - right * sum.lat_offset) / determinant;
        double offset_step = (sum.lat_lat * right - sum.lat_offset * sum.lat_right) / determinant;
        /* A step of more than some degrees leaves the region where slopes mean anything. */
        double shorten = fmin(
            1.0, fmin(5.0 / (fabs(lat_step) + DBL_MIN), 7200.0 / (fabs(offset_step) + DBL_MIN)));
        lat_deg += shorten * lat_step;
        if (!on_known_side(curve, lat_deg))
            lat_deg = curve->noon.sun.declination_deg + curve->side * NEAREST_DEG;
        offset_s += shorten * offset_step;
        /* A further step would be a thousandth of this one. */
        settled = fabs(lat_step) < SETTLED_DEG && fabs(offset_step) < SETTLED_S;
        if (!(fabs(lat_deg) < 180.0 && fabs(offset_s) < ANGLE_DAY_S))
            return false;
    }
    *out = (struct curve_fit){
        .lat_deg = lat_deg,
        .offset_s = offset_s,
        .lat_variance = information / determinant,
        .offset_variance = sum.lat_lat / determinant,
        .lat_variance_true_clock = 1.0 / sum.lat_lat,
        .chi2 = sum.chi2,
    };
    return true;
}

/* A sight about the point of linearisation. */
struct linear {
    double residual; /* all over the sight's sigma */
    double slope[2]; /* by latitude, by clock offset */
};

/* What an elementary fit settles, from that point on. */
struct guess {
    double lat_deg, offset_s;
};

static inline double square_off(const struct linear *sight, const struct guess *guess) {
    double off =
        sight->residual - sight->slope[0] * guess->lat_deg - sight->slope[1] * guess->offset_s;
    return off * off;
}

/* Two sights and the prior on the clock settle two unknowns, if they can. */
static bool elementary(const struct linear *one, const struct linear *two, double prior,
                       struct guess *out) {
    double aa = one->slope[0] * one->slope[0] + two->slope[0] * two->slope[0];
    double ab = one->slope[0] * one->slope[1] + two->slope[0] * two->slope[1];
    double bb = one->slope[1] * one->slope[1] + two->slope[1] * two->slope[1] + prior;
    double ar = one->slope[0] * one->residual + two->slope[0] * two->residual;
    double br = one->slope[1] * one->residual + two->slope[1] * two->residual;
    double determinant = aa * bb - ab * ab;
    double per_determinant = 1.0 / determinant;
    *out = (struct guess){(ar * bb - br * ab) * per_determinant,
                          (aa * br - ab * ar) * per_determinant};
    return determinant > SMALLEST_DETERMINANT * aa * bb;
}

/* Sum of squares without the `strays` largest; *level is the largest that counts. */
static double trimmed_sum(const struct linear *sight, int count, int strays,
                          const struct guess *guess, double *level) {
    double square[RUN_READINGS_MAX], sum = 0.0;
    const int counting = count - strays;
    assert(counting > 0 && counting <= count && count <= RUN_READINGS_MAX);
    for (int i = 0; i < count; i++)
        square[i] = square_off(&sight[i], guess);
    *level = order_select(square, (size_t)count, (size_t)counting - 1);
    for (int i = 0; i < counting; i++)
        sum += square[i];
    return sum;
}

/* What that sum is at least: no square that is left out takes more than `level` from a sum
 * in which none counts for more. Any level will do; one near the true one is sharp. */
static double trimmed_bound(const struct linear *sight, int count, int strays,
                            const struct guess *guess, double level) {
    double sum = 0.0;
    for (int i = 0; i < count; i++) {
        double square = square_off(&sight[i], guess);
        sum += square < level ? square : level;
    }
    return sum - strays * level;
}

/* The next but `stride` - 1 of the pairs (0, 1), (0, 2) .. (1, 2) .. */
static void next_pair(int count, long stride, int *i, long *j) {
    for (*j += stride; *j >= count && *i < count - 1; *j += *i + 1) {
        *j -= count;
        ++*i;
    }
}

double curve_trimmed(const struct curve *curve, const struct equations *about, double prior_s,
                     int strays, struct curve_fit *out) {
    assert(strays >= 0 && strays <= STRAYS_MAX);
    struct linear sight[RUN_READINGS_MAX];
    const double prior = 1.0 / (prior_s * prior_s);
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        if (!curve->sight[i].kept)
            continue;
        const struct equation *from = &about->sight[i];
        const double per_sigma = 1.0 / curve->sight[i].sigma_deg;
        sight[count++] = (struct linear){
            from->residual_deg * per_sigma,
            {from->by_lat * per_sigma, from->by_offset * per_sigma},
        };
    }
    const long pairs = (long)count * (count - 1) / 2, stride = pairs / PAIRS_MAX + 1;
    double best = INFINITY, level = 0.0;
    int i = 0;
    for (long j = 1; i < count - 1; next_pair(count, stride, &i, &j)) {
        struct guess guess;
        if (!elementary(&sight[i], &sight[j], prior, &guess) ||
            !on_known_side(curve, about->lat_deg + guess.lat_deg))
            continue;
        double prior_square = guess.offset_s * guess.offset_s * prior;
        if (prior_square + trimmed_bound(sight, count, strays, &guess, level) >= best)
            continue;
        double own_level;
        double sum = prior_square + trimmed_sum(sight, count, strays, &guess, &own_level);
        if (sum < best) {
            best = sum;
            level = own_level;
            *out = (struct curve_fit){.lat_deg = about->lat_deg + guess.lat_deg,
                                      .offset_s = about->offset_s + guess.offset_s};
        }
    }
    return best;
}
