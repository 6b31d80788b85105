/* SPDX-License-Identifier: MIT */
/* instant: dates and times as text. A date is a count of days since 1970-01-01
 * in the proleptic Gregorian calendar; an instant is POSIX seconds since
 * 1970-01-01 UTC, in a double (good to 0.3 us until 2100). Text is RFC 3339 with
 * a mandatory offset, nothing looser: a time without an offset is no instant.
 * No clock is read here and no time zone consulted. */
#ifndef NOONARC_INSTANT_H
#define NOONARC_INSTANT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"

#define DATE_TEXT 11    /* room for YYYY-MM-DD and the NUL */
#define INSTANT_TEXT 28 /* room for YYYY-MM-DDThh:mm:ss.ffffffZ and the NUL */
#define INSTANT_SHORTEST (-1)

/* Years that are understood; anything outside is a slip of the pen. */
#define INSTANT_YEAR_MIN 1900
#define INSTANT_YEAR_MAX 2100

/* Days since 1970-01-01 of a day of the Gregorian calendar (any year), and back. */
int32_t date_number(int year, int month, int day);
void date_civil(int32_t day_number, int *year, int *month, int *day);

/* Exactly YYYY-MM-DD, an existing day of the years above. */
bool date_parse(const char *text, int32_t *day_number);

/* YYYY-MM-DD; day numbers of the years 0..9999. */
void date_format(int32_t day_number, char out[DATE_TEXT]);

/* RFC 3339: date, T or t, time, fraction of up to 9 digits, Z or z or +hh:mm or
 * -hh:mm. Second 60 only where a leap second can be, the last second UTC of a
 * month; it counts as second 0 of the next minute, as POSIX does. offset_min:
 * minutes the local time is ahead of UTC; may be NULL. On failure ERR_BAD_TIME
 * with an empty field, which the caller knows better. Returns 0 or -1. */
int instant_parse(const char *text, double *t_utc_s, int *offset_min, struct err *err)
    __attribute__((warn_unused_result));

/* 2027-03-21T11:58:03.25Z, rounded to 0..6 decimals, or with INSTANT_SHORTEST to
 * the microsecond without trailing zeros. Years 0..9999; out gets "" when the
 * instant is not finite or outside them. size >= INSTANT_TEXT. */
void instant_format(double t_utc_s, int decimals, char *out, size_t size);

/* The same instant by clocks that are ahead_s ahead of UTC, to the whole second:
 * 2027-03-21T12:58:03+01:00. RFC 3339 has offsets in whole minutes: a clock that is
 * not ahead by such is written with the nearest one, and still means the instant. */
void instant_format_local(double t_utc_s, int32_t ahead_s, char *out, size_t size);

#endif
