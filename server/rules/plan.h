/* SPDX-License-Identifier: MIT */
/* plan: what a class needs to know before the day, and nothing that would tell it
 * the answer: when noon is, when to start and stop, whether noon can be measured,
 * how fuzzy the shadow's end will be, and which partners are worth having. The
 * expected angle and shadow length are not here. */
#ifndef NOONARC_PLAN_H
#define NOONARC_PLAN_H

#include <stddef.h>

#include "server/rules/change.h"
#include "server/science/noon.h"
#include "server/wire/records.h"

#define PLAN_DATES_MAX (1 + DAY_SPARES_MAX)
#define PLAN_PARTNERS_MAX 50 /* best first */

enum sun_height { SUN_LOW, SUN_MIDDLING, SUN_HIGH }; /* below 30, 30..60, above 60 degrees */
const char *sun_height_name(enum sun_height height); /* "low", "middling", "high" */

struct plan_date {
    int32_t date; /* days since 1970-01-01, by the site's meridian */
    enum noon_status status;
    double transit_utc_s;
    double start_utc_s, stop_utc_s; /* measure between these; NAN when not measurable */
    enum sun_height sun_height;
    double gnomon_mm; /* the site's usual gnomon, or 1000 */
    double fuzzy_mm;  /* width of the fuzzy end, rounded to whole mm; NAN when not measurable */
};

struct plan_partner {
    char site[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    double separation_km;
    double lon_difference_deg;
    double expected_sigma_km; /* of the circumference, from both usual gnomons */
    bool allowed; /* by the day's own rules (separation, sigma), and both noons measurable */
};

struct plan {
    struct site_record site;
    struct day_record day;
    struct plan_date dates[PLAN_DATES_MAX];
    int dates_count;
    struct plan_partner
        *partners; /* participants within the longitude tolerance, by expected sigma */
    size_t partners_count;
};
void plan_release(struct plan *plan);

/* READ. The site need not take part: a plan may be looked at before joining. */
int plan_make(struct db *db, struct almanac *almanac, const char *day, const char *site,
              struct plan *out, struct err *err) __attribute__((warn_unused_result));

#endif
