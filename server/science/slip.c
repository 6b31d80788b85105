/* SPDX-License-Identifier: MIT */
/* slip: the search for simple causes. Each hypothesis says what the class would
 * have sent had it not slipped, and is believed when that lies on the curve. */
#include "server/science/slip.h"

#include <stdlib.h>
#include <string.h>

#include "server/science/angle.h"
#include "server/science/normal.h"

#define CLOSE_SIGMAS 3.0     /* a corrected reading within this lies on the curve */
#define NOTICED_SIGMAS 2.0   /* a mark off by less shows nothing */
#define ROUNDING_M 0.0005    /* lengths are written in whole millimetres */
#define SENSELESS_DEG 2.0    /* median misfit at which a run is questioned */
#define HOPELESS_DEG 8.0     /* ... at which it is refused even without a named cause */
#define EXPLAINED_DEG 1.0    /* a named cause must bring the misfit below this */
#define EXPLAINED_SHARE 0.25 /* and below this share of what it was */
#define BUMP_CHI2 30.0       /* how much better two curves must be than one */
#define EXCHANGE_CHI2 20.0   /* how much better two marks fit exchanged */
#define CLOCK_COST 40.0      /* chi-square a wrong clock has to be worth */
#define STRAY_COST 16.0      /* chi-square a left-out reading has to be worth */

static const struct {
    const char *name;
    const char *text;
} slips[] = {
    [SLIP_NONE] = {"none", "Nothing looks wrong."},
    [SLIP_OUTLIER] = {"outlier", "This reading lies off the curve of the others; compare it with "
                                 "the mark on the ground and with the sheet."},
    [SLIP_DIGIT] = {"digit", "One digit of the shadow length looks wrong; compare it with the "
                             "sheet."},
    [SLIP_DIGITS_SWAPPED] = {"digits_swapped", "Two neighbouring digits of the shadow length look "
                                               "exchanged; compare it with the sheet."},
    [SLIP_TENFOLD] = {"tenfold", "The shadow looks ten times too long or too short: were "
                                 "centimetres written for millimetres?"},
    [SLIP_TIME] = {"time", "The shadow fits the curve at another time; check the hour and the "
                           "minutes of this reading."},
    [SLIP_EXCHANGED] = {"exchanged", "This reading and another fit when their shadows are "
                                     "exchanged: were the marks measured in another order?"},
    [SLIP_DUPLICATE] = {"duplicate", "This reading is the very same as an earlier one and counts "
                                     "once."},
    [SLIP_TOO_LOW] = {"too_low", "The Sun stood less than 10 degrees high, where the air bends "
                                 "its light too uncertainly."},
    [SLIP_CLOCK] = {"clock", "Noon came at another time than the Sun keeps: the clock was "
                             "probably wrong. The angle does not depend on it."},
    [SLIP_CLOCK_HOUR] = {"clock_hour", "All times look shifted by whole or half hours: is it "
                                       "summer time, or another time zone?"},
    [SLIP_HALF_DAY] = {"half_day", "The times fall into the night: was morning written for "
                                   "afternoon?"},
    [SLIP_RUN_TENFOLD] = {"run_tenfold", "Gnomon and shadows look as if written in different "
                                         "units: centimetres and millimetres?"},
    [SLIP_LENGTHS_SWAPPED] = {"lengths_swapped", "Gnomon and shadow look exchanged: which of the "
                                                 "two lengths is the height?"},
    [SLIP_POSITION_SWAPPED] = {"position_swapped", "The shadows fit when latitude and longitude "
                                                   "of the site are exchanged."},
    [SLIP_PART_MISSING] = {"part_missing", "The shadows are long for this gnomon, as if part of "
                                           "its height had been left out: add up the parts again."},
    [SLIP_PART_TWICE] = {"part_twice", "The shadows are short for this gnomon, as if part of its "
                                       "height had been added twice: add up the parts again."},
    [SLIP_BUMPED] = {"bumped", "From here on the readings follow another curve: was the gnomon "
                               "moved? Earlier readings are used."},
    [SLIP_SCATTERED] = {"scattered", "The readings do not follow one curve: check their units, "
                                     "times and marks one by one."},
    [SLIP_IMPLAUSIBLE] = {"implausible", "These lengths cannot be a shadow at this place and "
                                         "time: check height, units, date and position."},
};

const char *slip_name(enum slip slip) {
    return slips[slip].name;
}

bool slip_parse(const char *name, enum slip *out) {
    for (size_t slip = 0; slip < sizeof slips / sizeof slips[0]; slip++) {
        if (strcmp(slips[slip].name, name) == 0) {
            *out = (enum slip)slip;
            return true;
        }
    }
    return false;
}

const char *slip_text(enum slip slip) {
    return slips[slip].text;
}

/* Shadow (m) on the fitted curve at a clock time, and the sigma (m) of one mark. */
static double shadow_on_curve_m(const struct curve *curve, const struct curve_fit *fit,
                                double t_clock_s) {
    double zenith_deg = curve_zenith_deg(curve, fit->lat_deg, t_clock_s, fit->offset_s);
    return curve_shadow_m(curve, t_clock_s, zenith_deg);
}

static double shadow_sigma_m(const struct curve *curve, const struct sight *sight,
                             double expected_m) {
    double cosine = angle_cos(gnomon_apparent_zenith_deg(curve->height_m, expected_m));
    return sight->sigma_deg * ANGLE_RAD_PER_DEG * curve->height_m / (cosine * cosine);
}

/* Would the shadow lie on the curve with two neighbouring digits (in mm) exchanged back? */
static bool digits_swapped(long sent_mm, double expected_mm, double close_mm) {
    for (long power = 1; power <= sent_mm; power *= 10) {
        long low = sent_mm / power % 10, high = sent_mm / (power * 10) % 10;
        long meant_mm = sent_mm + (low - high) * power * 10 + (high - low) * power;
        if (low != high && fabs((double)meant_mm - expected_mm) < close_mm)
            return true;
    }
    return false;
}

/* Would it with one digit, tens of millimetres or above, changed? */
static bool digit_wrong(long sent_mm, double expected_mm, double close_mm) {
    for (long power = 10; power <= sent_mm * 10 && power <= 100000; power *= 10) {
        long there = sent_mm / power % 10;
        for (long digit = 0; digit <= 9; digit++) {
            long meant_mm = sent_mm + (digit - there) * power;
            if (digit != there && fabs((double)meant_mm - expected_mm) < close_mm)
                return true;
        }
    }
    return false;
}

/* Does the sight, taken as it is, lie on the curve at another time? */
static bool fits_at(const struct curve *curve, const struct curve_fit *fit,
                    const struct sight *sight, double t_clock_s) {
    double zenith_deg = curve_zenith_deg(curve, fit->lat_deg, t_clock_s, fit->offset_s);
    return fabs(sight->zenith_deg - zenith_deg) < CLOSE_SIGMAS * sight->sigma_deg;
}

static bool fits_shifted(const struct curve *curve, const struct curve_fit *fit,
                         const struct sight *sight, double shift_s) {
    return fits_at(curve, fit, sight, sight->t_utc_s + shift_s) ||
           fits_at(curve, fit, sight, sight->t_utc_s - shift_s);
}

static bool minutes_wrong(const struct curve *curve, const struct curve_fit *fit,
                          const struct sight *sight) {
    for (int tens = 1; tens < 6; tens++)
        if (fits_shifted(curve, fit, sight, 600.0 * tens))
            return true;
    return false;
}

/* Two marks exchanged leave both off the curve, the second perhaps too little to
 * be left out by itself. */
static bool exchanged(const struct curve *curve, const struct curve_fit *fit, int index) {
    const struct sight *sight = &curve->sight[index];
    const struct parallel lat = parallel_of(fit->lat_deg);
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *other = &curve->sight[i];
        if (i == index || isnan(other->zenith_deg))
            continue;
        double by_lat, by_offset;
        double off_deg = curve_residual_deg(curve, other, &lat, fit->offset_s, &by_lat, &by_offset);
        if (fabs(off_deg) > NOTICED_SIGMAS * other->sigma_deg &&
            fits_at(curve, fit, sight, other->t_utc_s) &&
            fits_at(curve, fit, other, sight->t_utc_s))
            return true;
    }
    return false;
}

void slip_of_reading(const struct curve *curve, const struct curve_fit *fit, int index,
                     enum slip cause[SLIP_CAUSES]) {
    const struct sight *sight = &curve->sight[index];
    if (sight->useless == SLIP_TIME || sight->useless == SLIP_DUPLICATE) {
        cause[0] = sight->useless;
        for (int i = 1; i < SLIP_CAUSES; i++)
            cause[i] = SLIP_NONE;
        return;
    }
    double expected_m = shadow_on_curve_m(curve, fit, sight->t_utc_s);
    double close_m = CLOSE_SIGMAS * shadow_sigma_m(curve, sight, expected_m);
    double sent_m = curve->run->reading[index].shadow_m;
    double expected_mm = expected_m * 1000.0, close_mm = close_m * 1000.0;
    long sent_mm = lround(sent_m * 1000.0);
    bool tenfold = fabs(sent_m / 10.0 - expected_m) < close_m ||
                   fabs(sent_m * 10.0 - expected_m) < close_m + 10.0 * ROUNDING_M;
    bool seen = !isnan(sight->zenith_deg);
    const struct {
        enum slip slip;
        bool fits;
    } causes[] = {
        /* The fewer ways a cause has to fit by chance, the earlier it stands. */
        {SLIP_EXCHANGED, seen && exchanged(curve, fit, index)},
        {SLIP_TENFOLD, tenfold},
        {SLIP_TIME, seen && (fits_shifted(curve, fit, sight, 3600.0) ||
                             fits_shifted(curve, fit, sight, 43200.0))},
        {SLIP_DIGITS_SWAPPED, digits_swapped(sent_mm, expected_mm, close_mm)},
        {SLIP_DIGIT, digit_wrong(sent_mm, expected_mm, close_mm)},
        {SLIP_TIME, seen && minutes_wrong(curve, fit, sight)},
        {SLIP_TOO_LOW, !seen},
        {SLIP_OUTLIER, true},
    };
    int found = 0;
    for (size_t k = 0; k < sizeof causes / sizeof causes[0] && found < SLIP_CAUSES; k++) {
        bool known = causes[k].slip == SLIP_OUTLIER && found > 0;
        for (int i = 0; i < found; i++)
            known |= cause[i] == causes[k].slip;
        if (causes[k].fits && !known)
            cause[found++] = causes[k].slip;
    }
    while (found < SLIP_CAUSES)
        cause[found++] = SLIP_NONE;
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

/* All shadows alike: no shadow does that, but a gnomon's height in the wrong column. */
static bool one_length(const struct run *run) {
    for (int i = 1; i < run->readings; i++)
        if (fabs(run->reading[i].shadow_m / run->reading[0].shadow_m - 1.0) > 1e-6)
            return false;
    return true;
}

/* Median of |measured - expected| zenith distance, were the run sent like this; of
 * a run with one length throughout, the best. */
static double misfit_deg(const struct curve *curve) {
    double off_deg[RUN_READINGS_MAX], by_lat, by_offset;
    const struct parallel lat = parallel_of(curve->place->lat_deg);
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        if (sight->useless == SLIP_NONE)
            off_deg[count++] =
                fabs(curve_residual_deg(curve, sight, &lat, 0.0, &by_lat, &by_offset));
        else if (sight->useless == SLIP_TOO_LOW)
            off_deg[count++] = 90.0;
    }
    if (count == 0)
        return 90.0;
    qsort(off_deg, (size_t)count, sizeof off_deg[0], ascending);
    return off_deg[one_length(curve->run) ? 0 : count / 2];
}

/* Readings that stand far off where this place has the Sun, and would stand there ten
 * times as long or as short. */
static int tenfold_sights(const struct curve *curve) {
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        if (sight->useless != SLIP_NONE && sight->useless != SLIP_TOO_LOW)
            continue;
        double there_deg = curve_zenith_deg(curve, curve->place->lat_deg, sight->t_utc_s, 0.0);
        double shadow_m = curve->run->reading[i].shadow_m;
        bool off = isnan(sight->zenith_deg) || fabs(sight->zenith_deg - there_deg) > SENSELESS_DEG;
        bool fits = false;
        for (int up = 0; off && up < 2; up++) {
            double meant_deg =
                gnomon_apparent_zenith_deg(curve->height_m, up ? 10.0 * shadow_m : 0.1 * shadow_m);
            fits |= fabs(meant_deg - there_deg) < EXPLAINED_DEG;
        }
        count += fits;
    }
    return count;
}

/* The run as it would have been without one of the slips below. */
static void without(enum slip slip, double factor, const struct curve *curve, struct place *place,
                    struct run *run) {
    *place = *curve->place;
    *run = *curve->run;
    if (slip == SLIP_POSITION_SWAPPED) {
        place->lat_deg = curve->place->lon_deg;
        place->lon_deg = curve->place->lat_deg;
    } else if (slip == SLIP_LENGTHS_SWAPPED) {
        run->gnomon.parts = 1;
        run->gnomon.part[0].value_m = 1.0;
        for (int i = 0; i < run->readings; i++)
            run->reading[i].shadow_m = curve->height_m / curve->run->reading[i].shadow_m;
    } else if (slip == SLIP_RUN_TENFOLD) {
        for (int i = 0; i < run->readings; i++)
            run->reading[i].shadow_m *= factor;
    } else {
        for (int i = 0; i < run->readings; i++)
            run->reading[i].t_utc_s += factor;
    }
}

enum slip slip_of_senseless_run(const struct curve *curve) {
    static const struct {
        enum slip slip;
        double factor;
    } hypotheses[] = {
        {SLIP_LENGTHS_SWAPPED, 1.0},  {SLIP_RUN_TENFOLD, 10.0},   {SLIP_RUN_TENFOLD, 0.1},
        {SLIP_RUN_TENFOLD, 1000.0},   {SLIP_RUN_TENFOLD, 0.001},  {SLIP_RUN_TENFOLD, 100.0},
        {SLIP_RUN_TENFOLD, 0.01},     {SLIP_CLOCK_HOUR, 3600.0},  {SLIP_CLOCK_HOUR, -3600.0},
        {SLIP_CLOCK_HOUR, 7200.0},    {SLIP_CLOCK_HOUR, -7200.0}, {SLIP_CLOCK_HOUR, 1800.0},
        {SLIP_CLOCK_HOUR, -1800.0},   {SLIP_HALF_DAY, 43200.0},   {SLIP_HALF_DAY, -43200.0},
        {SLIP_POSITION_SWAPPED, 1.0},
    };
    double sent_deg = misfit_deg(curve);
    /* More than can be left out one by one: the units are mixed. */
    bool mixed = 4 * tenfold_sights(curve) > curve->sights;
    if (sent_deg < SENSELESS_DEG)
        return mixed ? SLIP_RUN_TENFOLD : SLIP_NONE;
    enum slip best = SLIP_NONE;
    double best_deg = fmin(EXPLAINED_DEG, EXPLAINED_SHARE * sent_deg);
    for (size_t k = 0; k < sizeof hypotheses / sizeof hypotheses[0]; k++) {
        if (hypotheses[k].slip == SLIP_POSITION_SWAPPED && fabs(curve->place->lon_deg) > 90.0)
            continue;
        struct place place;
        struct run run;
        without(hypotheses[k].slip, hypotheses[k].factor, curve, &place, &run);
        struct curve without_slip;
        curve_init(&without_slip, &place, &run, curve->day);
        double deg = misfit_deg(&without_slip);
        /* One length throughout speaks for itself: no other slip makes that. */
        if (deg < best_deg && one_length(curve->run) && hypotheses[k].slip == SLIP_LENGTHS_SWAPPED)
            return SLIP_LENGTHS_SWAPPED;
        if (deg < best_deg) {
            best_deg = deg;
            best = hypotheses[k].slip;
        }
    }
    if (best != SLIP_NONE)
        return best;
    if (mixed)
        return SLIP_RUN_TENFOLD;
    return sent_deg > HOPELESS_DEG ? SLIP_IMPLAUSIBLE : SLIP_NONE;
}

enum slip slip_of_height(const struct curve *curve, const struct curve_fit *fit,
                         double tolerance_deg) {
    if (fabs(fit->lat_deg - curve->place->lat_deg) < tolerance_deg)
        return SLIP_NONE;
    /* The height that would put the curve where this latitude has it. */
    double t_utc_s = sun_transit_utc_s(curve->day, curve->place->lon_deg);
    struct curve_fit here = {.lat_deg = curve->place->lat_deg};
    double needed_m = curve->height_m * shadow_on_curve_m(curve, fit, t_utc_s) /
                      shadow_on_curve_m(curve, &here, t_utc_s);
    double tolerance_m = tolerance_deg * ANGLE_RAD_PER_DEG * curve->height_m /
                         fmax(0.1, fabs(angle_sin(2.0 * (fit->lat_deg - here.lat_deg)) / 2.0));
    tolerance_m = fmin(tolerance_m, 0.02 * curve->height_m);
    const struct gnomon *gnomon = &curve->run->gnomon;
    for (int i = 0; gnomon->parts > 1 && i < gnomon->parts; i++)
        if (fabs(curve->height_m - gnomon->part[i].value_m - needed_m) < tolerance_m)
            return SLIP_PART_TWICE;
    return needed_m > curve->height_m ? SLIP_PART_MISSING : SLIP_PART_TWICE;
}

/* A sight about the fitted curve: residual and slopes by latitude and offset. */
struct about {
    double residual, slope[2], sigma;
};

/* Chi-square of one curve with a step before the sight `first`. */
static double step_chi2(const struct curve *curve, const struct curve_fit *fit,
                        const struct about *about, int count, int first, double *step_over_sigma) {
    struct normal normal;
    normal_init(&normal, 3);
    normal_add(&normal, (const double[]){0.0, 1.0, 0.0}, -fit->offset_s, curve->clock_sigma_s);
    for (int k = 0; k < count; k++)
        normal_add(&normal, (const double[]){about[k].slope[0], about[k].slope[1], k >= first},
                   about[k].residual, about[k].sigma);
    double x[NORMAL_MAX] = {0.0}, covariance[NORMAL_MAX][NORMAL_MAX];
    if (!normal_solve(&normal, x, covariance))
        return INFINITY;
    double chi2 = 0.0;
    for (int k = 0; k < count; k++) {
        double left = about[k].residual - about[k].slope[0] * x[0] - about[k].slope[1] * x[1] -
                      (k >= first ? x[2] : 0.0);
        chi2 += left / about[k].sigma * (left / about[k].sigma);
    }
    *step_over_sigma = fabs(x[2]) / sqrt(covariance[2][2]);
    return chi2;
}

/* Squares of two sights' misfits, in sigma, on given points of the curve. */
static double misfit2(const struct sight *one, double on_one, const struct sight *two,
                      double on_two) {
    return pow((one->zenith_deg - on_one) / one->sigma_deg, 2.0) +
           pow((two->zenith_deg - on_two) / two->sigma_deg, 2.0);
}

bool slip_exchange(const struct curve *curve, const struct curve_fit *fit, const int *order,
                   int count, int pair[2]) {
    double best = 0.0, kept_chi2 = fit->chi2, on_curve[RUN_READINGS_MAX], by_lat, by_offset;
    const struct parallel lat = parallel_of(fit->lat_deg);
    for (int k = 0; k < count; k++) {
        const struct sight *sight = &curve->sight[order[k]];
        on_curve[k] = sight->zenith_deg -
                      curve_residual_deg(curve, sight, &lat, fit->offset_s, &by_lat, &by_offset);
    }
    for (int k = 0; k < count; k++) {
        for (int m = k + 1; m < count; m++) {
            const struct sight *one = &curve->sight[order[k]], *two = &curve->sight[order[m]];
            if (!one->kept && !two->kept)
                continue;
            double sent = misfit2(one, on_curve[k], two, on_curve[m]);
            double meant = misfit2(one, on_curve[m], two, on_curve[k]);
            if (meant < 2.0 * CLOSE_SIGMAS * CLOSE_SIGMAS && sent - meant > best) {
                best = sent - meant;
                kept_chi2 = fit->chi2 - (one->kept && two->kept ? sent : 0.0);
                pair[0] = order[k];
                pair[1] = order[m];
            }
        }
    }
    /* Against the scatter of the others. */
    double scatter2 = fmax(1.0, kept_chi2 / fmax(1.0, curve_kept(curve) - 4.0));
    return best > EXCHANGE_CHI2 * scatter2;
}

int slip_bump(const struct curve *curve, const struct curve_fit *fit, const int *order, int count) {
    int strays = count - curve_kept(curve);
    double best = INFINITY, best_step = 0.0;
    int best_first = 0;
    struct about about[RUN_READINGS_MAX];
    const struct parallel lat = parallel_of(fit->lat_deg);
    for (int k = 0; k < count; k++) {
        const struct sight *sight = &curve->sight[order[k]];
        about[k].residual = curve_residual_deg(curve, sight, &lat, fit->offset_s,
                                               &about[k].slope[0], &about[k].slope[1]);
        about[k].sigma = sight->sigma_deg;
    }
    for (int first = 3; first <= count - 2; first++) {
        double step = 0.0;
        double chi2 = step_chi2(curve, fit, about, count, first, &step);
        if (chi2 < best) {
            best = chi2;
            best_step = step;
            best_first = first;
        }
    }
    double scatter2 = fmax(1.0, best / fmax(1.0, count - 4.0));
    /* What one curve has to be believed to explain the same: strays and a wrong clock. */
    double clock = pow(fit->offset_s / curve->clock_sigma_s, 2.0);
    double one_curve = fit->chi2 + scatter2 * (STRAY_COST * strays + fmin(CLOCK_COST, clock));
    bool better = one_curve - best > BUMP_CHI2 * scatter2;
    return better && best_step > 6.0 * sqrt(scatter2) ? best_first : 0;
}
