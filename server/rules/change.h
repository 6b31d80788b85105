/* SPDX-License-Identifier: MIT */
/* change: what a writing rule works in: the write connection with a transaction
 * open, the almanac, and what those who look on must hear after the commit: the
 * book of noons, and whoever watches a day. Rules that take a `struct change *` write and run
 * inside a job of the writer (or of change_alone); rules that take a `struct db *` only read and
 * run on a connection of the pool. */
#ifndef NOONARC_CHANGE_H
#define NOONARC_CHANGE_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/rules/almanac.h"
#include "server/rules/book.h"
#include "server/rules/notice.h"
#include "server/store/db.h"

struct change;

/* One piece of work. Returns 0 to keep what it wrote, -1 to have all of it undone. */
typedef int (*change_work)(struct change *change, void *context);

/* Nothing is owned; book NULL: nobody keeps one. NULL when memory is short. */
struct change *change_new(struct db *write, struct almanac *almanac, struct book *book);
void change_free(struct change *change);

struct db *change_db(struct change *change);
struct almanac *change_almanac(struct change *change);

/* The noons of the days as of the last commit, seen by the write connection; book NULL
 * where nobody keeps one. */
struct book_view change_view(struct change *change);

/* Notes that a day's reductions moved, in whatever way: its noons are read again when
 * they are asked for. */
void change_touch(struct change *change, int64_t day);

/* Notes that one site's noon on a day is another now (copied), or counts no more (NULL):
 * the same in steps, which keeps the day in memory. */
void change_noon(struct change *change, int64_t day, int64_t site, const struct day_noon *noon);

/* What the work that begins now will move, runs alone or anything: said before it writes
 * anything, by whoever runs it. */
void change_begins(struct change *change, bool runs_alone);

/* Whether what a reader looked up at a moment of the book still holds: anything but runs.
 * When in doubt: no. */
bool change_holds(const struct change *change, uint64_t moment);

/* Keeps a notice (copied) for those who watch, who hear of it after the commit. One
 * that does not fit in memory is lost to them: they see it when they look again. */
void change_notice(struct change *change, const struct notice *notice);

size_t change_notices(const struct change *change, const struct notice **out);

/* What was noted so far; and forgets what was noted since: of work undone. */
struct change_noted {
    size_t notices, entries;
};
struct change_noted change_noted(const struct change *change);
void change_unsay(struct change *change, struct change_noted noted);

/* The days that moved, in whatever way. */
size_t change_touched(const struct change *change, const int64_t **out);

/* Commits; then the book is told. */
int change_commit(struct change *change, struct err *err) __attribute__((warn_unused_result));

/* Undoes all of it. What the book may have read of it meanwhile is forgotten. */
void change_rollback(struct change *change);

/* Forgets all that was noted: after a commit or a rollback. */
void change_forget(struct change *change);

/* One piece of work in a transaction of its own, on this thread: for commands
 * and tests. Returns 0 when it is committed. */
int change_alone(struct change *change, change_work work, void *context, struct err *err)
    __attribute__((warn_unused_result));

#endif
