/* SPDX-License-Identifier: MIT */
/* store failure: memory runs out inside the database at the first, the second,
 * ... request for it while a run is accepted. Every time the caller is told, the
 * store is as it was, and the connection is good for the next try. */
#include <setjmp.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/store_fixture.h"

/* The database's allocator with a fuse: -1 holds, 0 is blown. */
static struct sqlite3_mem_methods original;
static long fuse = -1;
static bool stays_blown;

static bool blows(void) {
    if (fuse < 0)
        return false;
    if (fuse == 0) {
        if (!stays_blown)
            fuse = -1;
        return true;
    }
    fuse--;
    return false;
}

static void *fused_malloc(int size) {
    return blows() ? NULL : original.xMalloc(size);
}

static void *fused_realloc(void *old, int size) {
    return blows() ? NULL : original.xRealloc(old, size);
}

static int install_fuse(void **state) {
    (void)state;
    struct sqlite3_mem_methods fused;
    sqlite3_shutdown();
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &original) != SQLITE_OK)
        return -1;
    fused = original;
    fused.xMalloc = fused_malloc;
    fused.xRealloc = fused_realloc;
    /* no look-aside memory: every request passes the fuse */
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &fused) == SQLITE_OK &&
                   sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0) == SQLITE_OK
               ? 0
               : -1;
}

static int write_answer(const struct accepted *accepted, struct text *out, struct err *err) {
    (void)err;
    text_format(out, "run %lld", (long long)accepted->run);
    return 0;
}

static int accept_once(struct fixture *f, const struct submission *submission, struct err *err) {
    static struct prepared prepared;
    struct text answer;
    bool replayed;
    int result = -1;
    text_init(&answer, ACCEPT_ANSWER_MAX);
    if (fixture_prepare(f, submission, &prepared, err) || db_begin(f->db, err))
        goto cleanup;
    if (accept_run(f->change, submission, &prepared, write_answer, &answer, &replayed, err) ||
        change_commit(f->change, err))
        db_rollback(f->db);
    else
        result = 0;
    change_forget(f->change);
cleanup:
    text_release(&answer);
    return result;
}

static void dump_all(struct fixture *f, struct text *out) {
    out->length = 0;
    fixture_dump_derived(f, out);
    fixture_dump(f, "SELECT id, answer FROM run", out);
}

static const struct place dale = {.lat_deg = 44.0, .lon_deg = 3.0, .elevation_m = 200.0};

static void set_scene(struct fixture *f) {
    fixture_open(f);
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", dale.lat_deg, dale.lon_deg);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "dale");
    fixture_run(f, "hill", "spring", 1, 0);
}

static void fail_in_turn(bool for_good) {
    static struct fixture fixture;
    struct fixture *f = &fixture;
    struct fixture_body body;
    struct text before, after;
    text_init(&before, 1u << 20);
    text_init(&after, 1u << 20);
    set_scene(f);
    fixture_body(&body, "dale", "spring", &dale, FIXTURE_DATE, 2, 0);
    const struct submission submission = {.caller = &f->organiser,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = "failing-key",
                                          .now_utc_s = FIXTURE_NOW_UTC_S};
    dump_all(f, &before);
    long failures = 0, spared = 0;
    for (long n = 0;; n++) {
        struct err err = {0};
        if (n % 7 == 0)
            fixture_reopen(f); /* statements are compiled anew, which can fail too */
        stays_blown = for_good;
        fuse = n;
        int result = accept_once(f, &submission, &err);
        bool untouched = fuse > 0;
        fuse = -1;
        assert_false(db_in_transaction(f->db));
        if (result == 0 && untouched)
            break;
        if (result == 0) {
            /* The database can do without some memory (a larger cache, say): then the
               run is in, and the next try must start from the same state. */
            spared++;
            fixture_close(f);
            set_scene(f);
            continue;
        }
        failures++;
        assert_true(err.code == ERR_STORAGE || err.code == ERR_INTERNAL);
        dump_all(f, &after);
        assert_string_equal(before.bytes, after.bytes);
    }
    print_message("%ld failures, %ld did no harm\n", failures, spared);
    assert_true(failures > 100 && failures > 10 * spared);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 2);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM reduction WHERE counts = 1"), 2);
    fixture_body_release(&body);
    fixture_close(f);
    text_release(&after);
    text_release(&before);
}

static void one_failure_changes_nothing(void **state) {
    (void)state;
    fail_in_turn(false);
}

static void lasting_failure_changes_nothing(void **state) {
    (void)state;
    fail_in_turn(true);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_failure_changes_nothing),
        cmocka_unit_test(lasting_failure_changes_nothing),
    };
    return cmocka_run_group_tests_name("store_failure", tests, install_fuse, NULL);
}
