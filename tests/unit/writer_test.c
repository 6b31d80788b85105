/* SPDX-License-Identifier: MIT */
/* writer: jobs are kept or undone one by one, all share what happens to their
 * transaction, and days are settled once a batch. */
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "server/rules/days.h"
#include "server/rules/writer.h"
#include "tests/support/store_fixture.h"

struct scene {
    struct fixture fixture;
    struct writer *writer;
};

static int set_up(void **state) {
    static struct scene scene;
    struct db *db;
    fixture_open(&scene.fixture);
    fixture_site(&scene.fixture, "hill", 40.0, 3.0);
    fixture_site(&scene.fixture, "dale", 44.0, 3.0);
    fixture_day(&scene.fixture, "spring", FIXTURE_DATE);
    if (db_open(scene.fixture.path, DB_WRITE, &db, NULL) ||
        writer_new(db, scene.fixture.almanac, scene.fixture.book, NULL, &scene.writer, NULL))
        return -1;
    *state = &scene;
    return 0;
}

static int tear_down(void **state) {
    struct scene *scene = *state;
    writer_free(scene->writer);
    fixture_close(&scene->fixture);
    return 0;
}

/* Several jobs whose ends are waited for together. */
#define JOBS 300
static struct crowd {
    pthread_mutex_t lock;
    pthread_cond_t moved;
    int open, committed, refused;
    bool gate; /* closed: the first job waits for the others to queue */
} crowd = {.lock = PTHREAD_MUTEX_INITIALIZER, .moved = PTHREAD_COND_INITIALIZER};

struct entry {
    struct job job;
    int number;
    bool committed;
};
static struct entry entries[JOBS];

static void finish(void *context, bool committed) {
    struct entry *entry = context;
    pthread_mutex_lock(&crowd.lock);
    entry->committed = committed;
    crowd.committed += committed;
    crowd.refused += !committed;
    crowd.open--;
    pthread_cond_broadcast(&crowd.moved);
    pthread_mutex_unlock(&crowd.lock);
}

/* Adds a site; every third one is refused after it was written. */
static int add_site_or_not(struct change *change, void *context) {
    struct entry *entry = context;
    char name[ID_MAX + 1];
    snprintf(name, sizeof name, "site-%d", entry->number);
    struct site_record record = fixture_site_record(name, 10.0, 20.0), kept;
    struct site_secrets secrets;
    struct err err = {0};
    if (site_register(change, &record, FIXTURE_NOW_UTC_S, &kept, &secrets, &err))
        return -1;
    return entry->number % 3 == 0 ? -1 : 0;
}

static int wait_for_gate(struct change *change, void *context) {
    (void)change;
    (void)context;
    pthread_mutex_lock(&crowd.lock);
    while (crowd.gate)
        pthread_cond_wait(&crowd.moved, &crowd.lock);
    pthread_mutex_unlock(&crowd.lock);
    return 0;
}

static void open_gate(void) {
    pthread_mutex_lock(&crowd.lock);
    crowd.gate = false;
    pthread_cond_broadcast(&crowd.moved);
    pthread_mutex_unlock(&crowd.lock);
}

static void wait_for_all(void) {
    pthread_mutex_lock(&crowd.lock);
    while (crowd.open > 0)
        pthread_cond_wait(&crowd.moved, &crowd.lock);
    pthread_mutex_unlock(&crowd.lock);
}

static void rest(void) {
    nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
}

/* The first job, the gate, is alone in its batch; the others queue behind it. */
static void submit_crowd(struct writer *writer, int count, change_work work) {
    struct err err = {0};
    crowd.open = count;
    crowd.committed = crowd.refused = 0;
    crowd.gate = true;
    for (int i = 0; i < count; i++) {
        entries[i] = (struct entry){.number = i};
        entries[i].job = (struct job){
            .work = i == 0 ? wait_for_gate : work, .done = finish, .context = &entries[i]};
        assert_int_equal(writer_submit(writer, &entries[i].job, &err), 0);
        while (i == 0 && writer_counts(writer).waiting > 0)
            rest();
    }
}

static void refused_jobs_harm_no_others(void **state) {
    struct scene *scene = *state;
    submit_crowd(scene->writer, JOBS, add_site_or_not);
    open_gate();
    wait_for_all();
    for (int i = 1; i < JOBS; i++)
        assert_int_equal(entries[i].committed, i % 3 != 0);
    assert_int_equal(crowd.refused, 99);
    assert_int_equal(fixture_count(&scene->fixture, "SELECT COUNT(*) FROM site"), 2 + 200);
    struct writer_counts counts = writer_counts(scene->writer);
    assert_int_equal(counts.jobs, 201);
    assert_int_equal(counts.undone, 99);
    assert_int_equal(counts.failed, 0);
    assert_int_equal(counts.waiting, 0);
    /* the first alone, then 128, 128 and 43 */
    assert_int_equal(counts.batches, 4);
}

/* The same day touched by all. */
static int touch(struct change *change, void *context) {
    (void)context;
    change_touch(change, 1);
    return 0;
}

/* A transaction that cannot be committed fails all its jobs; the next one works. */
static int break_the_batch(struct change *change, void *context) {
    (void)context;
    /* It points to a run that is not there, which shows when all is to be kept. */
    return db_script(change_db(change),
                     "PRAGMA defer_foreign_keys = ON;"
                     "INSERT INTO withdrawal (run, reason, withdrawn_utc_s) VALUES (4711, '', 0)",
                     NULL);
}

static void lost_batch_is_told_to_all(void **state) {
    struct scene *scene = *state;
    struct err err = {0};
    submit_crowd(scene->writer, 5, add_site_or_not);
    entries[4].job.work = break_the_batch;
    open_gate();
    wait_for_all();
    for (int i = 1; i < 5; i++)
        assert_false(entries[i].committed);
    assert_int_equal(fixture_count(&scene->fixture, "SELECT COUNT(*) FROM site"), 2);
    assert_int_equal(writer_counts(scene->writer).failed,
                     3); /* the fourth was undone by its rule */
    struct entry entry = {.number = 1};
    assert_int_equal(writer_call(scene->writer, add_site_or_not, &entry, &err), 0);
    assert_int_equal(fixture_count(&scene->fixture, "SELECT COUNT(*) FROM site"), 3);
}

static void call_tells_what_became_of_it(void **state) {
    struct scene *scene = *state;
    struct err err = {0};
    struct entry kept = {.number = 1}, refused = {.number = 3};
    assert_int_equal(writer_call(scene->writer, add_site_or_not, &kept, &err), 0);
    assert_int_equal(writer_call(scene->writer, add_site_or_not, &refused, &err), -1);
}

static void full_queue_is_busy(void **state) {
    struct scene *scene = *state;
    static struct entry many[WRITER_QUEUE_MAX + 1];
    struct err err = {0};
    crowd.open = WRITER_QUEUE_MAX + 1;
    crowd.gate = true;
    many[0].job = (struct job){.work = wait_for_gate, .done = finish, .context = &many[0]};
    assert_int_equal(writer_submit(scene->writer, &many[0].job, &err), 0);
    while (writer_counts(scene->writer).waiting > 0)
        rest();
    for (int i = 1; i <= WRITER_QUEUE_MAX; i++) {
        many[i].job = (struct job){.work = touch, .done = finish, .context = &many[i]};
        assert_int_equal(writer_submit(scene->writer, &many[i].job, &err), 0);
    }
    struct job one_more = {.work = touch, .done = finish, .context = &many[0]};
    assert_int_equal(writer_submit(scene->writer, &one_more, &err), -1);
    assert_int_equal(err.code, ERR_BUSY);
    open_gate();
    wait_for_all();
}

static void what_was_queued_is_done_before_the_end(void **state) {
    struct scene *scene = *state;
    submit_crowd(scene->writer, 50, add_site_or_not);
    open_gate();
    writer_free(scene->writer);
    scene->writer = NULL;
    assert_int_equal(crowd.open, 0);
    assert_int_equal(fixture_count(&scene->fixture, "SELECT COUNT(*) FROM site"), 2 + 33);
}

int main(void) {
#define WRITER_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        WRITER_TEST(refused_jobs_harm_no_others),
        WRITER_TEST(lost_batch_is_told_to_all),
        WRITER_TEST(call_tells_what_became_of_it),
        WRITER_TEST(full_queue_is_busy),
        WRITER_TEST(what_was_queued_is_done_before_the_end),
    };
    return cmocka_run_group_tests_name("writer", tests, NULL, NULL);
}
