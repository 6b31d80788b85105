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
#define GROUND_STEP_MM 100.0
#define ANYWHERE_DEG 180.0
#define SUN_MEAN_SEMIDIAMETER_DEG (SUN_SEMIDIAMETER_1AU_ARCSEC / ANGLE_ARCSEC_PER_DEG)
/* A position is let out rounded to a tenth of a degree at the coarsest. */
#define PLAN_LET_OUT_DEG 0.05
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

double plan_expected_sigma_deg(const struct site_record *site) {
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

/* What the height of the Sun alone says, for its class. The typical width of the fuzzy
 * zone is that of the class's middle; ground is for the shadow at either end of the
 * window, when it is longer than at noon. */
static const struct height_class {
    double least_zenith_deg, most_zenith_deg;
    double ground_per_gnomon;
    double suggested_gnomon_mm;
} classes[] = {
    /* a long shadow with a wide end: a shorter gnomon keeps it on flat ground */
    [SUN_LOW] = {60.0, REFRACTION_LIMIT_DEG, 6.0, 800.0},
    [SUN_MIDDLING] = {30.0, 60.0, 2.2, 1500.0},
    /* a short shadow with a sharp end: height is what there is too little of */
    [SUN_HIGH] = {0.0, 30.0, 1.0, 2500.0},
};

static enum sun_height height_of(double zenith_distance_deg) {
    return zenith_distance_deg > 60.0   ? SUN_LOW
           : zenith_distance_deg > 30.0 ? SUN_MIDDLING
                                        : SUN_HIGH;
}

static double shadow_mm(double gnomon_mm, double apparent_zenith_deg) {
    return gnomon_mm * tan(apparent_zenith_deg / ANGLE_DEG_PER_RAD);
}

static double fuzzy_mm(double gnomon_mm, double apparent_zenith_deg, double semidiameter_deg) {
    return MM_PER_M *
           gnomon_fuzzy_width_m(gnomon_mm / MM_PER_M, apparent_zenith_deg, semidiameter_deg);
}

/* By the class alone: nothing here looks at the angle. */
static void tell_class(struct plan_date *date) {
    const struct height_class *class = &classes[date->sun_height];
    date->suggested_gnomon_mm = class->suggested_gnomon_mm;
    date->ground_mm =
        GROUND_STEP_MM * ceil(date->gnomon_mm * class->ground_per_gnomon / GROUND_STEP_MM);
    date->shadow.from_mm = round(shadow_mm(date->gnomon_mm, class->least_zenith_deg));
    date->shadow.to_mm = round(shadow_mm(date->gnomon_mm, class->most_zenith_deg));
    date->fuzzy.from_mm =
        round(fuzzy_mm(date->gnomon_mm, class->least_zenith_deg, SUN_MEAN_SEMIDIAMETER_DEG));
    date->fuzzy.to_mm =
        round(fuzzy_mm(date->gnomon_mm, class->most_zenith_deg, SUN_MEAN_SEMIDIAMETER_DEG));
}

static void tell_angle(const struct noon *noon, struct plan_date *date) {
    double zenith_deg = noon->refracted_zenith_distance_deg;
    date->noon_angle_deg = noon->noon_angle_deg;
    date->shadow.from_mm = date->shadow.to_mm = round(shadow_mm(date->gnomon_mm, zenith_deg));
    date->fuzzy.from_mm = date->fuzzy.to_mm =
        round(fuzzy_mm(date->gnomon_mm, zenith_deg, noon->sun.semidiameter_deg));
}

static void plan_one(const struct plan *plan, double gnomon_mm, int32_t date,
                     const struct sun_day *sun, struct plan_date *out) {
    const struct place *place = &plan->site.place;
    struct refraction air = refraction_at(place->elevation_m, NAN, NAN);
    struct noon noon;
    noon_predict(place, sun, &air, &noon);
    *out = (struct plan_date){
        .date = date,
        .status = noon.status,
        .transit_utc_s = noon.transit_utc_s,
        .start_utc_s = NAN,
        .stop_utc_s = NAN,
        .sun_height = height_of(noon.zenith_distance_deg),
        .gnomon_mm = isnan(gnomon_mm) ? gnomon_of(&plan->site) : gnomon_mm,
        .suggested_gnomon_mm = NAN,
        .ground_mm = NAN,
        .shadow = {NAN, NAN},
        .fuzzy = {NAN, NAN},
        .noon_angle_deg = NAN,
    };
    if (noon.status != NOON_MEASURABLE)
        return;
    double half_s = half_window_s(place, &noon, out->sun_height);
    out->start_utc_s = 60.0 * floor((noon.transit_utc_s - half_s) / 60.0);
    out->stop_utc_s = 60.0 * ceil((noon.transit_utc_s + half_s) / 60.0);
    tell_class(out);
    if (plan->told)
        tell_angle(&noon, out);
}

/* Near the date line the neighbours' noon may carry another date on a site's own
 * meridian: the sites' common central meridian says which noon the day means. */
static int32_t date_shift(double lon_deg, double central_deg) {
    if (fabs(lon_deg) <= PLAN_DATE_LINE_DEG)
        return 0;
    double unrolled_deg = central_deg + angle_wrap(lon_deg - central_deg);
    return (int32_t)lround((lon_deg - unrolled_deg) / 360.0);
}

static int plan_dates(struct almanac *almanac, double gnomon_mm, double central_deg,
                      struct plan *plan, struct err *err) {
    const struct day_record *day = &plan->day;
    int32_t shift = date_shift(plan->site.place.lon_deg, central_deg);
    for (int i = 0; i <= day->spares; i++) {
        int32_t date = shift + (i == 0 ? day->date : day->spare[i - 1]);
        struct sun_day sun;
        if (!almanac_day(almanac, date, &sun))
            return err_set(err, ERR_INTERNAL, NULL, "the Sun of a date is not known");
        plan_one(plan, gnomon_mm, date, &sun, &plan->dates[plan->dates_count++]);
    }
    return 0;
}

bool plan_measurable(const struct place *place, double declination_deg) {
    double zenith_distance_deg = fabs(place->lat_deg - declination_deg);
    return zenith_distance_deg > NOON_OVERHEAD_DEG && zenith_distance_deg < REFRACTION_LIMIT_DEG;
}

/* False for sites farther off the meridian than that, and for the site itself. */
static bool plan_partner(const struct plan *plan, double declination_deg, double within_deg,
                         const struct site_record *other, struct plan_partner *out) {
    const struct place *here = &plan->site.place, *there = &other->place;
    double apart_deg = pair_lon_difference_deg(here->lon_deg, there->lon_deg);
    if (apart_deg > within_deg || strcmp(other->site, plan->site.site) == 0)
        return false;
    double separation_km = meridian_arc_m(here->lat_deg, there->lat_deg) / 1000.0;
    double angle_deg = 360.0 * separation_km / MERIDIAN_CIRCUMFERENCE_KM;
    double sigma_deg = hypot(plan_expected_sigma_deg(&plan->site), plan_expected_sigma_deg(other));
    *out = (struct plan_partner){
        .separation_km = separation_km,
        .lon_difference_deg = apart_deg,
        .expected_sigma_km = MERIDIAN_CIRCUMFERENCE_KM * sigma_deg / angle_deg,
    };
    memcpy(out->site, other->site, sizeof out->site);
    memcpy(out->name, other->name, sizeof out->name);
    out->allowed =
        apart_deg <= plan->day.lon_tolerance_deg && plan_measurable(here, declination_deg) &&
        plan_measurable(there, declination_deg) && separation_km >= plan->day.min_separation_km &&
        !(out->expected_sigma_km > plan->day.max_sigma_km);
    return true;
}

static int best_first(const void *left, const void *right) {
    const struct plan_partner *a = left, *b = right;
    if (a->expected_sigma_km != b->expected_sigma_km)
        return a->expected_sigma_km < b->expected_sigma_km ? -1 : 1;
    return strcmp(a->site, b->site);
}

/* The meridian, to a degree or so, about which the day's sites gather. It matters near
 * the date line alone, and there for the side only; elsewhere the site's own will do. */
static int central_meridian(struct db *db, int64_t day, double own_deg, double *out,
                            struct err *err) {
    double lon_deg[DAY_DEGREES_MAX + 1], scratch[2 * (DAY_DEGREES_MAX + 1)];
    size_t count;
    *out = own_deg;
    if (fabs(own_deg) <= PLAN_DATE_LINE_DEG)
        return 0;
    if (day_rows_degrees(db, day, lon_deg, &count, err))
        return -1;
    lon_deg[count] = own_deg;
    *out = match_central_meridian_deg(lon_deg, count + 1, scratch);
    return 0;
}

/* Those on the meridian, at either side of the date line: one band or two. */
struct band {
    struct participant *items[2];
    size_t count[2];
};

static int load_band(struct db *db, int64_t day, const struct plan *plan, struct band *out,
                     struct err *err) {
    const double reach_deg = plan->day.lon_tolerance_deg + PLAN_LET_OUT_DEG;
    const double low_deg = plan->site.place.lon_deg - reach_deg;
    const double high_deg = plan->site.place.lon_deg + reach_deg;
    if (day_rows_between(db, day, low_deg, high_deg, &out->items[0], &out->count[0], err))
        return -1;
    if (low_deg < -180.0)
        return day_rows_between(db, day, low_deg + 360.0, 180.0, &out->items[1], &out->count[1],
                                err);
    if (high_deg > 180.0)
        return day_rows_between(db, day, -180.0, high_deg - 360.0, &out->items[1], &out->count[1],
                                err);
    return 0;
}

static int noon_declination_deg(struct almanac *almanac, const struct plan *plan, double *out,
                                struct err *err) {
    struct sun_day sun;
    struct sun_place noon_sun;
    if (!almanac_day(almanac, plan->day.date, &sun))
        return err_set(err, ERR_INTERNAL, NULL, "the Sun of a date is not known");
    sun_at(&sun, sun_transit_utc_s(&sun, plan->site.place.lon_deg), &noon_sun);
    *out = noon_sun.declination_deg;
    return 0;
}

static int plan_partners(struct db *db, struct almanac *almanac, int64_t day, struct plan *plan,
                         struct err *err) {
    struct band band = {0};
    double declination_deg = 0.0;
    size_t n = 0;
    int result = -1;
    if (noon_declination_deg(almanac, plan, &declination_deg, err) ||
        load_band(db, day, plan, &band, err))
        goto cleanup;
    plan->partners = malloc((band.count[0] + band.count[1] + 1) * sizeof *plan->partners);
    if (!plan->partners) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t side = 0; side < 2; side++)
        for (size_t i = 0; i < band.count[side]; i++)
            n += plan_partner(plan, declination_deg, plan->day.lon_tolerance_deg,
                              &band.items[side][i].site, &plan->partners[n]);
    qsort(plan->partners, n, sizeof *plan->partners, best_first);
    plan->partners_count = n < PLAN_PARTNERS_MAX ? n : PLAN_PARTNERS_MAX;
    result = 0;
cleanup:
    free(band.items[0]);
    free(band.items[1]);
    return result;
}

/* A partner that is asked for by name, and why it is none. */
static int plan_named(struct db *db, struct almanac *almanac, int64_t day, const char *name,
                      struct plan *plan, struct err *err) {
    struct site_row other;
    struct standing standing;
    double declination_deg = 0.0;
    bool elsewhere = false;
    if (lookup_site(db, name, &other, err) ||
        day_rows_standing(db, day, other.id, &standing, err) ||
        season_rows_elsewhere(db, other.id, plan->day.season, &elsewhere, err) ||
        noon_declination_deg(almanac, plan, &declination_deg, err))
        return -1;
    if (standing.stand != STAND_TAKEN)
        return elsewhere ? err_set(err, ERR_OTHER_SEASON, "partner",
                                   "%s takes part in days of another season, not in this day: "
                                   "partners measure the same noon",
                                   name)
                         : err_set(err, ERR_NOT_TAKING_PART, "partner",
                                   "%s does not take part in that day", name);
    plan->partners = malloc(sizeof *plan->partners);
    if (!plan->partners)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    plan->partners_count =
        plan_partner(plan, declination_deg, ANYWHERE_DEG, &other.record, plan->partners);
    return 0;
}

/* On a blind day the angle is told to those alone who have handed in. */
static int is_told(struct db *db, int64_t day, int64_t site, bool blind, bool *out,
                   struct err *err) {
    int64_t run;
    enum found found = blind ? run_rows_current(db, day, site, &run, err) : FOUND_ONE;
    *out = found == FOUND_ONE;
    return found == FOUND_FAILED ? -1 : 0;
}

int plan_make(struct db *db, struct almanac *almanac, const char *day, const char *site,
              const struct plan_wish *wish, struct plan *out, struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    struct plan plan = {0};
    double central_deg = 0.0;
    int result = -1;
    if (lookup_day(db, day, &day_row, err) || lookup_site(db, site, &site_row, err))
        return -1;
    plan.day = day_row.record;
    plan.site = site_row.record;
    if (is_told(db, day_row.id, site_row.id, plan.day.blind, &plan.told, err) ||
        central_meridian(db, day_row.id, plan.site.place.lon_deg, &central_deg, err) ||
        plan_dates(almanac, wish->gnomon_mm, central_deg, &plan, err) ||
        (wish->partner ? plan_named(db, almanac, day_row.id, wish->partner, &plan, err)
                       : plan_partners(db, almanac, day_row.id, &plan, err)))
        goto cleanup;
    *out = plan;
    plan.partners = NULL;
    result = 0;
cleanup:
    plan_release(&plan);
    return result;
}
