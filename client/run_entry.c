/* SPDX-License-Identifier: MIT */
/* run_entry: typed text -> the field table's rows -> a run. */
#include "client/run_entry.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "client/options.h"
#include "server/base/instant.h"
#include "server/wire/field.h"

#define ENTRY_MAX 64 /* longest single number or time that makes sense */

/* The row of run_fields at a path of keys, each inside the one before. */
static const struct field *row_of(const char *outer, const char *middle, const char *key) {
    const struct field_table *table = field_find(&run_fields, outer, strlen(outer))->inner;
    if (middle != NULL)
        table = field_find(table, middle, strlen(middle))->inner;
    return field_find(table, key, strlen(key));
}

/* "1780" or "1780~2" into the length row and, when there is a second number, the sigma row. */
static int enter_length(const char *text, const struct field *length, const struct field *sigma,
                        void *record, const char *place, struct err *err) {
    char copy[ENTRY_MAX];
    if (strlen(text) >= sizeof copy)
        return err_set(err, ERR_WRONG_TYPE, place, "\"%.20s...\" is not a length in mm", text);
    memcpy(copy, text, strlen(text) + 1);
    char *second = NULL;
    char *mark = strstr(copy, "±");
    if (mark != NULL) {
        second = mark + strlen("±");
    } else {
        mark = strchr(copy, '~');
        second = mark != NULL ? mark + 1 : NULL;
    }
    if (mark != NULL)
        *mark = '\0';
    double value, sigma_value;
    if (!number_parse(copy, &value))
        return err_set(err, ERR_WRONG_TYPE, place, "\"%s\" is not a length in mm%s", copy,
                       strchr(copy, ',') != NULL ? "; write the decimal mark as a point" : "");
    if (second != NULL && !number_parse(second, &sigma_value))
        return err_set(err, ERR_WRONG_TYPE, place, "\"%s\" is not an uncertainty in mm", second);
    if (field_set_real(length, value, record, err) != 0 ||
        (second != NULL && field_set_real(sigma, sigma_value, record, err) != 0))
        return err_at(err, place);
    return 0;
}

int run_entry_gnomon(const char *text, const char *place, struct gnomon *gnomon, struct err *err) {
    struct gnomon read = {.edge = gnomon->edge};
    const struct field *length = row_of("gnomon", "parts", "length_mm");
    const struct field *sigma = row_of("gnomon", "parts", "sigma_mm");
    for (const char *at = text;; at++) {
        char part[ENTRY_MAX];
        size_t size = strcspn(at, "+");
        if (read.parts == GNOMON_PARTS_MAX)
            return err_set(err, ERR_OUT_OF_RANGE, place, "a gnomon has at most %d parts",
                           GNOMON_PARTS_MAX);
        if (size >= sizeof part)
            return err_set(err, ERR_WRONG_TYPE, place, "\"%.20s...\" is not a length in mm", at);
        snprintf(part, sizeof part, "%.*s", (int)size, at);
        struct length *into = &read.part[read.parts++];
        into->sigma_m = (double)NAN;
        if (enter_length(part, length, sigma, into, place, err) != 0)
            return -1;
        at += size;
        if (*at == '\0')
            break;
    }
    double height_m = gnomon_height(&read).value_m;
    if (height_m < GNOMON_HEIGHT_MIN_M || height_m > GNOMON_HEIGHT_MAX_M)
        return err_set(err, ERR_OUT_OF_RANGE, place, "a gnomon is 20 to 100000 mm high, not %g",
                       record_mm(height_m));
    *gnomon = read;
    return 0;
}

int run_entry_edge(const char *text, const char *place, struct gnomon *gnomon, struct err *err) {
    return field_set_text(row_of("gnomon", NULL, "edge"), text, strlen(text), gnomon, err) == 0
               ? 0
               : err_at(err, place);
}

int run_entry_shadow(const char *text, const char *place, struct reading *reading,
                     struct err *err) {
    reading->shadow_sigma_m = reading->bearing_deg = (double)NAN;
    return enter_length(text, row_of("readings", NULL, "shadow_mm"),
                        row_of("readings", NULL, "sigma_mm"), reading, place, err);
}

int run_entry_instant(const char *text, const char *place, struct reading *reading,
                      struct err *err) {
    return field_set_text(row_of("readings", NULL, "time"), text, strlen(text), reading, err) == 0
               ? 0
               : err_at(err, place);
}

/* Two digits below a limit; -1 when they are not. */
static int two_digits(const char *text, int limit) {
    if (text[0] < '0' || text[0] > '9' || text[1] < '0' || text[1] > '9')
        return -1;
    int value = 10 * (text[0] - '0') + (text[1] - '0');
    return value < limit ? value : -1;
}

/* By this computer's own clocks, where nothing is known of the playground's. */
static double machine_instant(int32_t date, int second_of_day) {
    int year, month, day;
    date_civil(date, &year, &month, &day);
    struct tm clock = {.tm_year = year - 1900,
                       .tm_mon = month - 1,
                       .tm_mday = day,
                       .tm_hour = second_of_day / 3600,
                       .tm_min = second_of_day / 60 % 60,
                       .tm_sec = second_of_day % 60,
                       .tm_isdst = -1};
    return (double)mktime(&clock);
}

int run_entry_clock(const char *text, int32_t date, const struct tzif *clocks, const char *place,
                    struct reading *reading, struct err *err) {
    if (strpbrk(text, "tT") != NULL)
        return run_entry_instant(text, place, reading, err);
    size_t length = strlen(text);
    bool utc = length > 0 && (text[length - 1] == 'Z' || text[length - 1] == 'z');
    length -= utc;
    int hour = length >= 5 && text[2] == ':' ? two_digits(text, 24) : -1;
    int minute = hour >= 0 ? two_digits(text + 3, 60) : -1;
    int second = length == 5 ? 0 : -1;
    if (length == 8 && text[5] == ':')
        second = two_digits(text + 6, 60);
    if (hour < 0 || minute < 0 || second < 0)
        return err_set(err, ERR_BAD_TIME, place,
                       "\"%.20s\" is not a time: type it as the clock shows it, like 12:24:10",
                       text);
    int second_of_day = (hour * 60 + minute) * 60 + second;
    if (utc)
        reading->t_utc_s = date * 86400.0 + second_of_day;
    else if (clocks != NULL)
        reading->t_utc_s = tzif_instant(clocks, date, second_of_day);
    else
        reading->t_utc_s = machine_instant(date, second_of_day);
    return 0;
}

int run_entry_reading(const char *text, const char *place, struct reading *reading,
                      struct err *err) {
    char time_text[ENTRY_MAX];
    const char *equals = strchr(text, '=');
    if (equals == NULL || (size_t)(equals - text) >= sizeof time_text)
        return err_set(err, ERR_WRONG_TYPE, place,
                       "a reading is TIME=SHADOW, like 2027-03-20T11:50:00Z=1780");
    snprintf(time_text, sizeof time_text, "%.*s", (int)(equals - text), text);
    if (run_entry_instant(time_text, place, reading, err) != 0)
        return -1;
    return run_entry_shadow(equals + 1, place, reading, err);
}

int run_entry_add(struct run *run, const struct reading *reading, const char *place,
                  struct err *err) {
    if (run->readings == RUN_READINGS_MAX)
        return err_set(err, ERR_OUT_OF_RANGE, place, "a run has at most %d readings",
                       RUN_READINGS_MAX);
    for (int i = 0; i < run->readings; i++)
        if (run->reading[i].t_utc_s == reading->t_utc_s &&
            run->reading[i].shadow_m == reading->shadow_m)
            return err_set(err, ERR_OUT_OF_RANGE, place,
                           "that is the same as reading %d: nothing was added", i + 1);
    run->reading[run->readings++] = *reading;
    return 0;
}
