/* SPDX-License-Identifier: MIT */
/* migrate: steps are applied once and in order; a store whose past differs from
 * ours is refused in words that name the step. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/store/hash.h"
#include "server/store/migrate.h"

#define NOW_UTC_S 1800000000.0

static const struct migration steps[] = {
    {1, "apples", "CREATE TABLE apple (id BIGINT PRIMARY KEY)"},
    {2, "pears", "CREATE TABLE pear (id BIGINT PRIMARY KEY); INSERT INTO pear VALUES (1)"},
    {3, "plums", "CREATE TABLE plum (id BIGINT PRIMARY KEY)"},
};

static int set_up(void **state) {
    struct db *db;
    if (db_open(":memory:", DB_WRITE, &db, NULL))
        return -1;
    *state = db;
    return 0;
}

static int tear_down(void **state) {
    db_close(*state);
    return 0;
}

static int apply(struct db *db, const struct migration *list, int count, struct err *err) {
    int applied = -1;
    err_clear(err);
    return migrate_apply(db, list, count, NOW_UTC_S, &applied, err) ? -1 : applied;
}

static bool has_table(struct db *db, const char *name) {
    struct statement *statement;
    assert_int_equal(
        db_prepare(db, "SELECT 1 FROM sqlite_master WHERE name = $1", &statement, NULL), 0);
    bind_text(statement, 1, name);
    bool has = statement_step(statement, NULL) == STEP_ROW;
    statement_done(statement);
    return has;
}

static void steps_are_applied_once(void **state) {
    struct db *db = *state;
    struct err err = {0};
    assert_int_equal(apply(db, steps, 2, &err), 2);
    assert_int_equal(apply(db, steps, 2, &err), 0);
    assert_false(has_table(db, "plum"));
    assert_int_equal(apply(db, steps, 3, &err), 1);
    assert_true(has_table(db, "plum"));
    assert_int_equal(migrate_verify(db, steps, 3, &err), 0);
}

static void changed_step_is_refused(void **state) {
    struct db *db = *state;
    struct err err = {0};
    struct migration changed[3];
    memcpy(changed, steps, sizeof changed);
    changed[1].sql = "CREATE TABLE pear (id BIGINT PRIMARY KEY); INSERT INTO pear VALUES (2)";
    assert_int_equal(apply(db, steps, 2, &err), 2);
    assert_int_equal(apply(db, changed, 3, &err), -1);
    assert_int_equal(err.code, ERR_STORAGE);
    assert_non_null(strstr(err.text, "2 (pears)"));
    assert_false(has_table(db, "plum"));
    err_clear(&err);
    assert_int_equal(migrate_verify(db, changed, 3, &err), -1);
}

static void forgotten_step_is_refused(void **state) {
    struct db *db = *state;
    struct err err = {0};
    assert_int_equal(apply(db, steps, 3, &err), 3);
    assert_int_equal(db_script(db, "DELETE FROM migration WHERE number = 2", &err), 0);
    assert_int_equal(apply(db, steps, 3, &err), -1);
    assert_non_null(strstr(err.text, "2 (pears)"));
}

static void newer_store_is_refused(void **state) {
    struct db *db = *state;
    struct err err = {0};
    assert_int_equal(apply(db, steps, 3, &err), 3);
    assert_int_equal(apply(db, steps, 2, &err), -1);
    assert_non_null(strstr(err.text, "newer"));
    assert_non_null(strstr(err.text, "3 (plums)"));
}

static void missing_step_is_seen(void **state) {
    struct db *db = *state;
    struct err err = {0};
    assert_int_equal(migrate_verify(db, steps, 3, &err), -1);
    assert_int_equal(apply(db, steps, 2, &err), 2);
    assert_int_equal(migrate_verify(db, steps, 3, &err), -1);
    assert_non_null(strstr(err.text, "3 (plums)"));
}

static void failing_step_leaves_nothing_of_itself(void **state) {
    struct db *db = *state;
    struct err err = {0};
    struct migration broken[3];
    memcpy(broken, steps, sizeof broken);
    broken[2].sql = "CREATE TABLE plum (id BIGINT PRIMARY KEY); INSERT INTO nowhere VALUES (1)";
    assert_int_equal(apply(db, broken, 3, &err), -1);
    assert_non_null(strstr(err.text, "3 (plums)"));
    assert_true(has_table(db, "pear"));
    assert_false(has_table(db, "plum"));
    assert_int_equal(apply(db, steps, 3, &err), 1);
}

static void our_own_steps_apply_to_an_empty_store(void **state) {
    struct db *db = *state;
    struct err err = {0};
    assert_true(migrations_count > 0);
    for (int i = 0; i < migrations_count; i++)
        assert_true(migrations[i].number > (i == 0 ? 0 : migrations[i - 1].number));
    assert_int_equal(apply(db, migrations, migrations_count, &err), migrations_count);
    assert_int_equal(migrate_verify(db, migrations, migrations_count, &err), 0);
}

/* Expected values: b2sum -l 256 of GNU coreutils. */
static void hash_is_blake2b_256(void **state) {
    static const struct {
        const char *text, *hash;
    } rows[] = {
        {"", "0e5751c026e543b2e8ab2eb06099daa1d1e5df47778f7787faab45cdf12fe3a8"},
        {"abc", "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char hash[HASH_HEX_MAX];
        hash_bytes(rows[i].text, strlen(rows[i].text), hash);
        assert_string_equal(hash, rows[i].hash);
    }
}

static void hash_of_parts_knows_where_they_end(void **state) {
    const struct hash_part one[] = {{"ab", 2}, {"c", 1}}, two[] = {{"a", 1}, {"bc", 2}};
    char first[HASH_HEX_MAX], second[HASH_HEX_MAX];
    (void)state;
    hash_parts(one, 2, first);
    hash_parts(two, 2, second);
    assert_string_not_equal(first, second);
}

/* Runs, and what refers to them, from before their tables were made anew. */
static void runs_outlive_a_new_table(void **state) {
    static const char rows[] =
        "INSERT INTO site VALUES (1, 'hill', 0);"
        "INSERT INTO credential (id, hash, role, site, name, created_utc_s) "
        "VALUES (1, 'h', 'school', 1, '', 0);"
        "INSERT INTO day (id, day, name, date, lon_tolerance_deg, min_separation_km, opened_utc_s) "
        "VALUES (1, 'spring', 'Spring', 20000, 1, 1, 0);"
        "INSERT INTO run VALUES (1, 1, 1, NULL, '{}', 5, 1, 'key-one', 'a', 'first');"
        "INSERT INTO run VALUES (2, 1, 1, 1, '{\"b\":2}', 6, 1, NULL, 'b', '');"
        "INSERT INTO withdrawal VALUES (2, 'why', 7, 1);"
        "INSERT INTO reduction VALUES (2, 1, 1, 0, 0, 'ok', 40, 3, 4e6, 1, 2, 3, 4, 5, 6, 'umbra', "
        "1000, 'solar', 11, 1, '{}');"
        "INSERT INTO audit VALUES (9, 7, 1, 'school', 'run.withdraw', 'runs/2', '')";
    static const struct {
        const char *sql, *text;
    } kept[] = {
        {"SELECT id || answer || idempotency_key FROM run WHERE supersedes IS NULL",
         "1firstkey-one"},
        {"SELECT id || body FROM run WHERE supersedes = 1", "2{\"b\":2}"},
        {"SELECT r.body || w.reason FROM withdrawal w JOIN run r ON r.id = w.run", "{\"b\":2}why"},
        {"SELECT run || estimator || used FROM reduction", "2solar11"},
        {"SELECT id || subject FROM audit", "9runs/2"},
        {"SELECT COUNT(*) FROM pragma_foreign_key_check", "0"},
    };
    struct db *db = *state;
    struct err err = {0};
    assert_true(migrations_count >= 8);
    assert_int_equal(apply(db, migrations, 7, &err), 7);
    assert_int_equal(db_script(db, rows, &err), 0);
    assert_int_equal(apply(db, migrations, migrations_count, &err), migrations_count - 7);
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++) {
        struct statement *statement;
        assert_int_equal(db_prepare(db, kept[i].sql, &statement, &err), 0);
        assert_int_equal(statement_step(statement, &err), STEP_ROW);
        assert_string_equal(column_text(statement, 0, NULL), kept[i].text);
        statement_done(statement);
    }
    /* References are held again. */
    assert_int_equal(db_script(db, "INSERT INTO withdrawal VALUES (4711, '', 7, 1)", NULL), -1);
    assert_int_equal(db_script(db, "DELETE FROM run WHERE id = 2", NULL), -1);
}

/* A step that leaves a reference without its row is not taken. */
static void loose_end_is_refused(void **state) {
    static const struct migration loose[] = {
        {1, "trees",
         "CREATE TABLE tree (id BIGINT PRIMARY KEY); INSERT INTO tree VALUES (1);"
         "CREATE TABLE fruit (tree BIGINT REFERENCES tree (id));"
         "INSERT INTO fruit VALUES (1)"},
        {2, "felled", "DELETE FROM tree"},
    };
    struct db *db = *state;
    struct err err = {0};
    assert_int_equal(apply(db, loose, 2, &err), -1);
    assert_int_equal(migrate_verify(db, loose, 1, &err), 0);
}

int main(void) {
#define MIGRATE_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        MIGRATE_TEST(steps_are_applied_once),
        MIGRATE_TEST(changed_step_is_refused),
        MIGRATE_TEST(forgotten_step_is_refused),
        MIGRATE_TEST(newer_store_is_refused),
        MIGRATE_TEST(missing_step_is_seen),
        MIGRATE_TEST(failing_step_leaves_nothing_of_itself),
        MIGRATE_TEST(our_own_steps_apply_to_an_empty_store),
        cmocka_unit_test(hash_is_blake2b_256),
        cmocka_unit_test(hash_of_parts_knows_where_they_end),
        MIGRATE_TEST(runs_outlive_a_new_table),
        MIGRATE_TEST(loose_end_is_refused),
    };
    return cmocka_run_group_tests_name("migrate", tests, NULL, NULL);
}
