/* SPDX-License-Identifier: MIT */
/* verdict: first the date, then what the reduction says. */
#include "server/rules/verdict.h"

#include <math.h>

#include "server/base/instant.h"
#include "server/rules/derive.h"

/* Beyond this longitude a noon may carry the date of either side of the line. */
#define DATE_LINE_DEG 150.0

static bool on_date(int32_t noon, int32_t date, double lon_deg) {
    int32_t apart = noon - date;
    return apart == 0 || (fabs(lon_deg) > DATE_LINE_DEG && (apart == 1 || apart == -1));
}

static int check_date(const struct day_record *day, const struct run *run, double lon_deg,
                      struct err *err) {
    int32_t noon = derive_noon_date(run, lon_deg);
    bool good = on_date(noon, day->date, lon_deg);
    for (int i = 0; i < day->spares; i++)
        good |= on_date(noon, day->spare[i], lon_deg);
    if (good)
        return 0;
    char date[11];
    date_format(noon, date);
    return err_set(err, ERR_WRONG_DAY, "/readings",
                   "the readings are of the noon of %s, which is not a date of this day; look at "
                   "the dates and at the offset of the times",
                   date);
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

int verdict_reduce(struct almanac *almanac, const struct day_record *day, const struct place *place,
                   const struct run *run, struct reduction *out, struct err *err) {
    if (run->readings < REDUCE_READINGS_MIN)
        return err_set(err, ERR_OUT_OF_RANGE, "/readings",
                       "a run needs at least %d readings; more about noon make it better",
                       REDUCE_READINGS_MIN);
    if (check_date(day, run, place->lon_deg, err) || derive_reduce(almanac, place, run, out, err))
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
    case REDUCE_OK:
    case REDUCE_TOO_FEW: /* too few usable ones: kept, and shown as such */
        return 0;
    }
    return err_set(err, ERR_INTERNAL, NULL, "the reduction came out wrong");
}
