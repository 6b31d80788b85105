/* SPDX-License-Identifier: MIT */
/* happening_rows: what the store has of a site besides its record and its runs, as one
 * story in order of time. */
#ifndef NOONARC_HAPPENING_ROWS_H
#define NOONARC_HAPPENING_ROWS_H

#include "server/store/db.h"
#include "server/wire/own_data.h"

/* *out is to be freed. */
int happening_rows_list(struct db *db, int64_t site, struct happening **out, size_t *count,
                        struct err *err) __attribute__((warn_unused_result));

#endif
