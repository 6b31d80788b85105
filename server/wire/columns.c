/* SPDX-License-Identifier: MIT */
/* columns: errors name the row and the column, as a spreadsheet shows them. */
#include "server/wire/columns.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/utf8.h"

#define SHOWN_MAX 41 /* of a stranger's text in an error */

static int refuse_column(const struct csv_reader *csv, enum err_code code, const char *name,
                         const char *why, struct err *err) {
    char field[64], shown[SHOWN_MAX];
    utf8_show(name, shown, sizeof shown);
    snprintf(field, sizeof field, "row %zu, %s", csv->row, shown);
    return err_set(err, code, field, "column \"%s\" %s", shown, why);
}

/* Cuts blanks off both ends. */
static void trim(struct csv_cell *cell) {
    size_t blanks = strspn(cell->text, " \t");
    cell->text += blanks;
    cell->length -= blanks;
    while (cell->length > 0 && strchr(" \t", cell->text[cell->length - 1]) != NULL)
        cell->length--;
    cell->text[cell->length] = '\0';
}

/* ASCII letters to lower case. */
static void lower(struct csv_cell *cell) {
    for (char *at = cell->text; *at != '\0'; at++)
        if (*at >= 'A' && *at <= 'Z')
            *at = (char)(*at - 'A' + 'a');
}

int columns_read_header(struct csv_reader *csv, const struct field_table *table,
                        const char *const *required, struct columns *columns, struct err *err) {
    *columns = (struct columns){0};
    int row = csv_reader_next(csv, err);
    if (row < 0)
        return -1;
    if (row == 0)
        return err_set(err, ERR_BAD_CSV, "row 1", "the spreadsheet is empty; it needs a header");
    for (size_t i = 0; i < csv->columns; i++) {
        trim(&csv->cell[i]);
        lower(&csv->cell[i]);
        const char *name = csv->cell[i].text;
        if (name[0] == '\0' && i > 0)
            continue;
        columns->field[i] = field_find(table, name, csv->cell[i].length);
        if (columns->field[i] == NULL)
            return refuse_column(
                csv, ERR_UNKNOWN_FIELD, name,
                csv->columns == 1
                    ? "is no header: columns are separated by commas, semicolons or tabs"
                    : "is not known",
                err);
        for (size_t j = 0; j < i; j++)
            if (columns->field[j] == columns->field[i])
                return refuse_column(csv, ERR_BAD_CSV, name, "stands twice", err);
    }
    for (const char *const *key = required; *key != NULL; key++) {
        bool there = false;
        for (size_t i = 0; i < csv->columns; i++)
            there |= columns->field[i] != NULL && strcmp(columns->field[i]->key, *key) == 0;
        if (!there)
            return refuse_column(csv, ERR_MISSING_FIELD, *key, "is missing", err);
    }
    return 0;
}

static bool all_of(const char *text, const char *allowed) {
    return text[strspn(text, allowed)] == '\0';
}

/* A plain decimal number: no hexadecimal, no names of numbers. */
static bool parse_real(struct csv_cell *cell, bool decimal_comma, double *out) {
    char *end, *comma = decimal_comma ? strchr(cell->text, ',') : NULL;
    if (comma != NULL)
        *comma = '.';
    if (cell->length == 0 || !all_of(cell->text, "0123456789.+-eE"))
        return false;
    *out = strtod(cell->text, &end);
    return *end == '\0' && isfinite(*out);
}

#define PLACE_MAX 64

/* A cell's place, as a spreadsheet shows it: "row 7, lat_deg". */
static const char *put_place(const struct csv_reader *csv, const struct field *field,
                             char out[PLACE_MAX]) {
    snprintf(out, PLACE_MAX, "row %zu, %s", csv->row, field->key);
    return out;
}

static int set_cell(const struct csv_reader *csv, const struct field *field, struct csv_cell *cell,
                    void *record, struct err *err) {
    char place[PLACE_MAX], shown[SHOWN_MAX];
    double value;
    if (field->kind == FIELD_EDGE)
        lower(cell);
    const bool is_text = field_is_text(field->kind);
    if (!is_text && !parse_real(cell, csv->separator != ',', &value)) {
        utf8_show(cell->text, shown, sizeof shown);
        put_place(csv, field, place);
        return err_set(err, ERR_WRONG_TYPE, place,
                       "%s: \"%s\" is not a number (write 12.5, with a point)", place, shown);
    }
    if (is_text ? field_set_text(field, cell->text, cell->length, record, err)
                : field_set_real(field, value, record, err))
        return err_at(err, put_place(csv, field, place));
    return 0;
}

int columns_read_cells(struct csv_reader *csv, const struct columns *columns, void *record,
                       struct err *err) {
    for (size_t i = 0; i < csv->columns; i++) {
        const struct field *field = columns->field[i];
        struct csv_cell *cell = &csv->cell[i];
        char place[PLACE_MAX];
        trim(cell);
        if (field == NULL && cell->length > 0) {
            snprintf(place, sizeof place, "row %zu, column %zu", csv->row, i + 1);
            return err_set(err, ERR_UNKNOWN_FIELD, place,
                           "%s: the column has no name in the header: name it or empty it", place);
        }
        if (field == NULL || (cell->length == 0 && !field->required))
            continue;
        if (cell->length == 0) {
            put_place(csv, field, place);
            return err_set(err, ERR_MISSING_FIELD, place,
                           "%s: the cell is empty (delete the row if there is nothing to say)",
                           place);
        }
        if (set_cell(csv, field, cell, record, err))
            return -1;
    }
    return 0;
}
