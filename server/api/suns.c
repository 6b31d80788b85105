/* SPDX-License-Identifier: MIT */
/* suns: the Sun of a date as the reduction takes it, so that a phone without a
 * network reduces its readings with the very numbers of the server. It tells what a
 * class is to measure, so it stands apart from the plan, and no page shows it. */
#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/base/instant.h"
#include "server/rules/almanac.h"

static void write_series(struct json_writer *json, const char *key,
                         const double coefficient[SUN_TERMS]) {
    json_write_array(json, key);
    for (int i = 0; i < SUN_TERMS; i++)
        json_write_real(json, NULL, coefficient[i]);
    json_write_end(json);
}

int get_sun(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    int32_t date;
    struct sun_day sun;
    struct json_writer json;
    if (!date_parse(exchange->request.param[0], &date) || !almanac_day(lookup->almanac, date, &sun))
        return err_set(err, ERR_NOT_FOUND, NULL,
                       "there is a Sun for dates from 1972-01-01 to 2100-12-31, as YYYY-MM-DD");
    render_json(&exchange->response, &json);
    json_write_date(&json, "date", date);
    json_write_real(&json, "centre_utc_s", sun.centre_utc_s);
    json_write_real(&json, "half_span_s", sun.half_span_s);
    write_series(&json, "declination_deg", sun.declination_deg);
    write_series(&json, "equation_s", sun.equation_s);
    write_series(&json, "distance_au", sun.distance_au);
    json_write_end(&json);
    return 0;
}
