/* SPDX-License-Identifier: MIT */
/* board: places, ties, and how the tables hang together with the pairs. The
 * figures of a standing itself are judged in standing_test.c. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/pairs.h"
#include "server/wire/board.h"
#include "tests/support/store_fixture.h"

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

static void take_part(struct fixture *f, const char *site, double lat_deg, uint64_t seed) {
    fixture_site(f, site, lat_deg, 3.0);
    fixture_join(f, "spring", site);
    assert_true(fixture_run(f, site, "spring", seed, 0) > 0);
}

static struct board board_of(struct fixture *f, size_t limit) {
    struct board board;
    struct left_out_counts left_out;
    assert_int_equal(fixture_board(f, "spring", limit, &board, &left_out), 0);
    return board;
}

static void empty_day_has_an_empty_board(void **state) {
    struct fixture *f = *state;
    struct left_out_counts left_out;
    struct board board = board_of(f, 100);
    char *json;
    assert_int_equal(board.pairs_count + board.sites_count + board.honesty_count, 0);
    board_release(&board);
    assert_int_equal(fixture_result(f, "spring", &json), 0);
    assert_non_null(strstr(json, "too_few"));
    free(json);
    assert_int_equal(fixture_board(f, "autumn", 100, &board, &left_out), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    err_clear(&f->err);
    assert_int_equal(fixture_result(f, "autumn", &json), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void one_pair_stands_the_same_in_both_tables(void **state) {
    struct fixture *f = *state;
    take_part(f, "hill", 40.0, 1);
    take_part(f, "dale", 44.0, 2);
    struct board board = board_of(f, 100);
    assert_int_equal(board.pairs_count, 1);
    assert_int_equal(board.sites_count, 2);
    assert_string_equal(board.sites[0].site, "dale");
    for (size_t i = 0; i < 2; i++) {
        assert_true(fabs(board.sites[i].circumference_km - board.pairs[0].circumference_km) < 1e-6);
        assert_int_equal(board.sites[i].partners, 1);
        /* the shared habit is not taken out here: no smaller than the pair's sigma */
        assert_true(board.sites[i].sigma_km >= board.pairs[0].sigma_km);
        assert_true(board.sites[i].sigma_km < 2.0 * board.pairs[0].sigma_km);
    }
    board_release(&board);
}

static void places_go_by_error(void **state) {
    struct fixture *f = *state;
    static const char *const names[] = {"a", "b", "c", "d", "e"};
    for (size_t i = 0; i < 5; i++)
        take_part(f, names[i], 36.0 + 3.0 * (double)i, 20 + i);
    struct board board = board_of(f, 100);
    assert_int_equal(board.pairs_count, 10);
    assert_int_equal(board.sites_count, 5);
    assert_int_equal(board.honesty_count, 5);
    assert_int_equal(board.pairs[0].place, 1);
    for (size_t i = 1; i < board.pairs_count; i++) {
        double before = fabs(board.pairs[i - 1].circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
        double error = fabs(board.pairs[i].circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
        assert_true(error >= before);
        assert_int_equal(board.pairs[i].place, (int)i + 1);
    }
    for (size_t i = 1; i < board.sites_count; i++)
        assert_true(fabs(board.sites[i].circumference_km - MERIDIAN_CIRCUMFERENCE_KM) >=
                    fabs(board.sites[i - 1].circumference_km - MERIDIAN_CIRCUMFERENCE_KM));
    for (size_t i = 0; i < board.honesty_count; i++) {
        const struct honesty_record *row = &board.honesty[i];
        double z = row->error_deg / row->sigma_deg;
        assert_true(fabs(row->error_deg) < 0.5); /* made with errors of a few hundredths */
        assert_true(fabs(row->score - (log(row->sigma_deg) + z * z / 2.0)) < 1e-12);
        assert_true(i == 0 || row->score >= board.honesty[i - 1].score);
    }
    board_release(&board);
    board = board_of(f, 2);
    assert_int_equal(board.pairs_count, 2);
    assert_int_equal(board.sites_count, 2);
    assert_int_equal(board.honesty_count, 2);
    board_release(&board);
}

/* Twins: one place and the same readings, so the same figures. */
static void equals_share_a_place(void **state) {
    struct fixture *f = *state;
    take_part(f, "twin-a", 40.0, 1);
    take_part(f, "twin-b", 40.0, 1);
    take_part(f, "dale", 44.0, 2);
    struct board board = board_of(f, 100);
    assert_int_equal(board.pairs_count, 2);
    assert_int_equal(board.pairs[0].place, 1);
    assert_int_equal(board.pairs[1].place, 1);
    assert_string_equal(board.pairs[0].site2, "twin-a");
    assert_string_equal(board.pairs[1].site2, "twin-b");
    int twins[2] = {0, 0}, n = 0;
    for (size_t i = 0; i < board.honesty_count; i++)
        if (strncmp(board.honesty[i].site, "twin", 4) == 0)
            twins[n++] = board.honesty[i].place;
    assert_int_equal(twins[0], twins[1]);
    board_release(&board);
}

/* Closer than the day's minimum: kept and shown with its status, but it earns nothing. */
static void pairs_that_do_not_count_are_not_ranked(void **state) {
    struct fixture *f = *state;
    struct pair_page page;
    take_part(f, "hill", 40.0, 1);
    take_part(f, "knoll", 40.3, 2);
    struct board board = board_of(f, 100);
    assert_int_equal(board.pairs_count, 0);
    assert_int_equal(board.sites_count, 0);
    assert_int_equal(board.honesty_count, 2);
    board_release(&board);
    assert_int_equal(fixture_pairs(f, "spring", "", 10, &page), 0);
    assert_int_equal(page.count, 1);
    assert_int_equal(page.items[0].pair.status, PAIR_TOO_CLOSE);
    pair_page_release(&page);
}

static void pairs_are_paged(void **state) {
    struct fixture *f = *state;
    static const char *const names[] = {"a", "a-b", "b", "c"};
    struct pair_page page;
    char next[sizeof page.next] = "", last[2 * ID_MAX + 2] = "";
    size_t seen = 0;
    for (size_t i = 0; i < 4; i++)
        take_part(f, names[i], 36.0 + 3.0 * (double)i, 20 + i);
    do {
        assert_int_equal(fixture_pairs(f, "spring", next, 2, &page), 0);
        for (size_t i = 0; i < page.count; i++, seen++) {
            char name[2 * ID_MAX + 2];
            assert_true(strcmp(page.items[i].site1, page.items[i].site2) < 0);
            snprintf(name, sizeof name, "%s/%s", page.items[i].site1, page.items[i].site2);
            assert_string_not_equal(name, last);
            memcpy(last, name, sizeof last);
        }
        memcpy(next, page.next, sizeof next);
        pair_page_release(&page);
    } while (next[0] != '\0');
    assert_int_equal(seen, 6);
    static const char *const wrong[] = {"a", "/", "a/", "a/b/c", "a/ b"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        err_clear(&f->err);
        assert_int_equal(fixture_pairs(f, "spring", wrong[i], 2, &page), -1);
        assert_int_equal(f->err.code, ERR_BAD_QUERY);
    }
}

/* Result and leaderboard, every bit of them. */
static char *told_of(struct fixture *f) {
    struct board board = board_of(f, 100);
    struct json_writer json;
    struct text text;
    char *result;
    assert_int_equal(fixture_result(f, "spring", &result), 0);
    text_init(&text, 1 << 20);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    board_write(&json, &board);
    json_write_end(&json);
    text_put(&text, result);
    free(result);
    board_release(&board);
    char *told = text_take(&text);
    assert_non_null(told);
    return told;
}

/* As a book that has just read the store tells them. */
static void assert_as_read_anew(struct fixture *f) {
    struct book *kept = f->book;
    char *told = told_of(f);
    f->book = book_new();
    assert_non_null(f->book);
    char *anew = told_of(f);
    book_free(f->book);
    f->book = kept;
    assert_string_equal(told, anew);
    free(told);
    free(anew);
}

/* Runs, corrections, withdrawals and other places enter the book one by one; after each
 * it says what a look at the whole store says, to the last digit. */
static void steps_come_to_the_same_as_a_look_at_all(void **state) {
    struct fixture *f = *state;
    int64_t run[8] = {0};
    for (int i = 0; i < 8; i++) {
        char site[8];
        snprintf(site, sizeof site, "s%d", 7 - i);
        fixture_site(f, site, 36.0 + 1.7 * i, 3.0 + 0.1 * i);
        fixture_join(f, "spring", site);
        run[i] = fixture_run(f, site, "spring", 40u + (uint64_t)i, 0);
        assert_true(run[i] > 0);
        assert_as_read_anew(f);
    }
    run[2] = fixture_run(f, "s5", "spring", 90, run[2]);
    assert_true(run[2] > 0);
    assert_as_read_anew(f);
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, accept_withdraw(f->change, &f->organiser, run[4], "moved",
                                                    FIXTURE_NOW_UTC_S, err)),
                     0);
    assert_as_read_anew(f);
    /* What is undone was never there. */
    err = fixture_begin(f);
    assert_int_equal(accept_withdraw(f->change, &f->organiser, run[5], "", FIXTURE_NOW_UTC_S, err),
                     0);
    err_set(err, ERR_BUSY, NULL, "undone");
    assert_int_equal(fixture_end(f, -1), -1);
    assert_as_read_anew(f);
}

int main(void) {
#define BOARD_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        BOARD_TEST(empty_day_has_an_empty_board),
        BOARD_TEST(one_pair_stands_the_same_in_both_tables),
        BOARD_TEST(places_go_by_error),
        BOARD_TEST(equals_share_a_place),
        BOARD_TEST(pairs_that_do_not_count_are_not_ranked),
        BOARD_TEST(pairs_are_paged),
        BOARD_TEST(steps_come_to_the_same_as_a_look_at_all),
    };
    return cmocka_run_group_tests_name("rules_board", tests, NULL, NULL);
}
