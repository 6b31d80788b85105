/* SPDX-License-Identifier: MIT */
/* moved: what a reader checked at a moment holds until something moves; and the writer
 * asks the store again exactly when it does not. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/known_days.h"
#include "server/rules/moved.h"
#include "tests/support/store_fixture.h"

#define RUNS 4

static void a_moment_is_before_or_after(void **state) {
    struct moved *moved = moved_new();
    (void)state;
    assert_non_null(moved);
    assert_false(moved_since(moved, 0));
    moved_enter(moved, 6);
    assert_true(moved_since(moved, 5));
    assert_false(moved_since(moved, 6));
    moved_free(moved);
}

/* all: something else than runs moves in the same commit. */
static int64_t statements_of(struct fixture *f, const struct submission *submission,
                             struct prepared *prepared, bool all, int result) {
    struct text answer;
    bool replayed;
    text_init(&answer, ACCEPT_ANSWER_MAX);
    struct err *err = all ? fixture_begin(f) : fixture_begin_run(f);
    int64_t before = db_counts(f->db).statements;
    int got = accept_run(f->change, submission, prepared, NULL, &answer, &replayed, err);
    int64_t asked = db_counts(f->db).statements - before;
    assert_int_equal(fixture_end(f, got), result);
    text_release(&answer);
    return asked;
}

/* Runs of three sites that were looked at before any was written: the second need not be
 * looked at again, the third one must, because more moved. A second one of a site is
 * looked at again and refused. */
static void only_what_moved_is_asked_again(void **state) {
    static const char *const sites[] = {"hill", "dale", "moor", "hill"};
    static const double lat_deg[] = {40.0, 44.0, 48.0, 40.0};
    static const int results[] = {0, 0, 0, -1};
    struct fixture *f = *state;
    static struct prepared prepared[RUNS];
    struct fixture_body body[RUNS];
    struct submission submission[RUNS];
    int64_t asked[RUNS];
    fixture_day(f, "spring", FIXTURE_DATE);
    for (int i = 0; i < RUNS - 1; i++) {
        fixture_site(f, sites[i], lat_deg[i], 3.0);
        fixture_join(f, "spring", sites[i]);
    }
    for (int i = 0; i < RUNS; i++) {
        const struct place place = {lat_deg[i], 3.0, 200.0, 0.0};
        static char key[RUNS][16];
        snprintf(key[i], sizeof key[i], "run-%d-is-here", i);
        fixture_body(&body[i], sites[i], "spring", &place, FIXTURE_DATE, (uint64_t)i + 1, 0);
        submission[i] = (struct submission){.caller = &f->organiser,
                                            .run = &body[i].run,
                                            .body = body[i].text.bytes,
                                            .body_length = body[i].text.length,
                                            .idempotency_key = key[i],
                                            .now_utc_s = FIXTURE_NOW_UTC_S};
        assert_int_equal(fixture_prepare(f, &submission[i], &prepared[i], &f->err), 0);
    }
    for (int i = 0; i < RUNS; i++) {
        asked[i] = statements_of(f, &submission[i], &prepared[i], i == 2, results[i]);
        fixture_body_release(&body[i]);
    }
    assert_int_equal(f->err.code, ERR_RUN_EXISTS);
    assert_int_equal(asked[1], asked[0]);
    assert_true(asked[2] > asked[1]);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 3);
}

static void a_day_is_known_until_it_changes(void **state) {
    struct fixture *f = *state;
    struct day_row row;
    struct book_view view = {.db = f->db, .book = f->book, .moment = book_moment(f->book)};
    fixture_day(f, "spring", FIXTURE_DATE);
    view.moment = book_moment(f->book);
    assert_int_equal(known_day(&view, "spring", &row, &f->err), 0);
    int64_t before = db_counts(f->db).statements;
    assert_int_equal(known_day(&view, "spring", &row, &f->err), 0);
    assert_string_equal(row.record.day, "spring");
    assert_int_equal(db_counts(f->db).statements, before);
    fixture_day(f, "autumn", "2027-09-23");
    assert_int_equal(known_day(&view, "spring", &row, &f->err), 0);
    assert_true(db_counts(f->db).statements > before);
    assert_int_equal(known_day(&view, "winter", &row, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_moment_is_before_or_after),
        cmocka_unit_test_setup_teardown(only_what_moved_is_asked_again, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_day_is_known_until_it_changes, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("moved", tests, NULL, NULL);
}
