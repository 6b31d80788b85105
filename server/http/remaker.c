/* SPDX-License-Identifier: MIT */
#include "server/http/remaker.h"

#include <pthread.h>
#include <stdlib.h>

#include "server/base/log.h"
#include "server/http/clock.h"
#include "server/rules/figures.h"

#define TICK_US 5000    /* between looks at the book while a day is watched */
#define IDLE_US 100000  /* while none is */
#define EVERY_US 50000  /* from one making to the next, at least */
#define LONG_US 1000000 /* of a processor: makings that take more */
#define LONG_SHARE 2    /* leave as much time between them as they take of it */
#define AFTER_FAILURE_US 1000000

struct remaker {
    struct pool *pool;
    struct book *book;
    pthread_mutex_t lock;
    pthread_cond_t stir;
    bool quitting;
    pthread_t thread;
};

static int remake(struct remaker *remaker, int64_t day, struct err *err) {
    const uint64_t moment = book_moment(remaker->book);
    struct db *db = pool_take(remaker->pool, err);
    if (!db) {
        book_keep(remaker->book, day, NULL, moment);
        return -1;
    }
    const struct book_view view = {.book = remaker->book, .db = db, .moment = moment};
    int result = figures_remake(&view, day, clock_utc_s(), err);
    pool_give(remaker->pool, db);
    return result;
}

/* Does what there is to do; returns how long to wait. */
static int64_t go_round(struct remaker *remaker) {
    const int64_t began_us = clock_steady_us(), had_us = clock_thread_us();
    struct err err = {0};
    int64_t day;
    bool is_watched;
    if (!book_claim_watched(remaker->book, clock_utc_s(), &day, &is_watched))
        return is_watched ? TICK_US : IDLE_US;
    const bool failed = remake(remaker, day, &err) != 0;
    book_tend(remaker->book, !failed);
    if (failed) {
        log_line(NOONARC_LOG_WARNING, "figures could not be made: %s", err.text);
        return AFTER_FAILURE_US;
    }
    const int64_t took_us = clock_steady_us() - began_us, work_us = clock_thread_us() - had_us;
    const int64_t every_us = work_us > LONG_US ? LONG_SHARE * work_us : EVERY_US;
    return took_us < every_us ? every_us - took_us : 0;
}

/* The lock is held. */
static void wait_for(struct remaker *remaker, int64_t wait_us) {
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    const int64_t ns = until.tv_nsec + 1000 * wait_us;
    until.tv_sec += ns / 1000000000;
    until.tv_nsec = ns % 1000000000;
    pthread_cond_timedwait(&remaker->stir, &remaker->lock, &until);
}

static void *run(void *argument) {
    struct remaker *remaker = argument;
    book_tend(remaker->book, true);
    pthread_mutex_lock(&remaker->lock);
    while (!remaker->quitting) {
        pthread_mutex_unlock(&remaker->lock);
        const int64_t wait_us = go_round(remaker);
        pthread_mutex_lock(&remaker->lock);
        if (!remaker->quitting && wait_us > 0)
            wait_for(remaker, wait_us);
    }
    pthread_mutex_unlock(&remaker->lock);
    book_tend(remaker->book, false);
    return NULL;
}

static void forget(struct remaker *remaker) {
    pthread_cond_destroy(&remaker->stir);
    pthread_mutex_destroy(&remaker->lock);
    free(remaker);
}

int remaker_new(struct pool *pool, struct book *book, struct remaker **out, struct err *err) {
    pthread_condattr_t steady;
    struct remaker *remaker = calloc(1, sizeof *remaker);
    if (!remaker)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    remaker->pool = pool;
    remaker->book = book;
    pthread_mutex_init(&remaker->lock, NULL);
    pthread_condattr_init(&steady);
    pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    pthread_cond_init(&remaker->stir, &steady);
    pthread_condattr_destroy(&steady);
    if (pthread_create(&remaker->thread, NULL, run, remaker) != 0) {
        forget(remaker);
        return err_set(err, ERR_INTERNAL, NULL, "the remaker could not be started");
    }
    *out = remaker;
    return 0;
}

void remaker_free(struct remaker *remaker) {
    if (!remaker)
        return;
    pthread_mutex_lock(&remaker->lock);
    remaker->quitting = true;
    pthread_cond_signal(&remaker->stir);
    pthread_mutex_unlock(&remaker->lock);
    pthread_join(remaker->thread, NULL);
    forget(remaker);
}
