/* SPDX-License-Identifier: MIT */
/* columns: a spreadsheet's header against a field table, and its rows into
 * records. Private to the spreadsheet readers. */
#ifndef NOONARC_COLUMNS_H
#define NOONARC_COLUMNS_H

#include "server/base/err.h"
#include "server/wire/csv.h"
#include "server/wire/field.h"

/* Which field each column holds. */
struct columns {
    const struct field *field[CSV_COLUMNS_MAX]; /* borrowed from the table */
};

/* Reads the header. Its columns come from table, each once, in any order; those of
 * required, a list that ends in NULL, must be there. */
int columns_read_header(struct csv_reader *csv, const struct field_table *table,
                        const char *const *required, struct columns *columns, struct err *err)
    __attribute__((warn_unused_result));

/* Puts the cells of the row just read into a record that holds its defaults. An
 * empty cell leaves the default; of a required field it is an error. */
int columns_read_cells(const struct csv_reader *csv, const struct columns *columns, void *record,
                       struct err *err) __attribute__((warn_unused_result));

#endif
