/* SPDX-License-Identifier: MIT */
/* csv: cells are cut out of the reader's own copy; quotes are undone in place,
 * which never makes a cell longer. */
#include "server/wire/csv.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/json_write.h"
#include "server/wire/real.h"

#define BYTE_ORDER_MARK "\xEF\xBB\xBF"

/* What parts the cells of the header, the first line that has any. */
static char separator_of(const char *text) {
    text += strspn(text, "\r\n");
    size_t line = strcspn(text, "\r\n");
    static const char known[] = {',', ';', '\t'};
    for (size_t i = 0; i < sizeof known; i++)
        if (memchr(text, known[i], line) != NULL)
            return known[i];
    return ',';
}

int csv_reader_init(struct csv_reader *reader, const char *bytes, size_t length, struct err *err) {
    *reader = (struct csv_reader){0};
    if (length >= 2 && (memcmp(bytes, "\xFF\xFE", 2) == 0 || memcmp(bytes, "\xFE\xFF", 2) == 0))
        return err_set(err, ERR_BAD_CSV, NULL,
                       "the spreadsheet is in UTF-16; save it as CSV in UTF-8");
    if (length > 0 && memchr(bytes, '\0', length) != NULL)
        return err_set(err, ERR_BAD_CSV, NULL,
                       "the spreadsheet holds a zero byte; save it as CSV in UTF-8");
    reader->bytes = malloc(length + 1);
    if (reader->bytes == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    if (length > 0)
        memcpy(reader->bytes, bytes, length);
    reader->bytes[length] = '\0';
    reader->next = reader->bytes;
    reader->end = reader->bytes + length;
    if (length >= 3 && memcmp(bytes, BYTE_ORDER_MARK, 3) == 0)
        reader->next += 3;
    reader->separator = separator_of(reader->next);
    return 0;
}

void csv_reader_release(struct csv_reader *reader) {
    free(reader->bytes);
    *reader = (struct csv_reader){0};
}

static int fail(const struct csv_reader *reader, struct err *err, const char *what) {
    char field[48];
    snprintf(field, sizeof field, "row %zu", reader->row);
    return err_set(err, ERR_BAD_CSV, field, "%s: %s", field, what);
}

/* What follows a cell: a separator, the end of the row, or the end of all. */
enum after { AFTER_CELL, AFTER_ROW, AFTER_ALL, AFTER_WRONG };

/* Steps over what ends a cell and terminates the cell's text at `end`. */
static enum after step_over(struct csv_reader *reader, char *end) {
    char *at = reader->next;
    enum after after = AFTER_WRONG;
    if (at == reader->end) {
        after = AFTER_ALL;
    } else if (*at == reader->separator) {
        after = AFTER_CELL;
        at++;
    } else if (*at == '\n') {
        after = AFTER_ROW;
        at++;
    } else if (*at == '\r' && at + 1 < reader->end && at[1] == '\n') {
        after = AFTER_ROW;
        at += 2;
    }
    *end = '\0';
    reader->next = at;
    return after;
}

static enum after plain_cell(struct csv_reader *reader, struct csv_cell *cell, const char **wrong) {
    const char stops[] = {reader->separator, '"', '\r', '\n', '\0'};
    cell->text = reader->next;
    reader->next += strcspn(reader->next, stops);
    cell->length = (size_t)(reader->next - cell->text);
    *wrong = *reader->next == '"' ? "a quote inside a cell that does not begin with one"
                                  : "a carriage return that does not end a line";
    return step_over(reader, reader->next);
}

static enum after quoted_cell(struct csv_reader *reader, struct csv_cell *cell,
                              const char **wrong) {
    char *from = reader->next + 1, *to = from;
    cell->text = to;
    for (; from < reader->end; from++) {
        if (*from == '"') {
            if (from + 1 >= reader->end || from[1] != '"')
                break;
            from++;
        }
        *to++ = *from;
    }
    cell->length = (size_t)(to - cell->text);
    if (from >= reader->end) {
        *wrong = "a quoted cell that never ends";
        return AFTER_WRONG;
    }
    reader->next = from + 1;
    *wrong = "text after a closing quote";
    return step_over(reader, to);
}

/* Reads one row's cells. 1, 0 for a row without content, -1. */
static int read_row(struct csv_reader *reader, size_t *cells, struct err *err) {
    size_t count = 0;
    bool content = false;
    enum after after = AFTER_CELL;
    while (after == AFTER_CELL) {
        if (count == CSV_COLUMNS_MAX)
            return fail(reader, err, "too many cells");
        struct csv_cell *cell = &reader->cell[count++];
        const char *wrong = "";
        bool quoted = reader->next < reader->end && *reader->next == '"';
        after = quoted ? quoted_cell(reader, cell, &wrong) : plain_cell(reader, cell, &wrong);
        if (after == AFTER_WRONG)
            return fail(reader, err, wrong);
        content |= cell->length > 0;
    }
    *cells = count;
    return content;
}

int csv_reader_next(struct csv_reader *reader, struct err *err) {
    while (reader->next < reader->end) {
        size_t cells = 0;
        reader->row++;
        int outcome = read_row(reader, &cells, err);
        if (outcome < 0)
            return -1;
        if (outcome == 0)
            continue;
        if (reader->columns == 0)
            reader->columns = cells;
        if (cells != reader->columns) {
            char what[96];
            snprintf(what, sizeof what, "%zu cells where the header has %zu", cells,
                     reader->columns);
            return fail(reader, err, what);
        }
        return 1;
    }
    return 0;
}

void csv_writer_init(struct csv_writer *csv, struct text *text) {
    *csv = (struct csv_writer){.text = text};
}

static void begin_cell(struct csv_writer *csv) {
    if (csv->begun)
        text_put(csv->text, ",");
    csv->begun = true;
}

void csv_write_text(struct csv_writer *csv, const char *utf8) {
    begin_cell(csv);
    if (strpbrk(utf8, ",\"\r\n") == NULL) {
        text_put(csv->text, utf8);
        return;
    }
    text_put(csv->text, "\"");
    for (const char *quote; (quote = strchr(utf8, '"')) != NULL; utf8 = quote + 1) {
        text_add(csv->text, utf8, (size_t)(quote - utf8));
        text_put(csv->text, "\"\"");
    }
    text_put(csv->text, utf8);
    text_put(csv->text, "\"");
}

void csv_write_real(struct csv_writer *csv, double value) {
    begin_cell(csv);
    if (!isfinite(value))
        return;
    char number[REAL_TEXT];
    real_format(value, number, sizeof number);
    text_put(csv->text, number);
}

void csv_write_integer(struct csv_writer *csv, long long value) {
    begin_cell(csv);
    text_format(csv->text, "%lld", value);
}

void csv_write_instant(struct csv_writer *csv, double t_utc_s, int decimals) {
    char instant[INSTANT_TEXT];
    instant_format(t_utc_s, decimals, instant, sizeof instant);
    csv_write_text(csv, instant);
}

void csv_write_row_end(struct csv_writer *csv) {
    text_put(csv->text, "\r\n");
    csv->begun = false;
}
