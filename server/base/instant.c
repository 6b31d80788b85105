/* SPDX-License-Identifier: MIT */
/* instant: a strict reader for RFC 3339 and integer calendar arithmetic (days
 * counted in 400-year cycles of years that begin in March, so that the leap day
 * comes last). */
#include "server/base/instant.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define DAY_S 86400
#define CYCLE_DAYS 146097 /* of 400 Gregorian years */
#define EPOCH_DAYS 719468 /* from 0000-03-01 to 1970-01-01 */
#define DAYS_OF_EVERY_MONTH 28
#define YEAR_0_DAY (-719528)
#define YEAR_10000_DAY 2932897

static int32_t floor_div(int32_t a, int32_t b) {
    return a / b - (a % b != 0 && (a < 0) != (b < 0));
}

int32_t date_number(int year, int month, int day) {
    int march_year = year - (month <= 2);
    int32_t cycle = floor_div(march_year, 400);
    int year_of_cycle = march_year - cycle * 400;
    int day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    int day_of_cycle = year_of_cycle * 365 + year_of_cycle / 4 - year_of_cycle / 100 + day_of_year;
    return cycle * CYCLE_DAYS + day_of_cycle - EPOCH_DAYS;
}

void date_civil(int32_t day_number, int *year, int *month, int *day) {
    int32_t shifted = day_number + EPOCH_DAYS;
    int32_t cycle = floor_div(shifted, CYCLE_DAYS);
    int day_of_cycle = shifted - cycle * CYCLE_DAYS;
    int year_of_cycle =
        (day_of_cycle - day_of_cycle / 1460 + day_of_cycle / 36524 - day_of_cycle / 146096) / 365;
    int day_of_year =
        day_of_cycle - (365 * year_of_cycle + year_of_cycle / 4 - year_of_cycle / 100);
    int march_month = (5 * day_of_year + 2) / 153;
    *day = day_of_year - (153 * march_month + 2) / 5 + 1;
    *month = march_month + (march_month < 10 ? 3 : -9);
    *year = cycle * 400 + year_of_cycle + (*month <= 2);
}

/* Reads exactly count digits and moves on; false, unmoved, when there are fewer. */
static bool take_digits(const char **at, int count, int *value) {
    int sum = 0;
    for (int i = 0; i < count; i++) {
        char c = (*at)[i];
        if (c < '0' || c > '9')
            return false;
        sum = sum * 10 + (c - '0');
    }
    *at += count;
    *value = sum;
    return true;
}

static bool take_char(const char **at, char wanted) {
    if (**at != wanted)
        return false;
    (*at)++;
    return true;
}

static int days_in_month(int year, int month) {
    return date_number(year + (month == 12), month % 12 + 1, 1) - date_number(year, month, 1);
}

static bool take_date(const char **at, int32_t *day_number) {
    int year, month, day;
    if (!take_digits(at, 4, &year) || !take_char(at, '-') || !take_digits(at, 2, &month) ||
        !take_char(at, '-') || !take_digits(at, 2, &day))
        return false;
    if (year < INSTANT_YEAR_MIN || year > INSTANT_YEAR_MAX || month < 1 || month > 12 || day < 1 ||
        (day > DAYS_OF_EVERY_MONTH && day > days_in_month(year, month)))
        return false;
    *day_number = date_number(year, month, day);
    return true;
}

bool date_parse(const char *text, int32_t *day_number) {
    int32_t number;
    if (!take_date(&text, &number) || *text != '\0')
        return false;
    *day_number = number;
    return true;
}

/* The digits of a number, filled up with zeros. Returns the place behind them. */
static char *put_digits(char *out, int64_t number, int count) {
    for (int i = count - 1; i >= 0; i--) {
        out[i] = (char)('0' + number % 10);
        number /= 10;
    }
    return out + count;
}

void date_format(int32_t day_number, char out[DATE_TEXT]) {
    assert(day_number >= YEAR_0_DAY && day_number < YEAR_10000_DAY);
    int year, month, day;
    date_civil(day_number, &year, &month, &day);
    char *at = put_digits(out, year, 4);
    *at++ = '-';
    at = put_digits(at, month, 2);
    *at++ = '-';
    *put_digits(at, day, 2) = '\0';
}

struct time_of_day {
    int second; /* of the day; a leap second counts as the next second's 0 */
    double fraction_s;
    bool leap;
};

static bool take_time(const char **at, struct time_of_day *time) {
    int hour, minute, second;
    if (!take_digits(at, 2, &hour) || !take_char(at, ':') || !take_digits(at, 2, &minute) ||
        !take_char(at, ':') || !take_digits(at, 2, &second) || hour > 23 || minute > 59 ||
        second > 60)
        return false;
    time->second = (hour * 60 + minute) * 60 + second;
    time->leap = second == 60;
    time->fraction_s = 0.0;
    if (take_char(at, '.')) {
        double numerator = 0.0, denominator = 1.0;
        int digit, digits = 0;
        for (; take_digits(at, 1, &digit); digits++) {
            numerator = numerator * 10.0 + digit;
            denominator *= 10.0;
        }
        if (digits < 1 || digits > 9)
            return false;
        time->fraction_s = numerator / denominator;
    }
    return true;
}

/* The offset, in minutes; *missing tells "none at all" from "wrong". */
static bool take_offset(const char **at, int *offset_min, bool *missing) {
    *missing = **at == '\0';
    if (take_char(at, 'Z') || take_char(at, 'z')) {
        *offset_min = 0;
        return true;
    }
    int sign = **at == '-' ? -1 : 1, hours, minutes;
    if (!take_char(at, '+') && !take_char(at, '-'))
        return false;
    if (!take_digits(at, 2, &hours) || !take_char(at, ':') || !take_digits(at, 2, &minutes) ||
        hours > 23 || minutes > 59)
        return false;
    *offset_min = sign * (hours * 60 + minutes);
    return true;
}

static bool leap_second_can_be(int64_t second_after) {
    if (second_after % DAY_S != 0)
        return false;
    int year, month, day;
    date_civil((int32_t)(second_after / DAY_S), &year, &month, &day);
    return day == 1;
}

int instant_parse(const char *text, double *t_utc_s, int *offset_min, struct err *err) {
    const char *at = text;
    int32_t day_number;
    struct time_of_day time;
    int offset;
    bool offset_missing;
    if (!take_date(&at, &day_number))
        return err_set(err, ERR_BAD_TIME, NULL,
                       "a time begins with a date of the years %d to %d, as in "
                       "2027-03-21T12:04:30+01:00",
                       INSTANT_YEAR_MIN, INSTANT_YEAR_MAX);
    if (!take_char(&at, 'T') && !take_char(&at, 't'))
        return err_set(err, ERR_BAD_TIME, NULL,
                       "between date and time stands the letter T, as in "
                       "2027-03-21T12:04:30+01:00");
    if (!take_time(&at, &time))
        return err_set(err, ERR_BAD_TIME, NULL,
                       "the time of day is hh:mm:ss with at most 9 decimals, as in "
                       "2027-03-21T12:04:30+01:00");
    if (!take_offset(&at, &offset, &offset_missing) || *at != '\0')
        return err_set(err, ERR_BAD_TIME, NULL,
                       offset_missing
                           ? "the time has no offset from UTC: add Z for UTC, or one as +05:30"
                           : "the offset from UTC is Z or +hh:mm or -hh:mm, and ends the time");
    int64_t whole_s = (int64_t)day_number * DAY_S + time.second - (int64_t)offset * 60;
    if (time.leap && !leap_second_can_be(whole_s))
        return err_set(err, ERR_BAD_TIME, NULL,
                       "second 60 exists only as a leap second, at the end of a month in UTC");
    *t_utc_s = (double)whole_s + time.fraction_s;
    if (offset_min != NULL)
        *offset_min = offset;
    return 0;
}

void instant_format(double t_utc_s, int decimals, char *out, size_t size) {
    assert(size >= INSTANT_TEXT);
    assert(decimals >= INSTANT_SHORTEST && decimals <= 6);
    const bool shortest = decimals == INSTANT_SHORTEST;
    if (shortest)
        decimals = 6;
    out[0] = '\0';
    if (!(t_utc_s >= (double)YEAR_0_DAY * DAY_S && t_utc_s < (double)YEAR_10000_DAY * DAY_S - 1.0))
        return;
    int64_t per_second = 1;
    for (int i = 0; i < decimals; i++)
        per_second *= 10;
    double floor_s = floor(t_utc_s);
    int64_t second = (int64_t)floor_s;
    int64_t fraction = llround((t_utc_s - floor_s) * (double)per_second);
    if (fraction == per_second) {
        fraction = 0;
        second++;
    }
    int64_t day_number = second / DAY_S - (second % DAY_S < 0);
    int second_of_day = (int)(second - day_number * DAY_S);
    date_format((int32_t)day_number, out);
    char *at = out + DATE_TEXT - 1;
    *at++ = 'T';
    at = put_digits(at, second_of_day / 3600, 2);
    *at++ = ':';
    at = put_digits(at, second_of_day / 60 % 60, 2);
    *at++ = ':';
    at = put_digits(at, second_of_day % 60, 2);
    if (shortest)
        for (; decimals > 0 && fraction % 10 == 0; decimals--)
            fraction /= 10;
    if (decimals > 0) {
        *at++ = '.';
        at = put_digits(at, fraction, decimals);
    }
    *at++ = 'Z';
    *at = '\0';
}

void instant_format_local(double t_utc_s, int32_t ahead_s, char *out, size_t size) {
    int32_t ahead_min = (int32_t)lround(ahead_s / 60.0);
    instant_format(t_utc_s + ahead_min * 60.0, 0, out, size);
    size_t length = strlen(out);
    if (length == 0)
        return;
    unsigned minutes = (unsigned)(ahead_min < 0 ? -ahead_min : ahead_min);
    snprintf(out + length - 1, size - length + 1, "%c%02u:%02u", ahead_min < 0 ? '-' : '+',
             minutes / 60 % 100, minutes % 60);
}
