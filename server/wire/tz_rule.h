/* SPDX-License-Identifier: MIT */
/* tz_rule: the rule by which a zone's clocks go on for ever, as the footer of a
 * compiled zone file has it: a POSIX TZ string with the extensions of RFC 9636
 * section 3.3.1 (times of change from -167 to +167 hours). Pure: no clock, no
 * file, no environment, nothing shared, so any thread may ask. */
#ifndef NOONARC_TZ_RULE_H
#define NOONARC_TZ_RULE_H

#include <stdbool.h>
#include <stdint.h>

#define ZONE_ABBREVIATION_MAX 16 /* bytes with the NUL; the tz database stays below 7 */

/* What the clocks of a zone show at an instant. */
struct zone_offset {
    int32_t ahead_s; /* of UTC, east positive; below 25 hours either way */
    bool is_dst;
    char abbreviation[ZONE_ABBREVIATION_MAX]; /* "CET", "-03" */
};

enum tz_date_kind {
    TZ_DATE_MONTH,  /* Mm.w.d: week 1..5 (5: last) of a month, weekday 0 Sunday */
    TZ_DATE_JULIAN, /* Jn: 1..365, 29 February never counted */
    TZ_DATE_COUNTED /* n: 0..365, 29 February counted */
};

struct tz_date {
    enum tz_date_kind kind;
    int month, week, weekday; /* of TZ_DATE_MONTH */
    int day;                  /* of the other two */
    int32_t time_s;           /* after 00:00 by the clocks before the change */
};

struct tz_rule {
    struct zone_offset standard, dst;
    bool has_dst;
    struct tz_date start, end; /* of dst */
};

/* False, out untouched, for anything that is not such a string. */
bool tz_rule_parse(const char *text, struct tz_rule *out);

/* The offset at an instant, seconds since 1970-01-01 UTC, years 1..9998. */
void tz_rule_at(const struct tz_rule *rule, int64_t t_utc_s, struct zone_offset *out);

#endif
