/* SPDX-License-Identifier: MIT */
/* next_id: the numbers of new rows. There is one writer, so the next number is one
 * above the largest; nothing is ever removed from a table that is numbered. */
#ifndef NOONARC_NEXT_ID_H
#define NOONARC_NEXT_ID_H

#include "server/store/db.h"

/* table: a string literal. */
#define NEXT_ID_OF(table) "SELECT COALESCE(MAX(id), 0) + 1 FROM " table

/* The number of a row that is about to be added: each is given once in a transaction. */
int next_id(struct db *db, const char *next_id_of, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));

/* What a question for one number answers now. */
int next_number(struct db *db, const char *sql, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));

/* 0 stands for "none" in C, NULL does in the store. */
static inline void bind_id_or_null(struct statement *statement, int place, int64_t id) {
    if (id)
        bind_int(statement, place, id);
    else
        bind_text(statement, place, NULL);
}

#endif
