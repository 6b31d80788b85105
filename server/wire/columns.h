/* SPDX-License-Identifier: MIT */
/* columns: a spreadsheet's header against a field table, and its rows into
 * records. Private to the spreadsheet readers. */
#ifndef NOONARC_COLUMNS_H
#define NOONARC_COLUMNS_H

#include "server/base/err.h"
#include "server/wire/csv.h"
#include "server/wire/field.h"

/* Which field each column holds; NULL for one without a name, which spreadsheets leave
 * behind and which must be empty all the way down. */
struct columns {
    const struct field *field[CSV_COLUMNS_MAX]; /* borrowed from the table */
};

/* Reads the header, whatever the case of its letters and the blanks about them. Its columns come
 * from table, each once, in any order; those of required, a list that ends in NULL, must be there.
 */
int columns_read_header(struct csv_reader *csv, const struct field_table *table,
                        const char *const *required, struct columns *columns, struct err *err)
    __attribute__((warn_unused_result));

/* Puts the cells of the row just read into a record that holds its defaults. Blanks
 * about a value do not count, nor the case of an edge; where columns are not parted by
 * commas a number may have a decimal comma. An empty cell leaves the default; of a required field
 * it is an error. */
int columns_read_cells(struct csv_reader *csv, const struct columns *columns, void *record,
                       struct err *err) __attribute__((warn_unused_result));

#endif
