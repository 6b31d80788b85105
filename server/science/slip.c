/* SPDX-License-Identifier: MIT */
/* slip: the search for simple causes. Each hypothesis says what the class would
 * have sent had it not slipped, and is believed when that lies on the curve. */
#include "server/science/slip.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/science/order.h"

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

/* Shadow (m) on a curve at a clock time, and the sigma (m) of one mark. */
static double shadow_on_curve_m(const struct curve *curve, double lat_deg, double offset_s,
                                double t_clock_s) {
    double zenith_deg = curve_zenith_deg(curve, lat_deg, t_clock_s, offset_s);
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
static bool fits_at(const struct curve *curve, const struct equations *about,
                    const struct sight *sight, double t_clock_s) {
    double zenith_deg = curve_zenith_deg(curve, about->lat_deg, t_clock_s, about->offset_s);
    return fabs(sight->zenith_deg - zenith_deg) < CLOSE_SIGMAS * sight->sigma_deg;
}

static bool fits_shifted(const struct curve *curve, const struct equations *about,
                         const struct sight *sight, double shift_s) {
    return fits_at(curve, about, sight, sight->t_utc_s + shift_s) ||
           fits_at(curve, about, sight, sight->t_utc_s - shift_s);
}

static bool minutes_wrong(const struct curve *curve, const struct equations *about,
                          const struct sight *sight) {
    for (int tens = 1; tens < 6; tens++)
        if (fits_shifted(curve, about, sight, 600.0 * tens))
            return true;
    return false;
}

/* Two marks exchanged leave both off the curve, the second perhaps too little to
 * be left out by itself. */
static bool exchanged(const struct curve *curve, const struct equations *about, int index) {
    const struct sight *sight = &curve->sight[index];
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *other = &curve->sight[i];
        if (i == index || isnan(other->zenith_deg))
            continue;
        if (fabs(about->sight[i].residual_deg) > NOTICED_SIGMAS * other->sigma_deg &&
            fits_at(curve, about, sight, other->t_utc_s) &&
            fits_at(curve, about, other, sight->t_utc_s))
            return true;
    }
    return false;
}

void slip_of_reading(const struct curve *curve, const struct equations *about, int index,
                     enum slip cause[SLIP_CAUSES]) {
    const struct sight *sight = &curve->sight[index];
    if (sight->useless == SLIP_TIME || sight->useless == SLIP_DUPLICATE) {
        cause[0] = sight->useless;
        for (int i = 1; i < SLIP_CAUSES; i++)
            cause[i] = SLIP_NONE;
        return;
    }
    double expected_m = shadow_on_curve_m(curve, about->lat_deg, about->offset_s, sight->t_utc_s);
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
        {SLIP_EXCHANGED, seen && exchanged(curve, about, index)},
        {SLIP_TENFOLD, tenfold},
        {SLIP_TIME, seen && (fits_shifted(curve, about, sight, 3600.0) ||
                             fits_shifted(curve, about, sight, 43200.0))},
        {SLIP_DIGITS_SWAPPED, digits_swapped(sent_mm, expected_mm, close_mm)},
        {SLIP_DIGIT, digit_wrong(sent_mm, expected_mm, close_mm)},
        {SLIP_TIME, seen && minutes_wrong(curve, about, sight)},
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

/* |measured - expected| zenith distance of a sight, were the run sent like this: 90 of one
 * too low to be one, NAN of one that cannot be looked at. */
static double off_deg(const struct curve *curve, int index) {
    return curve->sight[index].useless == SLIP_TOO_LOW
               ? 90.0
               : fabs(curve->declared.sight[index].residual_deg);
}

/* Their median; of a run with one length throughout, the best. */
static double misfit_deg(const struct curve *curve) {
    double seen_deg[RUN_READINGS_MAX];
    size_t count = 0;
    for (int i = 0; i < curve->sights; i++)
        if (!isnan(off_deg(curve, i)))
            seen_deg[count++] = off_deg(curve, i);
    if (count == 0)
        return 90.0;
    return order_select(seen_deg, count, one_length(curve->run) ? 0 : count / 2);
}

/* Readings that stand far off where this place has the Sun, and would stand there ten
 * times as long or as short. */
static int tenfold_sights(const struct curve *curve) {
    int count = 0;
    for (int i = 0; i < curve->sights; i++) {
        if (!(off_deg(curve, i) > SENSELESS_DEG))
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
    double t_utc_s = curve->noon.transit_utc_s;
    double here_deg = curve->place->lat_deg;
    double needed_m = curve->height_m *
                      shadow_on_curve_m(curve, fit->lat_deg, fit->offset_s, t_utc_s) /
                      shadow_on_curve_m(curve, here_deg, 0.0, t_utc_s);
    double tolerance_m = tolerance_deg * ANGLE_RAD_PER_DEG * curve->height_m /
                         fmax(0.1, fabs(angle_sin(2.0 * (fit->lat_deg - here_deg)) / 2.0));
    tolerance_m = fmin(tolerance_m, 0.02 * curve->height_m);
    const struct gnomon *gnomon = &curve->run->gnomon;
    for (int i = 0; gnomon->parts > 1 && i < gnomon->parts; i++)
        if (fabs(curve->height_m - gnomon->part[i].value_m - needed_m) < tolerance_m)
            return SLIP_PART_TWICE;
    return needed_m > curve->height_m ? SLIP_PART_MISSING : SLIP_PART_TWICE;
}

/* Square of a sight's misfit, in sigma, on a given point of the curve. */
static double misfit2(const struct sight *sight, double on_deg) {
    double off_deg = sight->zenith_deg - on_deg;
    return off_deg * off_deg * sight->weight;
}

bool slip_exchange(const struct curve *curve, const struct curve_fit *fit,
                   const struct equations *about, const int *order, int count, int pair[2]) {
    double on_curve[RUN_READINGS_MAX], own[RUN_READINGS_MAX], worst = 0.0;
    for (int k = 0; k < count; k++) {
        const struct sight *sight = &curve->sight[order[k]];
        on_curve[k] = sight->zenith_deg - about->sight[order[k]].residual_deg;
        own[k] = misfit2(sight, on_curve[k]);
        worst = fmax(worst, own[k]);
    }
    /* Below this no exchange is believed, whatever the scatter: most sights are seen to be
     * out of it without a look at the others. */
    double best = EXCHANGE_CHI2, kept_chi2 = fit->chi2;
    for (int k = 0; k < count; k++) {
        for (int m = k + 1; m < count && own[k] + worst > best; m++) {
            const struct sight *one = &curve->sight[order[k]], *two = &curve->sight[order[m]];
            double sent = own[k] + own[m];
            if (sent <= best || (!one->kept && !two->kept))
                continue;
            double meant = misfit2(one, on_curve[m]) + misfit2(two, on_curve[k]);
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

/* Normal equations about the fitted curve: of all sights for latitude and clock offset, the
 * clock being believed as far as it is, and of the late ones for a step that they alone
 * know of. */
struct step_sums {
    double prior, prior_offset_s;
    double lat_lat, lat_offset, offset_offset, lat_right, offset_right, squares; /* all */
    double lat_step, offset_step, step_step, step_right;                         /* late ones */
};

static struct step_sums step_begin(const struct curve *curve, const struct equations *about,
                                   const int *order, int count) {
    const double prior = 1.0 / (curve->clock_sigma_s * curve->clock_sigma_s);
    struct step_sums sum = {.prior = prior,
                            .prior_offset_s = -about->offset_s,
                            .offset_offset = prior,
                            .offset_right = -prior * about->offset_s,
                            .squares = prior * about->offset_s * about->offset_s};
    for (int k = 0; k < count; k++) {
        const struct equation *at = &about->sight[order[k]];
        const double weight = curve->sight[order[k]].weight;
        sum.lat_lat += weight * at->by_lat * at->by_lat;
        sum.lat_offset += weight * at->by_lat * at->by_offset;
        sum.offset_offset += weight * at->by_offset * at->by_offset;
        sum.lat_right += weight * at->by_lat * at->residual_deg;
        sum.offset_right += weight * at->by_offset * at->residual_deg;
        sum.squares += weight * at->residual_deg * at->residual_deg;
    }
    return sum;
}

static void step_add(struct step_sums *sum, const struct equation *late, double weight) {
    sum->lat_step += weight * late->by_lat;
    sum->offset_step += weight * late->by_offset;
    sum->step_step += weight;
    sum->step_right += weight * late->residual_deg;
}

/* Chi-square of the sights about one curve with that step; INFINITY where it does not
 * settle. */
static double step_chi2(const struct step_sums *sum, double *step_over_sigma) {
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
    *step_over_sigma = fabs(step) * sqrt(information);
    /* What the three unknowns explain is gone; what the prior holds against them is none of
     * the sights'. */
    const double from_prior_s = offset - offset_by * step - sum->prior_offset_s;
    const double chi2 = sum->squares - lat * sum->lat_right - offset * sum->offset_right -
                        step * step * information - sum->prior * from_prior_s * from_prior_s;
    return fmax(0.0, chi2);
}

int slip_bump(const struct curve *curve, const struct curve_fit *fit, const struct equations *about,
              const int *order, int count) {
    const int strays = count - curve_kept(curve);
    /* What one curve has to be believed to explain the same: strays and a wrong clock. */
    const double clock = about->offset_s / curve->clock_sigma_s;
    const double belief = STRAY_COST * strays + fmin(CLOCK_COST, clock * clock);
    /* Two curves without any residual would not be better by enough. */
    if (count < EARLIEST_BUMP + 2 || fit->chi2 + belief <= BUMP_CHI2)
        return 0;
    double best = INFINITY, best_step = 0.0;
    int best_first = 0;
    struct step_sums sum = step_begin(curve, about, order, count);
    /* From the last on, so that each step adds one late sight; of equals the earliest. */
    for (int first = count - 1; first >= EARLIEST_BUMP; first--) {
        step_add(&sum, &about->sight[order[first]], curve->sight[order[first]].weight);
        double step = 0.0, chi2 = first <= count - 2 ? step_chi2(&sum, &step) : INFINITY;
        if (chi2 <= best && !isinf(chi2)) {
            best = chi2;
            best_step = step;
            best_first = first;
        }
    }
    double scatter2 = fmax(1.0, best / fmax(1.0, count - 4.0));
    bool better = fit->chi2 + scatter2 * belief - best > BUMP_CHI2 * scatter2;
    return better && best_step > 6.0 * sqrt(scatter2) ? best_first : 0;
}
