/* SPDX-License-Identifier: MIT */
/* steady: the state of the store that runs are checked against. A run needs to know its
 * site, its key, its day and its part in it, and a hundred runs taken in meanwhile change
 * none of that: so one view of the store serves for many, as long as nothing but runs has
 * moved since it began, and what has been read once stays in memory.
 *
 * A view that is held keeps the store's log from starting over: so the writer asks for them
 * to be let go when the log is to be settled. All functions may be called from any thread. */
#ifndef NOONARC_STEADY_H
#define NOONARC_STEADY_H

#include "server/rules/book.h"

struct steady;

/* Opens size (1..16) read connections on a store that exists. book is borrowed. */
int steady_new(const char *path, int size, struct book *book, struct steady **out, struct err *err)
    __attribute__((warn_unused_result));

/* Closes them; all must have been given back. NULL is fine. */
void steady_free(struct steady *steady);

/* A view for this thread alone, with a moment at which all but runs was as it shows. Waits
 * for one to be free. Fails when the store cannot be read. */
int steady_take(struct steady *steady, struct book_view *out, struct err *err)
    __attribute__((warn_unused_result));
void steady_give(struct steady *steady, const struct book_view *view);

/* Ends the views that are held now, once whoever uses one has given it back: the next to
 * use it begins anew. */
void steady_let_go(struct steady *steady);

#endif
