/* SPDX-License-Identifier: MIT */
/* row_errors: what is wrong with a spreadsheet, row by row, so that all of it can be
 * mended at once. Told in the problem document as "errors": [{"field","code","detail"}]. */
#ifndef NOONARC_ROW_ERRORS_H
#define NOONARC_ROW_ERRORS_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/json_write.h"

#define ROW_ERRORS_MAX 100 /* more are counted, not told */

struct row_errors {
    struct err item[ROW_ERRORS_MAX];
    size_t count; /* of all */
};

/* Takes an error in; field: "row 7, name". */
void row_errors_add(struct row_errors *errors, const struct err *row);

/* One error for the whole spreadsheet, ERR_ROWS: how many rows are wrong, and the first
 * of them. Returns -1. */
int row_errors_refuse(const struct row_errors *errors, size_t rows, struct err *err);

/* The list alone, as a JSON array without a key. */
void row_errors_write(struct json_writer *json, const struct row_errors *errors);

#endif
