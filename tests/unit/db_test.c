/* SPDX-License-Identifier: MIT */
/* db: what the rest relies on: bound values come back, an undone savepoint takes
 * nothing else along, what was committed is there after a restart, and a store
 * that cannot be used says so without harm. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "server/store/db.h"
#include "server/store/pool.h"

struct temporary {
    char folder[64], path[96];
    struct db *db;
    struct err err;
};

static void open_again(struct temporary *temporary) {
    assert_int_equal(db_open(temporary->path, DB_WRITE, &temporary->db, &temporary->err), 0);
}

static int set_up(void **state) {
    static struct temporary temporary;
    temporary = (struct temporary){0};
    const char *base = getenv("TMPDIR");
    snprintf(temporary.folder, sizeof temporary.folder, "%.40s/noonarc-XXXXXX",
             base ? base : "/tmp");
    assert_non_null(mkdtemp(temporary.folder));
    snprintf(temporary.path, sizeof temporary.path, "%s/store", temporary.folder);
    open_again(&temporary);
    assert_int_equal(db_script(temporary.db,
                               "CREATE TABLE parent (id BIGINT PRIMARY KEY);"
                               "CREATE TABLE thing (id BIGINT PRIMARY KEY, real DOUBLE PRECISION, "
                               "words TEXT, parent BIGINT REFERENCES parent (id))",
                               &temporary.err),
                     0);
    *state = &temporary;
    return 0;
}

static int tear_down(void **state) {
    static const char *const endings[] = {"", "-wal", "-shm"};
    struct temporary *temporary = *state;
    db_close(temporary->db);
    for (size_t i = 0; i < 3; i++) {
        char path[128];
        snprintf(path, sizeof path, "%s%s", temporary->path, endings[i]);
        unlink(path);
    }
    rmdir(temporary->folder);
    return 0;
}

static int add_thing(struct db *db, int64_t id, double real, const char *words, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "INSERT INTO thing (words, id, real) VALUES ($3, $1, $2)", &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_real(statement, 2, real);
    bind_text(statement, 3, words);
    return statement_run(statement, err);
}

static int64_t count_things(struct db *db) {
    struct statement *statement;
    struct err err = {0};
    assert_int_equal(db_prepare(db, "SELECT COUNT(*) FROM thing", &statement, &err), 0);
    assert_int_equal(statement_step(statement, &err), STEP_ROW);
    int64_t count = column_int(statement, 0);
    statement_done(statement);
    return count;
}

static void values_come_back(void **state) {
    static const double reals[] = {0.1, -0.0, 1e300, 5e-324, INFINITY, -INFINITY};
    struct temporary *temporary = *state;
    struct statement *statement;
    for (size_t i = 0; i < sizeof reals / sizeof *reals; i++)
        assert_int_equal(add_thing(temporary->db, (int64_t)i, reals[i], "Ñandú", &temporary->err),
                         0);
    assert_int_equal(add_thing(temporary->db, INT64_MAX, NAN, NULL, &temporary->err), 0);
    assert_int_equal(db_prepare(temporary->db, "SELECT id, real, words FROM thing ORDER BY id",
                                &statement, NULL),
                     0);
    for (size_t i = 0; i < sizeof reals / sizeof *reals; i++) {
        assert_int_equal(statement_step(statement, NULL), STEP_ROW);
        assert_true(column_real(statement, 1) == reals[i]);
        assert_string_equal(column_text(statement, 2, NULL), "Ñandú");
    }
    assert_int_equal(statement_step(statement, NULL), STEP_ROW);
    assert_true(column_int(statement, 0) == INT64_MAX);
    assert_true(isnan(column_real(statement, 1)));
    assert_true(column_null(statement, 2));
    assert_string_equal(column_text(statement, 2, NULL), "");
    assert_int_equal(statement_step(statement, NULL), STEP_DONE);
    statement_done(statement);
}

static void placeholders_go_by_number(void **state) {
    struct temporary *temporary = *state;
    struct statement *statement;
    char words[4];
    assert_int_equal(db_prepare(temporary->db, "SELECT $2, $1, $2", &statement, NULL), 0);
    bind_text(statement, 1, "one");
    bind_text(statement, 2, "two");
    assert_int_equal(statement_step(statement, NULL), STEP_ROW);
    assert_string_equal(column_text(statement, 0, NULL), "two");
    assert_string_equal(column_text(statement, 1, NULL), "one");
    column_copy(statement, 2, words, sizeof words);
    assert_string_equal(words, "two");
    statement_done(statement);
}

static void bytes_keep_a_nul(void **state) {
    struct temporary *temporary = *state;
    struct statement *statement;
    size_t length;
    assert_int_equal(db_prepare(temporary->db, "SELECT $1", &statement, NULL), 0);
    bind_bytes(statement, 1, "a\0b", 3);
    assert_int_equal(statement_step(statement, NULL), STEP_ROW);
    assert_memory_equal(column_text(statement, 0, &length), "a\0b", 3);
    assert_int_equal(length, 3);
    statement_done(statement);
}

static void undone_savepoint_takes_nothing_along(void **state) {
    struct temporary *temporary = *state;
    struct err *err = &temporary->err;
    assert_int_equal(db_begin(temporary->db, err), 0);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(db_savepoint(temporary->db, err), 0);
        assert_int_equal(add_thing(temporary->db, i, 0.0, "", err), 0);
        if (i == 1) {
            /* a failing statement inside does no more than the undo */
            struct err inner = {0};
            assert_int_equal(add_thing(temporary->db, i, 0.0, "", &inner), -1);
            assert_int_equal(inner.code, ERR_STORAGE);
            db_savepoint_undo(temporary->db);
        } else {
            assert_int_equal(db_savepoint_keep(temporary->db, err), 0);
        }
    }
    assert_true(db_in_transaction(temporary->db));
    assert_int_equal(db_commit(temporary->db, err), 0);
    assert_int_equal(count_things(temporary->db), 2);
}

static void committed_survives_reopening_and_open_does_not(void **state) {
    struct temporary *temporary = *state;
    struct err *err = &temporary->err;
    assert_int_equal(db_begin(temporary->db, err), 0);
    assert_int_equal(add_thing(temporary->db, 1, 0.0, "", err), 0);
    assert_int_equal(db_commit(temporary->db, err), 0);
    assert_int_equal(db_begin(temporary->db, err), 0);
    assert_int_equal(add_thing(temporary->db, 2, 0.0, "", err), 0);
    db_close(temporary->db);
    open_again(temporary);
    assert_int_equal(count_things(temporary->db), 1);
}

static void references_are_held(void **state) {
    struct temporary *temporary = *state;
    struct err err = {0};
    assert_int_equal(db_script(temporary->db, "INSERT INTO thing (id, parent) VALUES (1, 9)", &err),
                     -1);
    assert_int_equal(err.code, ERR_STORAGE);
    assert_int_equal(db_sound(temporary->db, &temporary->err), 0);
}

static void assert_setting(struct db *db, const char *question, const char *expected) {
    struct statement *statement;
    assert_int_equal(db_prepare(db, question, &statement, NULL), 0);
    assert_int_equal(statement_step(statement, NULL), STEP_ROW);
    assert_string_equal(column_text(statement, 0, NULL), expected);
    statement_done(statement);
}

/* Numbers of the settings: sqlite.org/pragma.html, synchronous: 2 is FULL. */
static void commits_reach_the_disk(void **state) {
    struct temporary *temporary = *state;
    assert_setting(temporary->db, "PRAGMA journal_mode", "wal");
    assert_setting(temporary->db, "PRAGMA synchronous", "2");
    assert_setting(temporary->db, "PRAGMA foreign_keys", "1");
}

static void reader_sees_one_committed_state(void **state) {
    struct temporary *temporary = *state;
    struct err err = {0};
    struct pool *pool;
    assert_int_equal(pool_new(temporary->path, 2, &pool, &err), 0);
    struct db *early = pool_take(pool, &err);
    assert_int_equal(count_things(early), 0);
    assert_int_equal(add_thing(temporary->db, 1, 0.0, "", &err), 0);
    assert_int_equal(count_things(early), 0);
    struct db *late = pool_take(pool, &err);
    assert_int_equal(count_things(late), 1);
    assert_int_equal(add_thing(late, 2, 0.0, "", &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    pool_give(pool, early);
    early = pool_take(pool, &err);
    assert_int_equal(count_things(early), 1);
    pool_give(pool, early);
    pool_give(pool, late);
    pool_free(pool);
}

static int64_t number(struct db *db, const char *sql) {
    struct statement *statement;
    struct err err = {0};
    assert_int_equal(db_prepare(db, sql, &statement, &err), 0);
    assert_int_equal(statement_step(statement, &err), STEP_ROW);
    int64_t number = column_int(statement, 0);
    statement_done(statement);
    return number;
}

#define HEAPS 60
#define HEAP_ROWS 200

static int add_heap(struct db *db, int first, struct err *err) {
    static char words[1024];
    memset(words, 'a' + first % 26, sizeof words - 1);
    for (int i = 0; i < HEAP_ROWS; i++)
        if (add_thing(db, first + i, first, words, err))
            return -1;
    return 0;
}

static const char sum_of_things[] = "SELECT COALESCE(SUM(real + length(words)), 0) FROM thing";

/* A transaction far larger than what is held in memory: pages go into the log before the
 * commit, are read back from there, are undone in part and written over; somebody else
 * sees the whole afterwards, and the pages are sound. */
static void a_large_commit_goes_through_the_log(void **state) {
    struct temporary *temporary = *state;
    struct db *db = temporary->db, *reader;
    struct err err = {0};
    int64_t sum = 0;
    assert_int_equal(db_script(db, "PRAGMA cache_size = 10", &err), 0);
    assert_int_equal(db_open(temporary->path, DB_READ, &reader, &err), 0);
    for (int commit = 0; commit < 2; commit++) {
        assert_int_equal(db_begin(db, &err), 0);
        for (int heap = 0; heap < HEAPS; heap++) {
            const int first = (commit * HEAPS + heap) * HEAP_ROWS;
            const bool undone = heap % 3 == 1;
            assert_int_equal(db_savepoint(db, &err), 0);
            assert_int_equal(add_heap(db, first, &err), 0);
            if (undone)
                db_savepoint_undo(db);
            else
                assert_int_equal(db_savepoint_keep(db, &err), 0);
            if (!undone)
                sum += (int64_t)HEAP_ROWS * (first + 1023);
            assert_true(number(db, sum_of_things) == sum);
        }
        assert_true(number(reader, sum_of_things) < sum);
        assert_int_equal(db_commit(db, &err), 0);
        assert_true(number(reader, sum_of_things) == sum);
    }
    assert_int_equal(db_sound(reader, &err), 0);
    db_close(reader);
    db_close(db);
    open_again(temporary);
    assert_true(number(temporary->db, sum_of_things) == sum);
}

/* A disk without room: the store may have no more pages. */
static void full_disk_refuses_and_recovers(void **state) {
    struct temporary *temporary = *state;
    struct db *db = temporary->db;
    struct err err = {0};
    char *words = malloc(1u << 20);
    assert_non_null(words);
    memset(words, 'x', (1u << 20) - 1);
    words[(1u << 20) - 1] = '\0';
    assert_int_equal(db_script(db, "PRAGMA max_page_count = 20", &err), 0);
    assert_int_equal(db_begin(db, &err), 0);
    int failed = add_thing(db, 1, 0.0, words, &err) || db_commit(db, &err);
    assert_true(failed);
    assert_int_equal(err.code, ERR_STORAGE);
    assert_non_null(strstr(err.text, "full"));
    db_rollback(db);
    assert_false(db_in_transaction(db));
    assert_int_equal(count_things(db), 0);
    err_clear(&err);
    assert_int_equal(db_script(db, "PRAGMA max_page_count = 100000", &err), 0);
    assert_int_equal(add_thing(db, 1, 0.0, words, &err), 0);
    free(words);
}

static void lock_held_by_another_is_told(void **state) {
    struct temporary *temporary = *state;
    struct err err = {0};
    struct db *other;
    assert_int_equal(db_open(temporary->path, DB_WRITE, &other, &err), 0);
    assert_int_equal(db_script(temporary->db, "PRAGMA busy_timeout = 10", &err), 0);
    assert_int_equal(db_begin(other, &err), 0);
    assert_int_equal(db_begin(temporary->db, &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    db_rollback(other);
    err_clear(&err);
    assert_int_equal(db_begin(temporary->db, &err), 0);
    db_rollback(temporary->db);
    db_close(other);
}

static void what_is_no_store_is_refused(void **state) {
    struct temporary *temporary = *state;
    struct db *db = NULL;
    struct err err = {0};
    char path[128];
    assert_int_equal(db_open(temporary->folder, DB_WRITE, &db, &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    assert_null(db);
    snprintf(path, sizeof path, "%s/missing", temporary->folder);
    err_clear(&err);
    assert_int_equal(db_open(path, DB_READ, &db, &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    snprintf(path, sizeof path, "%s/letter", temporary->folder);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    for (int i = 0; i < 1000; i++)
        fputs("Dear organisers, this is not a database. ", file);
    fclose(file);
    err_clear(&err);
    assert_int_equal(db_open(path, DB_WRITE, &db, &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    assert_null(db);
    unlink(path);
}

static void counts_are_kept(void **state) {
    struct temporary *temporary = *state;
    struct err *err = &temporary->err;
    struct db_counts before = db_counts(temporary->db);
    assert_int_equal(db_begin(temporary->db, err), 0);
    assert_int_equal(db_commit(temporary->db, err), 0);
    assert_int_equal(db_begin(temporary->db, err), 0);
    db_rollback(temporary->db);
    struct db_counts after = db_counts(temporary->db);
    assert_int_equal(after.commits, before.commits + 1);
    assert_int_equal(after.rollbacks, before.rollbacks + 1);
    assert_true(after.statements > before.statements);
}

int main(void) {
#define DB_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        DB_TEST(values_come_back),
        DB_TEST(placeholders_go_by_number),
        DB_TEST(bytes_keep_a_nul),
        DB_TEST(undone_savepoint_takes_nothing_along),
        DB_TEST(committed_survives_reopening_and_open_does_not),
        DB_TEST(references_are_held),
        DB_TEST(commits_reach_the_disk),
        DB_TEST(reader_sees_one_committed_state),
        DB_TEST(a_large_commit_goes_through_the_log),
        DB_TEST(full_disk_refuses_and_recovers),
        DB_TEST(lock_held_by_another_is_told),
        DB_TEST(what_is_no_store_is_refused),
        DB_TEST(counts_are_kept),
    };
    return cmocka_run_group_tests_name("db", tests, NULL, NULL);
}
