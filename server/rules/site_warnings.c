/* SPDX-License-Identifier: MIT */
/* site_warnings: the sites about a place, by an index of rows of latitude. */
#include "server/rules/site_warnings.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

#include "server/rules/land.h"
#include "server/science/angle.h"
#include "server/science/meridian.h"
#include "server/store/site_rows.h"

#define ZERO_DEG 0.01 /* a kilometre: no school stands so near to 0, 0, which is sea */
/* Two positions that round to one tenth of a degree are this far apart at most. */
#define LOOK_DEG 0.1001

struct neighbours {
    struct site_record *items;
    size_t count;
};

static int find_neighbours(struct db *db, const struct place *place, struct neighbours *out,
                           struct err *err) {
    const double wide_deg = fmin(180.0, LOOK_DEG / fmax(angle_cos(place->lat_deg), 1e-3));
    const struct site_belt belt = {place->lat_deg - LOOK_DEG, place->lat_deg + LOOK_DEG,
                                   place->lon_deg - wide_deg, place->lon_deg + wide_deg};
    return site_rows_about(db, &belt, &out->items, &out->count, err);
}

/* As near as the other lets one know. */
static bool is_near(const struct site_record *site, const struct site_record *other) {
    struct site_record rounded = *site;
    if (other->position_decimals >= POSITION_DECIMALS_MIN) {
        rounded.place = site->exact;
        rounded.position_decimals = other->position_decimals;
        site_record_settle(&rounded);
        return rounded.place.lat_deg == other->place.lat_deg &&
               rounded.place.lon_deg == other->place.lon_deg;
    }
    return meridian_geodesic_m(site->exact.lat_deg, site->exact.lon_deg, other->place.lat_deg,
                               other->place.lon_deg) < SITE_NEIGHBOUR_M;
}

int site_refuse_duplicate(struct db *db, const struct site_record *site, struct err *err) {
    struct neighbours near = {0};
    int result = 0;
    if (find_neighbours(db, &site->exact, &near, err))
        return -1;
    for (size_t i = 0; i < near.count && result == 0; i++)
        if (strcasecmp(near.items[i].name, site->name) == 0 && is_near(site, &near.items[i]))
            result = err_set(err, ERR_SITE_DUPLICATE, "/name",
                             "a school of that name is registered at that place, as site %s: use "
                             "its key, or ask the organiser to renew it; a second playground "
                             "wants a name of its own",
                             near.items[i].site);
    free(near.items);
    return result;
}

int site_warn(struct db *db, const struct site_record *site, struct warnings *warnings,
              struct err *err) {
    struct neighbours near = {0};
    const struct place *exact = &site->exact;
    if (fabs(exact->lat_deg) < ZERO_DEG && fabs(exact->lon_deg) < ZERO_DEG)
        warning_add(warnings, WARNING_POSITION_ZERO, "/lat_deg",
                    "latitude and longitude are both 0, which is in the sea off Africa: was the "
                    "position left out?");
    else if (!land_is_near(exact->lat_deg, exact->lon_deg))
        warning_add(warnings, WARNING_POSITION_SEA, "/lat_deg",
                    "the position lies in the sea, far from any coast: is a sign or a digit wrong? "
                    "(An island may be too small for the map that was asked.)");
    if (find_neighbours(db, exact, &near, err))
        return -1;
    for (size_t i = 0; i < near.count; i++) {
        const struct site_record *other = &near.items[i];
        if (other->position_decimals < POSITION_DECIMALS_MIN &&
            strcasecmp(other->site, site->site) != 0 && is_near(site, other)) {
            warning_add(warnings, WARNING_NEIGHBOUR, "/lat_deg",
                        "site %s lies within %.0f m of there: is it the same school? Two runs of "
                        "one playground do not help each other",
                        other->site, SITE_NEIGHBOUR_M);
            break;
        }
    }
    free(near.items);
    return 0;
}

int site_warn_of(struct db *db, const struct site_record *site, struct warnings *warnings,
                 struct err *err) {
    struct warnings own = {.count = 0};
    if (warnings->count == WARNINGS_MAX)
        return 0;
    if (site_warn(db, site, &own, err))
        return -1;
    for (int i = 0; i < own.count; i++)
        warning_add(warnings, own.item[i].code, NULL, "%s: %.200s", site->site, own.item[i].detail);
    return 0;
}
