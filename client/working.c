/* SPDX-License-Identifier: MIT */
/* working: median time -> date by the meridian -> Sun -> reduction -> JSON. */
#include "client/working.h"

#include "server/wire/record_write.h"
#include "server/wire/suns.h"

/* Reduces against the noon nearest to the middle reading; false without a Sun. */
static bool reduce(const struct place *place, const struct run *run, struct reduction *out) {
    struct sun_day day;
    if (run->readings == 0 || !sun_day_build(suns_date_of_run(run, place->lon_deg), &day))
        return false;
    reduce_run(place, run, &day, out);
    return true;
}

int working_reduction(const struct site_record *site, const struct run *run, struct text *out,
                      struct err *err) {
    struct reduction reduction;
    struct reduction_record record;
    struct left_out_record left_out[RUN_READINGS_MAX];
    struct json_writer json;
    if (!reduce(&site->place, run, &reduction))
        return err_set(err, ERR_OUT_OF_RANGE, "/readings/0/time",
                       "the Sun is known here from 1972-01-01 to 2100-12-31");
    reduction_record_make(site->site, "", 0, run, &reduction, left_out, &record);
    json_write_init(&json, out);
    record_write_reduction(&json, NULL, &record);
    return out->failed ? err_set(err, ERR_STORAGE, "", "out of memory") : 0;
}

bool working_angle(const struct place *place, const struct run *run, double *noon_angle_deg,
                   double *sigma_deg) {
    struct reduction reduction;
    if (run->readings < REDUCE_READINGS_MIN || !reduce(place, run, &reduction) ||
        reduction.status != REDUCE_OK)
        return false;
    *noon_angle_deg = reduction.noon_angle_deg;
    *sigma_deg = reduction.sigma_deg;
    return true;
}
