/* SPDX-License-Identifier: MIT */
/* writer: the one thread that writes. It takes whatever has queued (never waits
 * for more), works it off in one transaction with a savepoint each, commits, and then tells every
 * caller. So an answer means: it is on the disk. */
#ifndef NOONARC_WRITER_H
#define NOONARC_WRITER_H

#include <stdint.h>

#include "server/rules/change.h"
#include "server/rules/steady.h"

#define WRITER_BATCH_MAX 128
#define WRITER_QUEUE_MAX 4096
#define WRITER_SIZES 8 /* classes of batches: of 1 job, 2, up to 4, 8, 16, 32, 64, 128 */

struct writer;

/* A piece of work; the caller keeps it alive until done was called. */
struct job {
    change_work work;                            /* on the writer's thread */
    void (*done)(void *context, bool committed); /* on the writer's thread, after the commit. False
                                                    when work returned -1, or when the transaction
                                                    failed although work had returned 0 */
    void *context;
    /* It writes nothing but runs (change_begins), refuses before it writes, and may be done
     * again from the beginning. */
    bool runs_alone;
    struct job *next; /* the writer's */
};

/* Starts the thread on a write connection, which the writer owns from then on. steady
 * (borrowed; NULL: there is none) is asked to let go whenever the store's log is settled. */
int writer_new(struct db *write, struct almanac *almanac, struct book *book, struct steady *steady,
               struct writer **out, struct err *err) __attribute__((warn_unused_result));

/* Works off what has queued, stops the thread, closes the connection. NULL is fine. */
void writer_free(struct writer *writer);

/* Hands a job over. Returns -1 with ERR_BUSY, and done will not be called, when
 * WRITER_QUEUE_MAX jobs are waiting. */
int writer_submit(struct writer *writer, struct job *job, struct err *err)
    __attribute__((warn_unused_result));

/* Hands over and waits: for tests and tools. Returns 0 when committed. */
int writer_call(struct writer *writer, change_work work, void *context, struct err *err)
    __attribute__((warn_unused_result));

/* Who is told of each commit, on the writer's thread, after it and before done of
 * its jobs: the change holds the notices and the days touched. NULL: nobody; then
 * the one before is not called any more when this returns. */
typedef void (*writer_told)(void *context, const struct change *change);
void writer_tell(struct writer *writer, writer_told told, void *context);

struct writer_counts {
    int64_t batches;            /* transactions committed */
    int64_t jobs;               /* jobs committed */
    int64_t undone;             /* jobs undone by their own rule */
    int64_t failed;             /* jobs lost to a failed transaction */
    int64_t waiting;            /* queued now */
    int64_t size[WRITER_SIZES]; /* of batches, how many had so many committed jobs */
};
struct writer_counts writer_counts(struct writer *writer);

#endif
