/* SPDX-License-Identifier: MIT */
/* writer: a queue, a thread, and group commit. */
#include "server/rules/writer.h"

#include <pthread.h>
#include <stdlib.h>

#include "server/base/log.h"

struct writer {
    pthread_mutex_t lock;
    pthread_cond_t more;
    struct job *first, *last;
    bool closing;
    struct writer_counts counts;
    struct db *db; /* owned */
    struct change *change;
    struct steady *steady;
    pthread_t thread;
    pthread_mutex_t telling;
    writer_told told; /* NULL: nobody is told; with its context under telling */
    void *told_context;
};

/* A batch on its way: which jobs their own rule undid. */
struct batch {
    struct job *job[WRITER_BATCH_MAX];
    bool undone[WRITER_BATCH_MAX];
    bool runs_alone; /* all of them */
    int count;
};

static bool take(struct writer *writer, struct batch *batch) {
    pthread_mutex_lock(&writer->lock);
    while (!writer->first && !writer->closing)
        pthread_cond_wait(&writer->more, &writer->lock);
    batch->count = 0;
    batch->runs_alone = true;
    while (writer->first && batch->count < WRITER_BATCH_MAX) {
        struct job *job = writer->first;
        writer->first = job->next;
        batch->runs_alone = batch->runs_alone && job->runs_alone;
        batch->undone[batch->count] = false;
        batch->job[batch->count++] = job;
    }
    if (!writer->first)
        writer->last = NULL;
    writer->counts.waiting -= batch->count;
    pthread_mutex_unlock(&writer->lock);
    return batch->count > 0;
}

static bool do_job(struct writer *writer, const struct job *job) {
    change_begins(writer->change, job->runs_alone);
    return job->work(writer->change, job->context) == 0;
}

/* Each job behind a savepoint, so that one that is refused harms no other. */
static int work_off(struct writer *writer, struct batch *batch, struct err *err) {
    if (db_begin(writer->db, err))
        return -1;
    for (int i = 0; i < batch->count; i++) {
        if (db_savepoint(writer->db, err))
            return -1;
        const struct change_noted before = change_noted(writer->change);
        batch->undone[i] = !do_job(writer, batch->job[i]);
        if (batch->undone[i]) {
            db_savepoint_undo(writer->db);
            change_unsay(writer->change, before);
        } else if (db_savepoint_keep(writer->db, err))
            return -1;
    }
    return change_commit(writer->change, err);
}

/* The same without savepoints, which cost as much as a run: who is refused has written
 * nothing as yet. *again: one failed on its way, and the batch begins anew. */
static int work_off_runs(struct writer *writer, struct batch *batch, bool *again, struct err *err) {
    if (db_begin(writer->db, err))
        return -1;
    for (int i = 0; i < batch->count; i++) {
        const struct change_noted before = change_noted(writer->change);
        const int64_t changes = db_changes(writer->db);
        batch->undone[i] = !do_job(writer, batch->job[i]);
        if (!batch->undone[i])
            continue;
        *again = !db_in_transaction(writer->db) || db_changes(writer->db) != changes;
        if (*again)
            return -1;
        change_unsay(writer->change, before);
    }
    return change_commit(writer->change, err);
}

static bool commit(struct writer *writer, struct batch *batch) {
    struct err err = {0};
    bool again = false;
    int result = batch->runs_alone ? work_off_runs(writer, batch, &again, &err)
                                   : work_off(writer, batch, &err);
    if (again) {
        change_rollback(writer->change);
        change_forget(writer->change);
        result = work_off(writer, batch, &err);
    }
    if (result == 0)
        return true;
    change_rollback(writer->change);
    log_line(NOONARC_LOG_ERROR, "writer: batch of %d lost: %s", batch->count, err.text);
    return false;
}

static void count(struct writer *writer, const struct batch *batch, bool committed) {
    int undone = 0, size = 0;
    _Static_assert(1 << (WRITER_SIZES - 1) == WRITER_BATCH_MAX, "the last class holds the largest");
    for (int i = 0; i < batch->count; i++)
        undone += batch->undone[i];
    while (1 << size < batch->count - undone)
        size++;
    pthread_mutex_lock(&writer->lock);
    writer->counts.undone += undone;
    if (committed) {
        writer->counts.batches++;
        writer->counts.size[size]++;
        writer->counts.jobs += batch->count - undone;
    } else {
        writer->counts.failed += batch->count - undone;
    }
    pthread_mutex_unlock(&writer->lock);
}

static void tell(struct writer *writer) {
    pthread_mutex_lock(&writer->telling);
    if (writer->told)
        writer->told(writer->told_context, writer->change);
    pthread_mutex_unlock(&writer->telling);
}

/* After the answers, so that none waits for it. Views that begin in the meantime end at the
 * log as it is then, and those after it at an empty one: so it can start over. */
static void settle_log(struct writer *writer) {
    if (!db_log_is_long(writer->db))
        return;
    if (writer->steady)
        steady_let_go(writer->steady);
    db_settle_log(writer->db);
    if (writer->steady)
        steady_let_go(writer->steady);
}

static void *run(void *argument) {
    struct writer *writer = argument;
    struct batch batch;
    while (take(writer, &batch)) {
        const bool committed = commit(writer, &batch);
        if (committed)
            tell(writer);
        change_forget(writer->change);
        count(writer, &batch, committed);
        for (int i = 0; i < batch.count; i++)
            batch.job[i]->done(batch.job[i]->context, committed && !batch.undone[i]);
        settle_log(writer);
    }
    return NULL;
}

int writer_new(struct db *write, struct almanac *almanac, struct book *book, struct steady *steady,
               struct writer **out, struct err *err) {
    struct writer *writer = calloc(1, sizeof *writer);
    struct change *change = change_new(write, almanac, book);
    if (!writer || !change)
        goto cleanup;
    writer->db = write;
    writer->change = change;
    writer->steady = steady;
    db_mind_log(write);
    pthread_mutex_init(&writer->lock, NULL);
    pthread_cond_init(&writer->more, NULL);
    pthread_mutex_init(&writer->telling, NULL);
    if (pthread_create(&writer->thread, NULL, run, writer) != 0) {
        pthread_mutex_destroy(&writer->telling);
        pthread_cond_destroy(&writer->more);
        pthread_mutex_destroy(&writer->lock);
        goto cleanup;
    }
    *out = writer;
    return 0;
cleanup:
    change_free(change);
    free(writer);
    return err_set(err, ERR_INTERNAL, NULL, "the writer could not be started");
}

void writer_free(struct writer *writer) {
    if (!writer)
        return;
    pthread_mutex_lock(&writer->lock);
    writer->closing = true;
    pthread_cond_signal(&writer->more);
    pthread_mutex_unlock(&writer->lock);
    pthread_join(writer->thread, NULL);
    pthread_mutex_destroy(&writer->telling);
    pthread_cond_destroy(&writer->more);
    pthread_mutex_destroy(&writer->lock);
    change_free(writer->change);
    db_close(writer->db);
    free(writer);
}

void writer_tell(struct writer *writer, writer_told told, void *context) {
    pthread_mutex_lock(&writer->telling);
    writer->told = told;
    writer->told_context = context;
    pthread_mutex_unlock(&writer->telling);
}

int writer_submit(struct writer *writer, struct job *job, struct err *err) {
    job->next = NULL;
    pthread_mutex_lock(&writer->lock);
    bool full = writer->counts.waiting >= WRITER_QUEUE_MAX || writer->closing;
    if (!full) {
        if (writer->last)
            writer->last->next = job;
        else
            writer->first = job;
        writer->last = job;
        writer->counts.waiting++;
        pthread_cond_signal(&writer->more);
    }
    pthread_mutex_unlock(&writer->lock);
    return full ? err_set(err, ERR_BUSY, NULL, "too much is waiting to be written; try again") : 0;
}

struct call {
    pthread_mutex_t lock;
    pthread_cond_t ended;
    change_work work;
    void *context;
    bool over, committed;
};

static int call_work(struct change *change, void *context) {
    struct call *call = context;
    return call->work(change, call->context);
}

static void call_done(void *context, bool committed) {
    struct call *call = context;
    pthread_mutex_lock(&call->lock);
    call->over = true;
    call->committed = committed;
    pthread_cond_signal(&call->ended);
    pthread_mutex_unlock(&call->lock);
}

int writer_call(struct writer *writer, change_work work, void *context, struct err *err) {
    struct call call = {.work = work, .context = context};
    struct job job = {.work = call_work, .done = call_done, .context = &call};
    pthread_mutex_init(&call.lock, NULL);
    pthread_cond_init(&call.ended, NULL);
    int result = writer_submit(writer, &job, err);
    if (result == 0) {
        pthread_mutex_lock(&call.lock);
        while (!call.over)
            pthread_cond_wait(&call.ended, &call.lock);
        pthread_mutex_unlock(&call.lock);
        result = call.committed ? 0 : -1;
        if (result)
            err_set(err, ERR_STORAGE, NULL, "the change was not kept");
    }
    pthread_cond_destroy(&call.ended);
    pthread_mutex_destroy(&call.lock);
    return result;
}

struct writer_counts writer_counts(struct writer *writer) {
    pthread_mutex_lock(&writer->lock);
    struct writer_counts counts = writer->counts;
    pthread_mutex_unlock(&writer->lock);
    return counts;
}
