/* SPDX-License-Identifier: MIT */
/* zone: names of time zones and where each lies, from the system's zoneinfo.
 * Only names are looked at: the product never converts to local time here; a
 * reading's own offset always wins. */
#ifndef NOONARC_ZONE_H
#define NOONARC_ZONE_H

#include <stdbool.h>
#include <stddef.h>

#define ZONE_DIRECTORY "/usr/share/zoneinfo"

struct zone_place {
    char name[64];
    double lat_deg, lon_deg; /* the zone's principal place */
};

struct zones {
    const char *directory;    /* borrowed */
    struct zone_place *place; /* owned, sorted by name */
    size_t places;
};

/* Reads zone1970.tab and zone.tab of directory (NULL: ZONE_DIRECTORY); tables that
 * cannot be read leave fewer places, which only makes fewer checks. */
void zones_init(struct zones *zones, const char *directory);
void zones_release(struct zones *zones);

/* Shape of an IANA name: letters, digits, _ + - in parts joined by /, an upper-case
 * letter first, at most 63 bytes. Safe to put behind a directory. */
bool zone_name_is_valid(const char *name);

/* True when the system has data for the zone. Touches one small file. */
bool zones_has(const struct zones *zones, const char *name);

/* The zone's principal place, NULL when none is listed; owned by zones. */
const struct zone_place *zones_place(const struct zones *zones, const char *name);

#endif
