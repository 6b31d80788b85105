/* SPDX-License-Identifier: MIT */
/* tzif: the clocks of a time zone, from a compiled file of the tz database (RFC
 * 9636, which took the place of RFC 8536; versions 1 to 4). libc answers for one
 * zone at a time, that of the whole process; this answers for any, on any thread.
 * Nothing is shared and no environment is looked at. Every count in a file is
 * checked before it is used. */
#ifndef NOONARC_TZIF_H
#define NOONARC_TZIF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/wire/tz_rule.h"

#define TZIF_BYTES_MAX ((size_t)64 * 1024) /* the longest in the database has below 4 KB */

struct tzif {
    int64_t *at_utc_s; /* owned; instants of change, ascending */
    uint8_t *kind;     /* owned; what begins there, an index into offset */
    size_t changes;
    struct zone_offset *offset; /* owned; the first one holds before any change */
    size_t offsets;             /* 1..256 */
    bool has_rule;              /* for what comes after the last change */
    struct tz_rule rule;
};

/* Reads a file's bytes. ERR_UNKNOWN_ZONE with an empty field when they are no such
 * file, or one that counts leap seconds. Release whatever the outcome. */
int tzif_read(const unsigned char *bytes, size_t length, struct tzif *out, struct err *err)
    __attribute__((warn_unused_result));

/* Reads the file of a zone below directory (NULL: the system's). The name is
 * checked first, see zone.h. ERR_UNKNOWN_ZONE as above and for a zone without file. */
int tzif_open(const char *directory, const char *name, struct tzif *out, struct err *err)
    __attribute__((warn_unused_result));

void tzif_release(struct tzif *zone);

/* What the clocks show at an instant, seconds since 1970-01-01 UTC. */
void tzif_at(const struct tzif *zone, double t_utc_s, struct zone_offset *out);

/* The instant at which the clocks show a date and a second of that day. A time that
 * comes twice (clocks set back) is the first of the two, one that is left out
 * (clocks set forward) counts as if they had not been set yet. */
double tzif_instant(const struct tzif *zone, int32_t day_number, double second_of_day_s);

#endif
