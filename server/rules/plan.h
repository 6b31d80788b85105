/* SPDX-License-Identifier: MIT */
/* plan: what a class needs to know before the day: when noon is, when to start and
 * stop, whether noon can be measured, how much ground the shadow wants and how fuzzy
 * its end will be, what gnomon serves, and which partners are worth having.
 *
 * A class that knows the answer measures it. On a blind day, until the site has handed
 * in, everything about the shadow follows from the height class of the Sun alone, and
 * nothing but the class from the expected angle: asking with many gnomons tells no
 * more. Then, or when an organiser lifted it, angle and shadow are told. */
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

/* A length between two, NAN where there is none. */
struct plan_range {
    double from_mm, to_mm;
};

struct plan_date {
    int32_t date; /* days since 1970-01-01, by the site's meridian */
    enum noon_status status;
    double transit_utc_s;
    double start_utc_s, stop_utc_s; /* measure between these; NAN when not measurable */
    enum sun_height sun_height;
    double gnomon_mm;           /* that asked for, else the site's usual one, else 1000 */
    double suggested_gnomon_mm; /* for that height of the Sun; NAN when not measurable */
    double ground_mm;           /* flat ground needed towards the shadow, whole decimetres */
    struct plan_range shadow;   /* at noon; from equals to when the angle is told */
    struct plan_range fuzzy;    /* width of the shadow's end, likewise */
    double noon_angle_deg;      /* expected, signed; NAN while it is not told */
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
    bool told; /* the expected angle */
    struct plan_date dates[PLAN_DATES_MAX];
    int dates_count;
    struct plan_partner
        *partners; /* participants within the longitude tolerance, by expected sigma */
    size_t partners_count;
};
void plan_release(struct plan *plan);

/* What a plan is asked for. */
struct plan_wish {
    double gnomon_mm;    /* SITE_GNOMON_MIN_MM..MAX, NAN: the usual one */
    const char *partner; /* this one only, NULL: the best */
};

/* What a site's noon angle is expected to be good to, from its usual gnomon. */
double plan_expected_sigma_deg(const struct site_record *site);

/* Whether noon can be measured there when the Sun has that declination. */
bool plan_measurable(const struct place *place, double declination_deg);

/* READ. The site need not take part: a plan may be looked at before joining. A partner
 * asked for that does not take part is refused: ERR_OTHER_SEASON when it takes part in
 * days of other seasons only, else ERR_NOT_TAKING_PART. */
int plan_make(struct db *db, struct almanac *almanac, const char *day, const char *site,
              const struct plan_wish *wish, struct plan *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
