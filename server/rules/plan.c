/* SPDX-License-Identifier: MIT */
/* plan: noon of each date, a window about it, and the partners.
 *
 * Window: 45 minutes either side of noon, 60 where the Sun stands above 60 degrees
 * (the shadow is short, its end sharp, and a longer curve is worth more); drawn
 * in, to 10 minutes at least, where the Sun would be lower than the reduction
 * accepts at the ends. Rounded outwards to whole minutes. */
#include "server/rules/plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/derive.h"
#include "server/rules/lookup.h"
#include "server/science/angle.h"
#include "server/science/match.h"
#include "server/science/meridian.h"

#define WINDOW_S 2700.0
#define WINDOW_HIGH_SUN_S 3600.0
#define WINDOW_LEAST_S 600.0
#define WINDOW_STEP_S 300.0
#define ZENITH_LIMIT_DEG 79.5 /* half a degree inside the limit of refraction */
#define USUAL_GNOMON_MM 1000.0
#define MM_PER_M 1000.0
#define PLAN_DATE_LINE_DEG 150.0 /* as far from it as a run may carry the other date */

/* A site's expected sigma: what the reduction itself allows for plumb line and
 * level (0.03 degrees) and for the habit of marking the edge (0.02), and 1 mm for
 * foot, top and tape of the gnomon, all of it taken across the shadow's ray. */
#define PLAN_TILT_DEG 0.03
#define PLAN_EDGE_DEG 0.02
#define PLAN_LENGTH_MM 1.0

const char *sun_height_name(enum sun_height height) {
    static const char *const names[] = {
        [SUN_LOW] = "low", [SUN_MIDDLING] = "middling", [SUN_HIGH] = "high"};
    return names[height];
}

void plan_release(struct plan *plan) {
    free(plan->partners);
    plan->partners = NULL;
    plan->partners_count = 0;
}

static double gnomon_of(const struct site_record *site) {
    return isnan(site->gnomon_mm) ? USUAL_GNOMON_MM : site->gnomon_mm;
}

static double expected_sigma_deg(const struct site_record *site) {
    double length_deg = PLAN_LENGTH_MM / gnomon_of(site) * ANGLE_DEG_PER_RAD;
    return hypot(hypot(PLAN_TILT_DEG, PLAN_EDGE_DEG), length_deg);
}

static double zenith_deg(const struct place *place, double declination_deg, double hour_angle_deg) {
    double cosine =
        angle_sin(place->lat_deg) * angle_sin(declination_deg) +
        angle_cos(place->lat_deg) * angle_cos(declination_deg) * angle_cos(hour_angle_deg);
    return acos(fmax(-1.0, fmin(1.0, cosine))) * ANGLE_DEG_PER_RAD;
}

static double half_window_s(const struct place *place, const struct noon *noon,
                            enum sun_height height) {
    double half_s = height == SUN_HIGH ? WINDOW_HIGH_SUN_S : WINDOW_S;
    while (half_s > WINDOW_LEAST_S && zenith_deg(place, noon->sun.declination_deg,
                                                 half_s * ANGLE_DEG_PER_DAY_S) > ZENITH_LIMIT_DEG)
        half_s -= WINDOW_STEP_S;
    return half_s;
}

static void plan_one(const struct site_record *site, int32_t date, const struct sun_day *sun,
                     struct plan_date *out) {
    struct refraction air = refraction_at(site->place.elevation_m, NAN, NAN);
    struct noon noon;
    noon_predict(&site->place, sun, &air, &noon);
    double altitude_deg = 90.0 - noon.zenith_distance_deg;
    *out = (struct plan_date){
        .date = date,
        .status = noon.status,
        .transit_utc_s = noon.transit_utc_s,
        .start_utc_s = NAN,
        .stop_utc_s = NAN,
        .sun_height = altitude_deg < 30.0   ? SUN_LOW
                      : altitude_deg < 60.0 ? SUN_MIDDLING
                                            : SUN_HIGH,
        .gnomon_mm = gnomon_of(site),
        .fuzzy_mm = NAN,
    };
    if (noon.status != NOON_MEASURABLE)
        return;
    double half_s = half_window_s(&site->place, &noon, out->sun_height);
    out->start_utc_s = 60.0 * floor((noon.transit_utc_s - half_s) / 60.0);
    out->stop_utc_s = 60.0 * ceil((noon.transit_utc_s + half_s) / 60.0);
    out->fuzzy_mm = round(MM_PER_M * gnomon_fuzzy_width_m(out->gnomon_mm / MM_PER_M,
                                                          noon.refracted_zenith_distance_deg,
                                                          noon.sun.semidiameter_deg));
}

/* Near the date line the neighbours' noon may carry another date on a site's own
 * meridian: the sites' common central meridian says which noon the day means. */
static int32_t date_shift(double lon_deg, double central_deg) {
    if (fabs(lon_deg) <= PLAN_DATE_LINE_DEG)
        return 0;
    double unrolled_deg = central_deg + angle_wrap(lon_deg - central_deg);
    return (int32_t)lround((lon_deg - unrolled_deg) / 360.0);
}

static int plan_dates(struct almanac *almanac, double central_deg, struct plan *plan,
                      struct err *err) {
    const struct day_record *day = &plan->day;
    int32_t shift = date_shift(plan->site.place.lon_deg, central_deg);
    for (int i = 0; i <= day->spares; i++) {
        int32_t date = shift + (i == 0 ? day->date : day->spare[i - 1]);
        struct sun_day sun;
        if (!almanac_day(almanac, date, &sun))
            return err_set(err, ERR_INTERNAL, NULL, "the Sun of a date is not known");
        plan_one(&plan->site, date, &sun, &plan->dates[plan->dates_count++]);
    }
    return 0;
}

/* Can the noon of the day's first date be measured there? */
static bool measurable(const struct place *place, double declination_deg) {
    double zenith_distance_deg = fabs(place->lat_deg - declination_deg);
    return zenith_distance_deg > NOON_OVERHEAD_DEG && zenith_distance_deg < REFRACTION_LIMIT_DEG;
}

/* False for sites off the meridian. */
static bool plan_partner(const struct plan *plan, double declination_deg,
                         const struct site_record *other, struct plan_partner *out) {
    const struct place *here = &plan->site.place, *there = &other->place;
    double apart_deg = pair_lon_difference_deg(here->lon_deg, there->lon_deg);
    if (apart_deg > plan->day.lon_tolerance_deg || strcmp(other->site, plan->site.site) == 0)
        return false;
    double separation_km = meridian_arc_m(here->lat_deg, there->lat_deg) / 1000.0;
    double angle_deg = 360.0 * separation_km / MERIDIAN_CIRCUMFERENCE_KM;
    double sigma_deg = hypot(expected_sigma_deg(&plan->site), expected_sigma_deg(other));
    *out = (struct plan_partner){
        .separation_km = separation_km,
        .lon_difference_deg = apart_deg,
        .expected_sigma_km = MERIDIAN_CIRCUMFERENCE_KM * sigma_deg / angle_deg,
    };
    memcpy(out->site, other->site, sizeof out->site);
    memcpy(out->name, other->name, sizeof out->name);
    out->allowed = measurable(here, declination_deg) && measurable(there, declination_deg) &&
                   separation_km >= plan->day.min_separation_km &&
                   !(out->expected_sigma_km > plan->day.max_sigma_km);
    return true;
}

static int best_first(const void *left, const void *right) {
    const struct plan_partner *a = left, *b = right;
    if (a->expected_sigma_km != b->expected_sigma_km)
        return a->expected_sigma_km < b->expected_sigma_km ? -1 : 1;
    return strcmp(a->site, b->site);
}

/* The meridian about which the day's sites, this one too, gather. */
static int central_meridian(const struct plan *plan, const struct participant *all, size_t count,
                            double *out, struct err *err) {
    double *lon_deg = malloc((count + 1) * sizeof *lon_deg);
    if (!lon_deg)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++)
        lon_deg[i] = all[i].site.place.lon_deg;
    lon_deg[count] = plan->site.place.lon_deg;
    *out = match_central_meridian_deg(lon_deg, count + 1);
    free(lon_deg);
    return 0;
}

static int plan_partners(struct almanac *almanac, const struct participant *all, size_t count,
                         struct plan *plan, struct err *err) {
    struct sun_day sun;
    struct sun_place noon_sun;
    if (!almanac_day(almanac, plan->day.date, &sun))
        return err_set(err, ERR_INTERNAL, NULL, "the Sun of a date is not known");
    sun_at(&sun, sun_transit_utc_s(&sun, plan->site.place.lon_deg), &noon_sun);
    plan->partners = malloc((count + 1) * sizeof *plan->partners);
    if (!plan->partners)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    size_t n = 0;
    for (size_t i = 0; i < count; i++)
        n += plan_partner(plan, noon_sun.declination_deg, &all[i].site, &plan->partners[n]);
    qsort(plan->partners, n, sizeof *plan->partners, best_first);
    plan->partners_count = n < PLAN_PARTNERS_MAX ? n : PLAN_PARTNERS_MAX;
    return 0;
}

int plan_make(struct db *db, struct almanac *almanac, const char *day, const char *site,
              struct plan *out, struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    struct plan plan = {0};
    struct participant *all = NULL;
    size_t count = 0;
    double central_deg = 0.0;
    int result = -1;
    if (lookup_day(db, day, &day_row, err) || lookup_site(db, site, &site_row, err))
        return -1;
    plan.day = day_row.record;
    plan.site = site_row.record;
    if (day_rows_participants(db, day_row.id, "", INT64_MAX, &all, &count, err) ||
        central_meridian(&plan, all, count, &central_deg, err) ||
        plan_dates(almanac, central_deg, &plan, err) ||
        plan_partners(almanac, all, count, &plan, err))
        goto cleanup;
    *out = plan;
    plan.partners = NULL;
    result = 0;
cleanup:
    plan_release(&plan);
    free(all);
    return result;
}
