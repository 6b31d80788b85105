/* SPDX-License-Identifier: MIT */
/* slip: the search for simple causes. Each hypothesis says what the class would
 * have sent had it not slipped, and is believed when that lies on the curve. */
#include "server/science/slip.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/science/sorted.h"

#define CLOSE_SIGMAS 3.0     /* a corrected reading within this lies on the curve */
#define NOTICED_SIGMAS 2.0   /* a mark off by less shows nothing */
#define ROUNDING_M 0.0005    /* lengths are written in whole millimetres */
#define SENSELESS_DEG 2.0    /* median misfit at which a run is questioned */
#define HOPELESS_DEG 8.0     /* ... at which it is refused even without a named cause */
#define EXPLAINED_DEG 1.0    /* a named cause must bring the misfit below this */
#define EXPLAINED_SHARE 0.25 /* and below this share of what it was */
#define EARLIEST_BUMP 3      /* so many sights stand before it, and two from it on */
#define BUMP_CHI2 30.0       /* how much better two curves must be than one */
#define EXCHANGE_CHI2 20.0   /* how much better two marks fit exchanged */
#define CLOCK_COST 40.0      /* chi-square a wrong clock has to be worth */
#define STRAY_COST 16.0      /* chi-square a left-out reading has to be worth */
#define SMALLEST_PIVOT 1e-12 /* of a unit diagonal: below it nothing is settled */

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
    const struct stance stance = stance_of(fit->lat_deg, fit->offset_s);
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *other = &curve->sight[i];
        if (i == index || isnan(other->zenith_deg))
            continue;
        double by_lat, by_offset;
        double off_deg = curve_residual_deg(curve, other, &stance, &by_lat, &by_offset);
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

/* All shadows alike: no shadow does that, but a gnomon's height in the wrong column. */
static bool one_length(const struct run *run) {
    for (int i = 1; i < run->readings; i++)
        if (fabs(run->reading[i].shadow_m / run->reading[0].shadow_m - 1.0) > 1e-6)
            return false;
    return true;
}

/* |measured - expected| zenith distance of each sight, were the run sent like this; 90
 * for one too low to be one, NAN for one that cannot be looked at. */
static void misfits_deg(const struct curve *curve, double off_deg[RUN_READINGS_MAX]) {
    const struct stance here = stance_of(curve->place->lat_deg, 0.0);
    double by_lat, by_offset;
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        off_deg[i] = sight->useless == SLIP_NONE
                         ? fabs(curve_residual_deg(curve, sight, &here, &by_lat, &by_offset))
                     : sight->useless == SLIP_TOO_LOW ? 90.0
                                                      : NAN;
    }
}

/* Their median; of a run with one length throughout, the best. */
static double misfit_deg(const struct curve *curve, const double off_deg[RUN_READINGS_MAX]) {
    double sorted_deg[RUN_READINGS_MAX];
    int count = 0;
    for (int i = 0; i < curve->sights; i++)
        if (!isnan(off_deg[i]))
            sorted_deg[count++] = off_deg[i];
    if (count == 0)
        return 90.0;
    sort_ascending(sorted_deg, count);
    return sorted_deg[one_length(curve->run) ? 0 : count / 2];
}

/* Readings that stand far off where this place has the Sun, and would stand there ten
 * times as long or as short. */
static int tenfold_sights(const struct curve *curve, const double off_deg[RUN_READINGS_MAX]) {
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        if (!(off_deg[i] > SENSELESS_DEG))
            continue;
        double there_deg =
            curve_zenith_deg(curve, curve->place->lat_deg, curve->sight[i].t_utc_s, 0.0);
        double shadow_m = curve->run->reading[i].shadow_m;
        bool fits = false;
        for (int up = 0; up < 2; up++) {
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
    double off_deg[RUN_READINGS_MAX];
    misfits_deg(curve, off_deg);
    double sent_deg = misfit_deg(curve, off_deg);
    /* More than can be left out one by one: the units are mixed. */
    bool mixed = 4 * tenfold_sights(curve, off_deg) > curve->sights;
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
        misfits_deg(&without_slip, off_deg);
        double deg = misfit_deg(&without_slip, off_deg);
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

/* The sights about the fitted curve, in the order of time. */
struct about {
    double residual_deg, weight; /* 1 / sigma^2 */
    double slope[2];             /* by latitude, by clock offset */
};

static void look_about(const struct curve *curve, const struct curve_fit *fit, const int *order,
                       int count, struct about about[RUN_READINGS_MAX]) {
    const struct stance stance = stance_of(fit->lat_deg, fit->offset_s);
    for (int k = 0; k < count; k++) {
        const struct sight *sight = &curve->sight[order[k]];
        about[k].residual_deg =
            curve_residual_deg(curve, sight, &stance, &about[k].slope[0], &about[k].slope[1]);
        about[k].weight = sight->weight;
    }
}

/* Square of a sight's misfit, in sigma, on a given point of the curve. */
static double misfit2(const struct sight *sight, const struct about *about, double on_deg) {
    double off_deg = sight->zenith_deg - on_deg;
    return off_deg * off_deg * about->weight;
}

bool slip_exchange(const struct curve *curve, const struct curve_fit *fit, const int *order,
                   int count, int pair[2]) {
    /* Below this no exchange is believed, whatever the scatter. */
    double best = EXCHANGE_CHI2, kept_chi2 = fit->chi2;
    struct about about[RUN_READINGS_MAX];
    double on_curve[RUN_READINGS_MAX], own[RUN_READINGS_MAX];
    look_about(curve, fit, order, count, about);
    for (int k = 0; k < count; k++) {
        on_curve[k] = curve->sight[order[k]].zenith_deg - about[k].residual_deg;
        own[k] = about[k].residual_deg * about[k].residual_deg * about[k].weight;
    }
    for (int k = 0; k < count; k++) {
        for (int m = k + 1; m < count; m++) {
            const struct sight *one = &curve->sight[order[k]], *two = &curve->sight[order[m]];
            double sent = own[k] + own[m];
            if (sent <= best || (!one->kept && !two->kept))
                continue;
            double meant =
                misfit2(one, &about[k], on_curve[m]) + misfit2(two, &about[m], on_curve[k]);
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

/* Normal equations of latitude and clock offset about the fitted curve, the clock being
 * believed as far as it is, and a step that only the sights from some one on know of. */
struct step_sums {
    double lat_lat, lat_offset, offset_offset, lat_right, offset_right; /* all sights */
    double lat_step, offset_step, step_step, step_right;                /* the late ones */
};

/* Chi-square of one curve with that step before the sight `first`; INFINITY where it
 * does not settle. */
static double step_chi2(const struct step_sums *sum, const struct about *about, int count,
                        int first, double *step_over_sigma) {
    const double determinant =
        sum->lat_lat * sum->offset_offset - sum->lat_offset * sum->lat_offset;
    if (!(determinant > SMALLEST_PIVOT * sum->lat_lat * sum->offset_offset))
        return INFINITY;
    /* Without the step, and how the two give way to it. */
    const double lat =
        (sum->lat_right * sum->offset_offset - sum->offset_right * sum->lat_offset) / determinant;
    const double offset =
        (sum->lat_lat * sum->offset_right - sum->lat_offset * sum->lat_right) / determinant;
    const double lat_by =
        (sum->lat_step * sum->offset_offset - sum->offset_step * sum->lat_offset) / determinant;
    const double offset_by =
        (sum->lat_lat * sum->offset_step - sum->lat_offset * sum->lat_step) / determinant;
    const double information =
        sum->step_step - sum->lat_step * lat_by - sum->offset_step * offset_by;
    if (!(information > SMALLEST_PIVOT * sum->step_step))
        return INFINITY;
    const double step =
        (sum->step_right - sum->lat_step * lat - sum->offset_step * offset) / information;
    const double x[] = {lat - lat_by * step, offset - offset_by * step};
    double chi2 = 0.0;
    for (int k = 0; k < count; k++) {
        double left = about[k].residual_deg - about[k].slope[0] * x[0] - about[k].slope[1] * x[1] -
                      (k >= first ? step : 0.0);
        chi2 += left * left * about[k].weight;
    }
    *step_over_sigma = fabs(step) * sqrt(information);
    return chi2;
}

static struct step_sums step_begin(const struct curve *curve, const struct curve_fit *fit,
                                   const struct about *about, int count) {
    const double prior = 1.0 / (curve->clock_sigma_s * curve->clock_sigma_s);
    struct step_sums sum = {.offset_offset = prior, .offset_right = -prior * fit->offset_s};
    for (int k = 0; k < count; k++) {
        const struct about *at = &about[k];
        sum.lat_lat += at->weight * at->slope[0] * at->slope[0];
        sum.lat_offset += at->weight * at->slope[0] * at->slope[1];
        sum.offset_offset += at->weight * at->slope[1] * at->slope[1];
        sum.lat_right += at->weight * at->slope[0] * at->residual_deg;
        sum.offset_right += at->weight * at->slope[1] * at->residual_deg;
    }
    return sum;
}

static void step_add(struct step_sums *sum, const struct about *late) {
    sum->lat_step += late->weight * late->slope[0];
    sum->offset_step += late->weight * late->slope[1];
    sum->step_step += late->weight;
    sum->step_right += late->weight * late->residual_deg;
}

int slip_bump(const struct curve *curve, const struct curve_fit *fit, const int *order, int count) {
    int strays = count - curve_kept(curve);
    double best = INFINITY, best_step = 0.0;
    int best_first = 0;
    struct about about[RUN_READINGS_MAX];
    if (count < EARLIEST_BUMP + 2)
        return 0;
    look_about(curve, fit, order, count, about);
    struct step_sums sum = step_begin(curve, fit, about, count);
    step_add(&sum, &about[count - 1]);
    /* From the last on, so that each step adds one late sight; of equals the earliest. */
    for (int first = count - 2; first >= EARLIEST_BUMP; first--) {
        double step = 0.0;
        step_add(&sum, &about[first]);
        double chi2 = step_chi2(&sum, about, count, first, &step);
        if (chi2 <= best && !isinf(chi2)) {
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
