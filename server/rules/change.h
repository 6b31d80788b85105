/* SPDX-License-Identifier: MIT */
/* change: what a writing rule works in: the write connection with a transaction
 * open, the almanac, and the days whose combined result must be made anew before
 * the transaction ends. Rules that take a `struct change *` write and run inside
 * a job of the writer (or of change_alone); rules that take a `struct db *` only
 * read and run on a connection of the pool. */
#ifndef NOONARC_CHANGE_H
#define NOONARC_CHANGE_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/rules/almanac.h"
#include "server/rules/notice.h"
#include "server/store/db.h"

struct change;

/* One piece of work. Returns 0 to keep what it wrote, -1 to have all of it undone. */
typedef int (*change_work)(struct change *change, void *context);

/* Neither argument is owned. NULL when memory is short. */
struct change *change_new(struct db *write, struct almanac *almanac);
void change_free(struct change *change);

struct db *change_db(struct change *change);
struct almanac *change_almanac(struct change *change);

/* Notes that a day's reductions moved; the result is made anew once, by
 * change_settle, however often the day is named. */
void change_touch(struct change *change, int64_t day);

/* Keeps a notice (copied) for those who watch, who hear of it after the commit. One
 * that does not fit in memory is lost to them: they see it when they look again. */
void change_notice(struct change *change, const struct notice *notice);

/* How many there are; and forgets those beyond the first so many: of work undone. */
size_t change_notices(const struct change *change, const struct notice **out);
void change_unsay(struct change *change, size_t count);

/* The days touched. */
size_t change_touched(const struct change *change, const int64_t **out);

/* Makes the results of the touched days anew. Called once before the commit. */
int change_settle(struct change *change, struct err *err) __attribute__((warn_unused_result));

/* Forgets the touched days and the notices: after a commit or a rollback. */
void change_forget(struct change *change);

/* One piece of work in a transaction of its own, on this thread: for commands
 * and tests. Returns 0 when it is committed. */
int change_alone(struct change *change, change_work work, void *context, struct err *err)
    __attribute__((warn_unused_result));

#endif
