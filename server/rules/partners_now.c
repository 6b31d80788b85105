/* SPDX-License-Identifier: MIT */
#include "server/rules/partners_now.h"

#include <math.h>

#include "server/rules/plan.h"
#include "server/science/meridian.h"

#define M_PER_KM 1000.0

/* What a site itself was told: seconds, down to the newest that replaced all before;
 * of a choice for all, every row. */
static int told(struct db *db, int64_t day, int64_t site, struct partner_row out[PARTNER_ROWS_MAX],
                int *count, struct err *err) {
    struct partner_row row[PARTNER_ROWS_MAX];
    int rows, n = 0;
    int64_t partnering = 0;
    if (partner_rows_of_site(db, day, site, row, &rows, err))
        return -1;
    for (int i = 0; i < rows; i++) {
        if (partnering != 0 && row[i].partnering != partnering)
            break;
        if (row[i].partner != 0)
            out[n++] = row[i];
        if (row[i].kind == PARTNER_OFFERED)
            break;
        if (row[i].kind == PARTNER_ASSIGNED)
            partnering = row[i].partnering;
    }
    *count = n;
    return 0;
}

int partners_now(struct db *db, int64_t day, int64_t site, struct partner_row out[PARTNERS_MAX],
                 int *count, struct err *err) {
    struct partner_row own[PARTNER_ROWS_MAX], its[PARTNER_ROWS_MAX];
    int owns, theirs, n = 0;
    if (told(db, day, site, own, &owns, err))
        return -1;
    for (int i = 0; i < owns && n < PARTNERS_MAX; i++) {
        bool mutual = false;
        if (told(db, day, own[i].partner, its, &theirs, err))
            return -1;
        for (int k = 0; k < theirs; k++)
            mutual = mutual || its[k].partner == site;
        for (int k = 0; k < n; k++)
            mutual = mutual && out[k].partner != own[i].partner;
        if (mutual)
            out[n++] = own[i];
    }
    *count = n;
    return 0;
}

struct match_rules partners_rules(const struct day_record *day) {
    return (struct match_rules){
        .lon_tolerance_deg = day->lon_tolerance_deg,
        .min_separation_km = day->min_separation_km,
        .max_sigma_km = isnan(day->max_sigma_km) ? INFINITY : day->max_sigma_km,
        .exact_max = MATCHING_EXACT_MAX,
    };
}

int partners_match_site(struct almanac *almanac, const struct day_record *day,
                        const struct site_record *site, struct match_site *out, struct err *err) {
    struct sun_day sun;
    struct sun_place noon_sun;
    if (!almanac_day(almanac, day->date, &sun))
        return err_set(err, ERR_INTERNAL, NULL, "the Sun of a date is not known");
    sun_at(&sun, sun_transit_utc_s(&sun, site->place.lon_deg), &noon_sun);
    *out = (struct match_site){
        .lon_deg = site->place.lon_deg,
        .meridian_km = meridian_distance_m(site->place.lat_deg) / M_PER_KM,
        .sigma_deg = plan_expected_sigma_deg(site),
        .measurable = plan_measurable(&site->place, noon_sun.declination_deg),
    };
    return 0;
}
