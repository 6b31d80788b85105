/* SPDX-License-Identifier: MIT */
/* screen: cells are made as text first, so that columns can be measured. */
#include "client/screen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/science/angle.h"
#include "server/science/uncertainty.h"
#include "server/wire/tzif.h"

const json_t *screen_get(const json_t *object, const char *key) {
    for (const char *slash; (slash = strchr(key, '/')) != NULL; key = slash + 1)
        object = json_object_getn(object, key, (size_t)(slash - key));
    return json_object_get(object, key);
}

double screen_number(const json_t *object, const char *key) {
    const json_t *value = screen_get(object, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

const char *screen_string(const json_t *object, const char *key) {
    const char *text = json_string_value(screen_get(object, key));
    return text != NULL ? text : "";
}

/* C0, DEL, and C1 (U+0080 to U+009F, in UTF-8 C2 80 to C2 9F). */
static void tame(char *text) {
    for (unsigned char *at = (unsigned char *)text; *at != '\0'; at++) {
        if (*at < 0x20 || *at == 0x7f)
            *at = '?';
        else if (*at == 0xc2 && at[1] >= 0x80 && at[1] <= 0x9f)
            at[0] = at[1] = '?';
    }
}

void screen_put(FILE *out, const char *text) {
    char *copy = strdup(text);
    if (copy == NULL)
        return;
    tame(copy);
    fputs(copy, out);
    free(copy);
}

void screen_words(char *code) {
    for (; *code != '\0'; code++)
        if (*code == '_')
            *code = ' ';
}

static void fill_cell(const struct column *column, const json_t *row, char *out, size_t size) {
    const json_t *value = screen_get(row, column->key);
    double number = json_is_number(value) ? json_number_value(value) : NAN;
    double t_utc_s;
    snprintf(out, size, "-");
    switch (column->kind) {
    case CELL_TEXT:
        if (json_is_string(value) && *json_string_value(value) != '\0')
            snprintf(out, size, "%s", json_string_value(value));
        else if (json_is_integer(value))
            snprintf(out, size, "%lld", (long long)json_integer_value(value));
        else if (isfinite(number))
            snprintf(out, size, "%g", number);
        break;
    case CELL_CODE:
        if (json_is_string(value) && *json_string_value(value) != '\0')
            snprintf(out, size, "%s", json_string_value(value));
        screen_words(out);
        break;
    case CELL_TIME:
        if (json_is_string(value) &&
            instant_parse(json_string_value(value), &t_utc_s, NULL, NULL) == 0)
            instant_format(t_utc_s, 0, out, size);
        break;
    case CELL_FIXED:
        if (isfinite(number))
            snprintf(out, size, "%.*f", column->decimals, number);
        break;
    case CELL_MEASURE:
        if (isfinite(number))
            uncertainty_text(number, screen_number(row, column->sigma_key), out, size);
        break;
    case CELL_LENGTH:
        if (json_is_array(value))
            snprintf(out, size, "%zu", json_array_size(value));
        break;
    case CELL_YES:
        if (json_is_boolean(value))
            snprintf(out, size, "%s", json_is_true(value) ? "yes" : "no");
        break;
    }
    tame(out);
}

/* Characters as a terminal counts them: UTF-8 continuation bytes take no place. */
static int width(const char *text) {
    int count = 0;
    for (; *text != '\0'; text++)
        count += ((unsigned char)*text & 0xc0) != 0x80;
    return count;
}

static void print_cell(FILE *out, const struct column *column, const char *cell, int room,
                       bool last) {
    int blanks = room - width(cell);
    bool left = column->kind == CELL_TEXT || column->kind == CELL_CODE ||
                column->kind == CELL_TIME || column->kind == CELL_YES;
    if (!left)
        fprintf(out, "%*s", blanks, "");
    fputs(cell, out);
    if (left && !last)
        fprintf(out, "%*s", blanks, "");
    if (!last)
        fputs("  ", out);
}

void screen_table(FILE *out, bool aligned, const struct column *columns, size_t count,
                  const json_t *rows) {
    size_t lines = json_array_size(rows);
    char(*cells)[SCREEN_CELL_MAX] = calloc(lines * count + 1, sizeof *cells);
    int *rooms = calloc(count, sizeof *rooms);
    if (cells == NULL || rooms == NULL)
        goto cleanup;
    for (size_t c = 0; c < count; c++)
        rooms[c] = width(columns[c].title);
    for (size_t i = 0; i < lines * count; i++) {
        fill_cell(&columns[i % count], json_array_get(rows, i / count), cells[i], sizeof cells[i]);
        if (width(cells[i]) > rooms[i % count])
            rooms[i % count] = width(cells[i]);
    }
    for (size_t line = 0; line <= lines; line++) {
        for (size_t c = 0; c < count; c++) {
            const char *cell = line == 0 ? columns[c].title : cells[(line - 1) * count + c];
            if (aligned)
                print_cell(out, &columns[c], cell, rooms[c], c + 1 == count);
            else
                fprintf(out, "%s%s", c > 0 ? "\t" : "", cell);
        }
        fputc('\n', out);
    }
cleanup:
    free(cells);
    free(rooms);
}

void screen_measure(FILE *out, double value, double sigma, const char *unit) {
    char text[SCREEN_CELL_MAX];
    if (isfinite(sigma))
        uncertainty_text(value, sigma, text, sizeof text);
    else
        snprintf(text, sizeof text, "%g", value);
    fprintf(out, "%s%s", text, unit);
}

/* A date only where it is another one than in UTC. */
static void print_beside(FILE *out, double t_utc_s, double ahead_s, const char *said) {
    char utc[40], there[40];
    instant_format(t_utc_s, 0, utc, sizeof utc);
    instant_format(t_utc_s + ahead_s, 0, there, sizeof there);
    fprintf(out, "%.10s %.8s UTC (", utc, utc + 11);
    if (strncmp(utc, there, DATE_TEXT - 1) != 0)
        fprintf(out, "%.10s ", there);
    fprintf(out, "%.8s %s)", there + 11, said);
}

void screen_time(FILE *out, double t_utc_s, const char *zone) {
    char utc[40], said[128];
    struct tzif clocks;
    struct err err = {.code = ERR_NONE};
    if (zone[0] == '\0' || tzif_open(NULL, zone, &clocks, &err) != 0) {
        instant_format(t_utc_s, 0, utc, sizeof utc);
        fprintf(out, "%.10s %.8s UTC", utc, utc + 11);
        return;
    }
    struct zone_offset offset;
    tzif_at(&clocks, t_utc_s, &offset);
    snprintf(said, sizeof said, "%s, %s", offset.abbreviation, zone);
    print_beside(out, t_utc_s, offset.ahead_s, said);
    tzif_release(&clocks);
}

void screen_solar_time(FILE *out, double t_utc_s, double lon_deg) {
    print_beside(out, t_utc_s, lon_deg / ANGLE_DEG_PER_DAY_S, "local mean solar time");
}

#define SCREEN_WIDTH 78

/* first: what the first line begins with, as wide as indent. */
static void wrap(FILE *out, const char *first, int indent, const char *text) {
    int column = fprintf(out, "%*s", indent, first);
    bool fresh = true; /* nothing but the indent stands on the line */
    while (*text != '\0') {
        char word[256];
        size_t length = strcspn(text, " \n");
        snprintf(word, sizeof word, "%.*s", (int)length, text);
        tame(word);
        if (!fresh && column + 1 + width(word) > SCREEN_WIDTH) {
            column = fprintf(out, "\n%*s", indent, "") - 1;
            fresh = true;
        }
        if (!fresh)
            column += fprintf(out, " ");
        fputs(word, out);
        column += width(word);
        fresh = false;
        text += length;
        text += strspn(text, " \n");
    }
    fputc('\n', out);
}

void screen_wrapped(FILE *out, int indent, const char *text) {
    wrap(out, "", indent, text);
}

void screen_item(FILE *out, char mark, const char *text) {
    const char first[] = {mark, ' ', '\0'};
    wrap(out, first, 2, text);
}

void screen_print_left_out(FILE *out, const char *lead, const json_t *left_out_counts) {
    static const struct {
        const char *key, *one, *many;
    } rows[] = {
        {"excluded", "run excluded by an organiser", "runs excluded by organisers"},
        {"withdrawn", "run withdrawn by its school", "runs withdrawn by their schools"},
        {"unusable", "run without a noon angle", "runs without a noon angle"},
        {"not_agreed", "run of a school that keeps out", "runs of schools that keep out"},
        {"off_the_line", "run off the line", "runs off the line"},
        {"readings", "single reading", "single readings"},
    };
    const char *between = "left out: ";
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double count = screen_number(left_out_counts, rows[i].key);
        if (!(count > 0.0))
            continue;
        fprintf(out, "%s%s%.0f %s", between[0] == 'l' ? lead : "", between, count,
                count == 1.0 ? rows[i].one : rows[i].many);
        between = ", ";
    }
    if (between[0] == ',')
        fputc('\n', out);
}
