/* SPDX-License-Identifier: MIT */
/* tz_rule: read by descent, answered by looking for the latest change among those
 * of the year before, the year, and the year after: a change may be written as
 * falling days outside its year. */
#include "server/wire/tz_rule.h"

#include <string.h>

#include "server/base/instant.h"

#define DAY_S 86400
#define HOUR_S 3600
#define OFFSET_HOURS_MAX 24
#define TIME_HOURS_MAX 167
#define TIME_USUAL_S (2 * HOUR_S)
#define ABBREVIATION_MIN 3

static bool take_char(const char **at, char wanted) {
    if (**at != wanted)
        return false;
    (*at)++;
    return true;
}

static bool take_number(const char **at, int least, int most, int *out) {
    int value = 0, digits = 0;
    for (; **at >= '0' && **at <= '9' && digits < 4; (*at)++, digits++)
        value = value * 10 + (**at - '0');
    if (digits == 0 || value < least || value > most)
        return false;
    *out = value;
    return true;
}

/* [+-]hh[:mm[:ss]] */
static bool take_time(const char **at, int hours_max, int32_t *out) {
    int hours, minutes = 0, seconds = 0;
    int sign = take_char(at, '-') ? -1 : 1;
    if (sign > 0)
        (void)take_char(at, '+');
    if (!take_number(at, 0, hours_max, &hours))
        return false;
    if (take_char(at, ':')) {
        if (!take_number(at, 0, 59, &minutes))
            return false;
        if (take_char(at, ':') && !take_number(at, 0, 59, &seconds))
            return false;
    }
    *out = sign * ((hours * 60 + minutes) * 60 + seconds);
    return true;
}

static bool is_letter(char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static bool is_quotable(char c) {
    return is_letter(c) || (c >= '0' && c <= '9') || c == '+' || c == '-';
}

/* Letters alone, or letters, digits and signs in <>. */
static bool take_abbreviation(const char **at, char out[ZONE_ABBREVIATION_MAX]) {
    bool quoted = take_char(at, '<');
    size_t length = 0;
    for (; quoted ? is_quotable(**at) : is_letter(**at); (*at)++) {
        if (length == ZONE_ABBREVIATION_MAX - 1)
            return false;
        out[length++] = **at;
    }
    out[length] = '\0';
    return length >= ABBREVIATION_MIN && (!quoted || take_char(at, '>'));
}

static bool take_month_date(const char **at, struct tz_date *out) {
    out->kind = TZ_DATE_MONTH;
    return take_number(at, 1, 12, &out->month) && take_char(at, '.') &&
           take_number(at, 1, 5, &out->week) && take_char(at, '.') &&
           take_number(at, 0, 6, &out->weekday);
}

static bool take_date(const char **at, struct tz_date *out) {
    *out = (struct tz_date){.time_s = TIME_USUAL_S};
    if (take_char(at, 'M')) {
        if (!take_month_date(at, out))
            return false;
    } else {
        bool julian = take_char(at, 'J');
        out->kind = julian ? TZ_DATE_JULIAN : TZ_DATE_COUNTED;
        if (!take_number(at, julian ? 1 : 0, 365, &out->day))
            return false;
    }
    return !take_char(at, '/') || take_time(at, TIME_HOURS_MAX, &out->time_s);
}

/* POSIX counts offsets west of Greenwich. */
static bool take_west(const char **at, int32_t *ahead_s) {
    int32_t west_s;
    if (!take_time(at, OFFSET_HOURS_MAX, &west_s))
        return false;
    *ahead_s = -west_s;
    return true;
}

bool tz_rule_parse(const char *text, struct tz_rule *out) {
    struct tz_rule rule = {.dst.is_dst = true};
    const char *at = text;
    if (!take_abbreviation(&at, rule.standard.abbreviation) ||
        !take_west(&at, &rule.standard.ahead_s))
        return false;
    if (*at != '\0') {
        rule.has_dst = true;
        rule.dst.ahead_s = rule.standard.ahead_s + HOUR_S;
        if (!take_abbreviation(&at, rule.dst.abbreviation) ||
            (*at != ',' && !take_west(&at, &rule.dst.ahead_s)) || !take_char(&at, ',') ||
            !take_date(&at, &rule.start) || !take_char(&at, ',') || !take_date(&at, &rule.end))
            return false;
    }
    if (*at != '\0')
        return false;
    *out = rule;
    return true;
}

static bool is_leap(int year) {
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

/* 0 Sunday; 1970-01-01 was a Thursday. */
static int weekday_of(int32_t day_number) {
    return (int)(((int64_t)day_number % 7 + 4 + 7) % 7);
}

static int32_t month_date(const struct tz_date *date, int year) {
    int32_t first = date_number(year, date->month, 1);
    int32_t next = date_number(year + (date->month == 12), date->month % 12 + 1, 1);
    int32_t day = first + (date->weekday - weekday_of(first) + 7) % 7 + 7 * (date->week - 1);
    return day < next ? day : day - 7; /* week 5 is the last there is */
}

static int32_t date_in(const struct tz_date *date, int year) {
    int32_t january = date_number(year, 1, 1);
    switch (date->kind) {
    case TZ_DATE_MONTH:
        return month_date(date, year);
    case TZ_DATE_JULIAN:
        return january + date->day - 1 + (is_leap(year) && date->day > 59);
    case TZ_DATE_COUNTED:
        break;
    }
    return january + date->day;
}

static int64_t change_utc_s(const struct tz_date *date, int year, int32_t ahead_before_s) {
    return (int64_t)date_in(date, year) * DAY_S + date->time_s - ahead_before_s;
}

void tz_rule_at(const struct tz_rule *rule, int64_t t_utc_s, struct zone_offset *out) {
    bool dst = false;
    if (rule->has_dst) {
        int year, month, day;
        int64_t day_number = t_utc_s / DAY_S - (t_utc_s % DAY_S < 0);
        date_civil((int32_t)day_number, &year, &month, &day);
        int64_t latest_utc_s = INT64_MIN;
        for (int near = year - 1; near <= year + 1; near++) {
            int64_t end_utc_s = change_utc_s(&rule->end, near, rule->dst.ahead_s);
            int64_t start_utc_s = change_utc_s(&rule->start, near, rule->standard.ahead_s);
            if (end_utc_s <= t_utc_s && end_utc_s > latest_utc_s) {
                latest_utc_s = end_utc_s;
                dst = false;
            }
            /* a start at the very end of dst goes on with it: dst all year */
            if (start_utc_s <= t_utc_s && start_utc_s >= latest_utc_s) {
                latest_utc_s = start_utc_s;
                dst = true;
            }
        }
    }
    *out = dst ? rule->dst : rule->standard;
}
