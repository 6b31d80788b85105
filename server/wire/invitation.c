/* SPDX-License-Identifier: MIT */
/* invitation: rows through the field table, each with an error of its own. */
#include "server/wire/invitation.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/array.h"
#include "server/wire/columns.h"
#include "server/wire/field.h"
#include "server/wire/json_read.h"

static int compare(const void *left, const void *right) {
    const struct invited_school *a = *(const struct invited_school *const *)left;
    const struct invited_school *b = *(const struct invited_school *const *)right;
    int order = strcmp(a->name, b->name);
    if (order == 0)
        order = strcmp(a->contact, b->contact);
    return order != 0 ? order : (a->row > b->row) - (a->row < b->row);
}

/* A school that stands in several rows would get several codes. */
static int find_doubled(const struct invitation_sheet *sheet, struct row_errors *errors,
                        struct err *err) {
    const struct invited_school **sorted = calloc(sheet->count + 1, sizeof *sorted);
    if (sorted == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < sheet->count; i++)
        sorted[i] = &sheet->rows[i];
    qsort(sorted, sheet->count, sizeof *sorted, compare);
    for (size_t i = 1; i < sheet->count; i++) {
        if (strcmp(sorted[i]->name, sorted[i - 1]->name) != 0 ||
            strcmp(sorted[i]->contact, sorted[i - 1]->contact) != 0)
            continue;
        struct err row = {.code = ERR_NONE};
        char place[48];
        snprintf(place, sizeof place, "row %zu, name", sorted[i]->row);
        err_set(&row, ERR_BAD_CSV, place, "%s: \"%s\" stands in row %zu already", place,
                sorted[i]->name, sorted[i - 1]->row);
        row_errors_add(errors, &row);
    }
    free(sorted);
    return 0;
}

int invitation_sheet_read(const char *bytes, size_t length, struct invitation_sheet *out,
                          struct row_errors *errors, struct err *err) {
    static const char *const required[] = {"name", NULL};
    struct csv_reader csv;
    struct columns columns;
    size_t room = 0;
    int outcome = -1, found;
    *out = (struct invitation_sheet){0};
    *errors = (struct row_errors){.count = 0};
    if (csv_reader_init(&csv, bytes, length, err) ||
        columns_read_header(&csv, &invitation_fields, required, &columns, err))
        goto cleanup;
    while ((found = csv_reader_next(&csv, err)) > 0) {
        struct err wrong = {.code = ERR_NONE};
        if (out->count == INVITATIONS_MAX) {
            err_set(err, ERR_OUT_OF_RANGE, NULL, "more than %d rows", INVITATIONS_MAX);
            goto cleanup;
        }
        struct invited_school *grown = array_with_room(out->rows, out->count, &room, sizeof *grown);
        if (grown == NULL) {
            err_set(err, ERR_INTERNAL, NULL, "out of memory");
            goto cleanup;
        }
        out->rows = grown;
        struct invited_school *row = &out->rows[out->count++];
        *row = (struct invited_school){.row = csv.row};
        if (columns_read_cells(&csv, &columns, row, &wrong))
            row_errors_add(errors, &wrong);
    }
    if (found == 0 && errors->count == 0)
        outcome = find_doubled(out, errors, err);
    else
        outcome = found;
cleanup:
    csv_reader_release(&csv);
    return outcome;
}

void invitation_sheet_release(struct invitation_sheet *sheet) {
    free(sheet->rows);
    *sheet = (struct invitation_sheet){0};
}

int invitation_read_code(const char *json, size_t length, struct invitation_code *out,
                         struct err *err) {
    struct invitation_code code = {.invitation = ""};
    if (json_read_record(json, length, &invitation_code_fields, &code, NULL, err) != 0)
        return -1;
    *out = code;
    return 0;
}

void invitation_write(struct json_writer *json, const struct invitation_record *invitation) {
    json_write_object(json, NULL);
    json_write_integer(json, "invitation", invitation->id);
    json_write_text(json, "name", invitation->name);
    json_write_text_or_null(json, "contact", invitation->contact);
    json_write_instant(json, "invited_utc", invitation->invited_utc_s, 3);
    json_write_text_or_null(json, "site", invitation->site);
    json_write_instant(json, "used_utc", invitation->used_utc_s, 3);
    json_write_end(json);
}
