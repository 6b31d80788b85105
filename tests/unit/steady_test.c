/* SPDX-License-Identifier: MIT */
/* steady: a view lasts while nothing but runs moves, and keeps the log from growing no
 * longer than it is used. */
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "server/rules/steady.h"
#include "server/rules/writer.h"
#include "tests/support/store_fixture.h"

static int64_t count(const struct book_view *view, const char *sql) {
    struct statement *statement;
    struct err err = {0};
    assert_int_equal(db_prepare(view->db, sql, &statement, &err), 0);
    assert_int_equal(statement_step(statement, &err), STEP_ROW);
    int64_t number = column_int(statement, 0);
    statement_done(statement);
    return number;
}

static const char count_runs[] = "SELECT COUNT(*) FROM run";
static const char count_sites[] = "SELECT COUNT(*) FROM site";

static struct steady *open_steady(struct fixture *f, int size) {
    struct steady *steady;
    assert_int_equal(steady_new(f->path, size, f->book, &steady, &f->err), 0);
    return steady;
}

static struct book_view take(struct steady *steady) {
    struct book_view view;
    assert_int_equal(steady_take(steady, &view, NULL), 0);
    return view;
}

static void add_run(struct fixture *f, uint64_t seed, int64_t supersedes) {
    static char key[32];
    struct fixture_body body;
    static const struct place hill = {40.0, 3.0, 200.0, 0.0};
    static struct prepared prepared;
    struct text answer;
    bool replayed;
    snprintf(key, sizeof key, "steady-%d", (int)seed);
    fixture_body(&body, "hill", "spring", &hill, FIXTURE_DATE, seed, supersedes);
    const struct submission submission = {.caller = &f->organiser,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = key,
                                          .now_utc_s = FIXTURE_NOW_UTC_S};
    assert_int_equal(fixture_prepare(f, &submission, &prepared, &f->err), 0);
    text_init(&answer, ACCEPT_ANSWER_MAX);
    struct err *err = fixture_begin_run(f);
    assert_int_equal(fixture_end(f, accept_run(f->change, &submission, &prepared, NULL, &answer,
                                               &replayed, err)),
                     0);
    text_release(&answer);
    fixture_body_release(&body);
}

static void a_view_lasts_until_something_moves(void **state) {
    struct fixture *f = *state;
    struct steady *steady = open_steady(f, 1);
    struct book_view view = take(steady);
    const uint64_t moment = view.moment;
    assert_int_equal(count(&view, count_runs), 0);
    steady_give(steady, &view);

    add_run(f, 1, 0);
    view = take(steady);
    assert_true(view.moment == moment);
    assert_int_equal(count(&view, count_runs), 0);
    /* a view in use stays what it is, whatever moves */
    fixture_site(f, "moor", 48.0, 3.0);
    assert_int_equal(count(&view, count_sites), 1);
    steady_give(steady, &view);

    view = take(steady);
    assert_true(view.moment > moment);
    assert_int_equal(count(&view, count_runs), 1);
    assert_int_equal(count(&view, count_sites), 2);
    steady_give(steady, &view);

    steady_let_go(steady);
    add_run(f, 2, 1);
    view = take(steady);
    assert_int_equal(count(&view, count_runs), 2);
    steady_give(steady, &view);
    steady_free(steady);
}

struct visitor {
    struct steady *steady;
    struct book_view first;
    bool given;
};

static void *wait_for_a_view(void *context) {
    struct visitor *visitor = context;
    struct book_view view;
    if (steady_take(visitor->steady, &view, NULL) == 0) {
        visitor->given = true;
        steady_give(visitor->steady, &view);
    }
    return NULL;
}

static void *wait_to_let_go(void *context) {
    steady_let_go(context);
    return NULL;
}

/* Whoever finds none free, and whoever wants them let go, waits until one is given back. */
static void views_in_use_are_waited_for(void **state) {
    struct fixture *f = *state;
    struct visitor visitor = {.steady = open_steady(f, 2)};
    pthread_t waiting, letting_go;
    visitor.first = take(visitor.steady);
    struct book_view second = take(visitor.steady);
    assert_true(second.db != visitor.first.db);
    assert_int_equal(pthread_create(&waiting, NULL, wait_for_a_view, &visitor), 0);
    steady_give(visitor.steady, &second);
    assert_int_equal(pthread_join(waiting, NULL), 0);
    assert_true(visitor.given);
    assert_int_equal(count(&visitor.first, count_runs), 0);
    assert_int_equal(pthread_create(&letting_go, NULL, wait_to_let_go, visitor.steady), 0);
    assert_int_equal(count(&visitor.first, count_runs), 0);
    steady_give(visitor.steady, &visitor.first);
    assert_int_equal(pthread_join(letting_go, NULL), 0);
    steady_free(visitor.steady);
}

#define PIECES 48
#define PIECE_MIB 1

static int write_a_piece(struct change *change, void *context) {
    (void)context;
    return db_script(change_db(change),
                     "CREATE TABLE IF NOT EXISTS scratch (bytes TEXT);"
                     "INSERT INTO scratch VALUES (hex(zeroblob(524288)))",
                     NULL);
}

struct piece {
    pthread_mutex_t lock;
    pthread_cond_t ended;
    bool over, committed;
};

static void piece_ended(void *context, bool committed) {
    struct piece *piece = context;
    pthread_mutex_lock(&piece->lock);
    piece->over = true;
    piece->committed = committed;
    pthread_cond_signal(&piece->ended);
    pthread_mutex_unlock(&piece->lock);
}

static void write_alone(struct writer *writer) {
    struct piece piece = {.lock = PTHREAD_MUTEX_INITIALIZER, .ended = PTHREAD_COND_INITIALIZER};
    struct job job = {
        .work = write_a_piece, .done = piece_ended, .context = &piece, .runs_alone = true};
    assert_int_equal(writer_submit(writer, &job, NULL), 0);
    pthread_mutex_lock(&piece.lock);
    while (!piece.over)
        pthread_cond_wait(&piece.ended, &piece.lock);
    pthread_mutex_unlock(&piece.lock);
    assert_true(piece.committed);
}

/* The log starts over again and again although views are held nearly all the time; a reader
 * that never lets go of its own would have it grow to the size of all that is written. */
static void the_log_starts_over(void **state) {
    struct fixture *f = *state;
    struct steady *steady = open_steady(f, 2);
    struct writer *writer;
    struct db *db;
    struct stat log;
    char path[128];
    snprintf(path, sizeof path, "%s-wal", f->path);
    assert_int_equal(db_open(f->path, DB_WRITE, &db, &f->err), 0);
    assert_int_equal(writer_new(db, f->almanac, f->book, steady, &writer, &f->err), 0);
    for (int i = 0; i < PIECES; i++) {
        struct book_view one = take(steady), two = take(steady);
        assert_true(count(&one, count_sites) == 1 && count(&two, count_sites) == 1);
        steady_give(steady, &one);
        steady_give(steady, &two);
        write_alone(writer);
    }
    writer_free(writer);
    assert_int_equal(stat(path, &log), 0);
    assert_in_range(log.st_size, 1, PIECES * PIECE_MIB * 1024 * 1024 / 4);
    steady_free(steady);
}

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_site(&fixture, "hill", 40.0, 3.0);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    fixture_join(&fixture, "spring", "hill");
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_view_lasts_until_something_moves, set_up, tear_down),
        cmocka_unit_test_setup_teardown(views_in_use_are_waited_for, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_log_starts_over, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("steady", tests, NULL, NULL);
}
