/* SPDX-License-Identifier: MIT */
/* pool: a few read connections shared by the threads that answer requests. The
 * one write connection is not here: it belongs to the writer (rules/writer.h). */
#ifndef NOONARC_POOL_H
#define NOONARC_POOL_H

#include "server/store/db.h"

struct pool;

/* Opens size (1..64) read connections on a store that exists. */
int pool_new(const char *path, int size, struct pool **out, struct err *err)
    __attribute__((warn_unused_result));

/* Closes them; all must have been given back. NULL is fine. */
void pool_free(struct pool *pool);

/* A connection for this thread alone, held still at one committed state of the
 * store until it is given back. Waits for one to be free. Returns NULL, with
 * err, when the store cannot be read. */
struct db *pool_take(struct pool *pool, struct err *err) __attribute__((warn_unused_result));
void pool_give(struct pool *pool, struct db *db);

#endif
