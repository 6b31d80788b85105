/* SPDX-License-Identifier: MIT */
/* verdict: first the date, then what the reduction says. */
#include "server/rules/verdict.h"

#include <math.h>
#include <stdio.h>

#include "server/base/instant.h"
#include "server/rules/day_states.h"
#include "server/rules/derive.h"
#include "server/wire/suns.h"

#define MM_PER_M 1000.0
#define USUAL_WITHIN 0.1 /* of a tenth or ten times the usual gnomon */

static int check_date(const struct day_record *day, const struct run *run, double lon_deg,
                      struct err *err) {
    int32_t noon = suns_date_of_run(run, lon_deg);
    bool good = day_noon_is_of(noon, day->date, lon_deg);
    for (int i = 0; i < day->spares; i++)
        good |= day_noon_is_of(noon, day->spare[i], lon_deg);
    if (good)
        return 0;
    char date[11];
    date_format(noon, date);
    return err_set(err, ERR_WRONG_DAY, "/readings",
                   "the readings are of the noon of %s, which is not a date of this day; look at "
                   "the dates and at the offset of the times",
                   date);
}

/* All readings of one noon: of two, one would be lost. */
static int check_one_noon(const struct run *run, double lon_deg, struct err *err) {
    int32_t noon = suns_date_of_run(run, lon_deg);
    const struct clock_check clock = clock_check_of(&run->clock);
    for (int i = 0; i < run->readings; i++) {
        int32_t other = sun_day_nearest(run->reading[i].t_utc_s - clock.applied_s, lon_deg);
        if (other == noon)
            continue;
        char field[48], date[DATE_TEXT], other_date[DATE_TEXT];
        snprintf(field, sizeof field, "/readings/%d/time", i);
        date_format(noon, date);
        date_format(other, other_date);
        return err_set(err, ERR_WRONG_DAY, field,
                       "reading %d is of the noon of %s, others are of %s: hand in each noon by "
                       "itself, or look at its date and whether morning was written for afternoon",
                       i + 1, other_date, date);
    }
    return 0;
}

/* The site's usual gnomon tells centimetres from millimetres, which a run whose
 * lengths are all in one unit cannot. */
static int check_usual_gnomon(const struct site_record *site, const struct run *run,
                              struct err *err) {
    double times = MM_PER_M * gnomon_height(&run->gnomon).value_m / site->gnomon_mm;
    bool tenth = times > 0.1 * (1.0 - USUAL_WITHIN) && times < 0.1 * (1.0 + USUAL_WITHIN);
    bool tenfold = times > 10.0 * (1.0 - USUAL_WITHIN) && times < 10.0 * (1.0 + USUAL_WITHIN);
    if (!tenth && !tenfold) /* also without a usual gnomon */
        return 0;
    return err_set(err, ERR_UNIT_MISTAKEN, "/gnomon/parts",
                   "the gnomon is %s the site's usual one of %.10g mm: were centimetres and "
                   "millimetres mixed up?",
                   tenth ? "a tenth of" : "ten times", site->gnomon_mm);
}

static int refuse_too_few(const struct reduction *reduction, const struct run *run,
                          struct err *err) {
    int useful = run->readings - reduction->left_outs;
    return err_set(err, ERR_OUT_OF_RANGE, "/readings",
                   "of %d readings only %d can be used, and %d are needed; the others are too far "
                   "from noon, too low a Sun, or the same twice",
                   run->readings, useful, REDUCE_READINGS_MIN);
}

static int refuse_implausible(enum slip slip, struct err *err) {
    static const struct {
        enum slip slip;
        enum err_code code;
        const char *field;
    } table[] = {
        {SLIP_LENGTHS_SWAPPED, ERR_LENGTHS_SWAPPED, "/gnomon/parts"},
        {SLIP_RUN_TENFOLD, ERR_UNIT_MISTAKEN, "/gnomon/parts"},
        {SLIP_POSITION_SWAPPED, ERR_POSITION_SWAPPED, "/site"},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        if (table[i].slip == slip)
            return err_set(err, table[i].code, table[i].field, "%s", slip_text(slip));
    return err_set(err, ERR_IMPLAUSIBLE, "/readings", "%s",
                   slip_text(slip == SLIP_NONE ? SLIP_IMPLAUSIBLE : slip));
}

int verdict_reduce(struct almanac *almanac, const struct day_record *day,
                   const struct site_record *site, const struct run *run, struct reduction *out,
                   struct err *err) {
    if (run->readings < REDUCE_READINGS_MIN)
        return err_set(err, ERR_OUT_OF_RANGE, "/readings",
                       "a run needs at least %d readings; more about noon make it better",
                       REDUCE_READINGS_MIN);
    const struct place *place = &site->place;
    struct run judged;
    run_under_day(run, day, &judged);
    if (check_date(day, &judged, place->lon_deg, err) ||
        check_one_noon(&judged, place->lon_deg, err) || check_usual_gnomon(site, run, err) ||
        derive_reduce(almanac, day, place, run, out, err))
        return -1;
    switch (out->status) {
    case REDUCE_NOON_UNUSABLE:
        return err_set(err, ERR_NOON_UNUSABLE, "/readings", "%s",
                       noon_status_text(out->noon.status));
    case REDUCE_WRONG_TIME:
        return err_set(err, ERR_WRONG_DAY, "/readings",
                       "some readings are more than 6 hours from noon; look at the times and "
                       "their offset");
    case REDUCE_IMPLAUSIBLE:
        return refuse_implausible(out->run_slip, err);
    case REDUCE_TOO_FEW:
        return refuse_too_few(out, run, err);
    case REDUCE_OK:
        return 0;
    }
    return err_set(err, ERR_INTERNAL, NULL, "the reduction came out wrong");
}
