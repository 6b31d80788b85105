/* SPDX-License-Identifier: MIT */
/* remaker: a thread that makes the figures of great days anew while somebody looks at them
 * and runs come in, so that the threads that answer requests need not, and what they show
 * is never old. As long as a day's figures take less than a second of a processor they are
 * made one time after the other; beyond that half of one is left to the intake. */
#ifndef NOONARC_REMAKER_H
#define NOONARC_REMAKER_H

#include "server/rules/book.h"
#include "server/store/pool.h"

struct remaker;

/* pool and book are borrowed until remaker_free; one connection is in use at a time.
 * Errors: ERR_INTERNAL. */
int remaker_new(struct pool *pool, struct book *book, struct remaker **out, struct err *err)
    __attribute__((warn_unused_result));

/* Ends the thread. NULL is fine. */
void remaker_free(struct remaker *remaker);

#endif
