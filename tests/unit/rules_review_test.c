/* SPDX-License-Identifier: MIT */
/* review: what is flagged, who may say what about a run, and what an exclusion does
 * to the figures: everywhere, at once, and through a rebuild. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/list.h"
#include "server/rules/pairs.h"
#include "server/rules/rebuild.h"
#include "server/rules/review.h"
#include "server/wire/board.h"
#include "tests/support/store_fixture.h"

static const struct {
    const char *site;
    double lat_deg;
} sites[] = {{"alba", 36.0}, {"brea", 40.0}, {"cima", 44.0}, {"duna", 48.0}, {"eria", 52.0}};
#define SITES (sizeof sites / sizeof *sites)

static int64_t runs[SITES];
static struct caller schools[SITES];

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    for (size_t i = 0; i < SITES; i++) {
        struct site_secrets secrets = fixture_site(&fixture, sites[i].site, sites[i].lat_deg, 3.0);
        schools[i] = fixture_caller(&fixture, secrets.school_key);
        fixture_join(&fixture, "spring", sites[i].site);
        runs[i] = fixture_run(&fixture, sites[i].site, "spring", 10 + i, 0);
        assert_true(runs[i] > 0);
    }
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

static int say(struct fixture *f, const struct caller *caller, int64_t run,
               enum review_verdict verdict, const char *reason) {
    struct review_record review = {.run = run, .verdict = verdict}, made;
    snprintf(review.reason, sizeof review.reason, "%s", reason);
    fixture_begin(f);
    return fixture_end(
        f, review_record(f->change, caller, &review, FIXTURE_NOW_UTC_S + 60.0, &made, &f->err));
}

static void assert_refused(struct fixture *f, const struct caller *caller, int64_t run,
                           enum review_verdict verdict, enum err_code code) {
    assert_int_equal(say(f, caller, run, verdict, "Because."), -1);
    assert_int_equal(f->err.code, code);
    err_clear(&f->err);
}

static struct review_page queue_of(struct fixture *f, const enum review_status *status) {
    struct review_page page;
    assert_int_equal(
        review_queue(f->db, f->almanac, &f->organiser, "spring", status, "", 100, &page, &f->err),
        0);
    return page;
}

static struct left_out_counts counts_of(struct fixture *f, struct board *board) {
    struct left_out_counts counts;
    assert_int_equal(fixture_board(f, "spring", 100, board, &counts), 0);
    return counts;
}

static void rights(void **state) {
    struct fixture *f = *state;
    const struct caller anyone = {.role = ROLE_ANYONE};
    struct review_page page;
    assert_refused(f, &anyone, runs[0], REVIEW_EXCLUDE, ERR_WRONG_KEY);
    assert_refused(f, &schools[0], runs[0], REVIEW_EXCLUDE, ERR_WRONG_KEY);
    assert_refused(f, &schools[0], runs[0], REVIEW_ACCEPT, ERR_WRONG_KEY);
    assert_refused(f, &schools[0], runs[0], REVIEW_ASK, ERR_WRONG_KEY);
    assert_refused(f, &schools[1], runs[0], REVIEW_ANSWER, ERR_WRONG_KEY);
    assert_refused(f, &schools[0], runs[0], REVIEW_ANSWER, ERR_NOTHING_ASKED);
    assert_refused(f, &f->organiser, 999, REVIEW_EXCLUDE, ERR_NOT_FOUND);
    assert_int_equal(
        review_queue(f->db, f->almanac, &schools[0], "spring", NULL, "", 10, &page, &f->err), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM review"), 0);
}

static void asked_and_answered(void **state) {
    struct fixture *f = *state;
    struct review_record *said;
    size_t count;
    assert_int_equal(say(f, &f->organiser, runs[0], REVIEW_ASK, "Was the ground level?"), 0);
    struct review_page page = queue_of(f, NULL);
    assert_int_equal(page.count, 1);
    assert_int_equal(page.items[0].status, REVIEW_ASKED);
    assert_true(page.items[0].counts); /* a question takes nothing away */
    review_page_release(&page);
    assert_int_equal(say(f, &schools[0], runs[0], REVIEW_ANSWER, "It was, by spirit level."), 0);
    const enum review_status answered = REVIEW_ANSWERED, asked = REVIEW_ASKED;
    page = queue_of(f, &answered);
    assert_int_equal(page.count, 1);
    assert_int_equal(page.items[0].reviews, 2);
    assert_string_equal(page.items[0].review[1].by, "school");
    review_page_release(&page);
    page = queue_of(f, &asked);
    assert_int_equal(page.count, 0);
    review_page_release(&page);

    /* The two of them see what was said; the public does not, until there is a verdict. */
    const struct caller anyone = {.role = ROLE_ANYONE};
    const struct caller *seeing[] = {&f->organiser, &schools[0], &schools[1], &anyone};
    const size_t before[] = {2, 2, 0, 0};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(review_list(f->db, seeing[i], runs[0], &said, &count, &f->err), 0);
        assert_int_equal(count, before[i]);
        free(said);
    }
    assert_int_equal(say(f, &f->organiser, runs[0], REVIEW_ACCEPT, "The school looked."), 0);
    assert_int_equal(review_list(f->db, &anyone, runs[0], &said, &count, &f->err), 0);
    assert_int_equal(count, 1);
    assert_string_equal(said[0].reason, "The school looked.");
    free(said);
}

static void an_exclusion_reaches_every_figure(void **state) {
    struct fixture *f = *state;
    struct board board;
    struct pair_page pairs;
    char *json;
    struct left_out_counts counts = counts_of(f, &board);
    assert_int_equal(board.honesty_count, SITES);
    assert_int_equal(counts.excluded, 0);
    board_release(&board);
    assert_int_equal(say(f, &f->organiser, runs[2], REVIEW_EXCLUDE, "The pole leaned."), 0);

    counts = counts_of(f, &board);
    assert_int_equal(counts.excluded, 1);
    assert_int_equal(counts.unusable, 0);
    assert_int_equal(board.honesty_count, SITES - 1);
    for (size_t i = 0; i < board.pairs_count; i++)
        assert_true(strcmp(board.pairs[i].site1, "cima") != 0 &&
                    strcmp(board.pairs[i].site2, "cima") != 0);
    board_release(&board);
    assert_int_equal(fixture_pairs(f, "spring", "", LIST_LIMIT_ALL, &pairs), 0);
    for (size_t i = 0; i < pairs.count; i++)
        assert_true(strcmp(pairs.items[i].site1, "cima") != 0 &&
                    strcmp(pairs.items[i].site2, "cima") != 0);
    pair_page_release(&pairs);
    assert_int_equal(fixture_result(f, "spring", &json), 0);
    assert_non_null(strstr(json, "\"left_out_counts\":{\"excluded\":1,"));
    assert_non_null(strstr(json, "\"reason\":\"The pole leaned.\""));
    assert_non_null(strstr(json, "\"sites\":4,"));
    free(json);

    /* The newest verdict holds; nothing is deleted. */
    assert_int_equal(say(f, &f->organiser, runs[2], REVIEW_ACCEPT, "Plumbed again: upright."), 0);
    counts = counts_of(f, &board);
    assert_int_equal(counts.excluded, 0);
    assert_int_equal(board.honesty_count, SITES);
    board_release(&board);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM review"), 2);
}

struct rebuilding {
    struct rebuild_counts counts;
};

static int work(struct change *change, void *context) {
    struct rebuilding *rebuilding = context;
    return rebuild_all(change, &rebuilding->counts, NULL);
}

static void a_rebuild_keeps_it_out(void **state) {
    struct fixture *f = *state;
    struct text before, after;
    struct rebuilding rebuilding;
    text_init(&before, 1u << 20);
    text_init(&after, 1u << 20);
    assert_int_equal(say(f, &f->organiser, runs[1], REVIEW_EXCLUDE, "The clock stood."), 0);
    assert_int_equal(say(f, &f->organiser, runs[3], REVIEW_EXCLUDE, "A tree's shadow."), 0);
    assert_int_equal(say(f, &f->organiser, runs[3], REVIEW_ACCEPT, "No, the pole's."), 0);
    fixture_dump_derived(f, &before);
    assert_int_equal(change_alone(f->change, work, &rebuilding, &f->err), 0);
    fixture_dump_derived(f, &after);
    assert_string_equal(before.bytes, after.bytes);
    assert_int_equal(fixture_count(f, "SELECT SUM(counts) FROM reduction"), SITES - 1);
    text_release(&before);
    text_release(&after);
}

static void a_correction_starts_afresh(void **state) {
    struct fixture *f = *state;
    struct board board;
    assert_int_equal(say(f, &f->organiser, runs[4], REVIEW_EXCLUDE, "Wrong gnomon."), 0);
    int64_t corrected = fixture_run(f, "eria", "spring", 77, runs[4]);
    assert_true(corrected > 0);
    struct left_out_counts counts = counts_of(f, &board);
    assert_int_equal(counts.excluded, 0);
    assert_int_equal(board.honesty_count, SITES);
    board_release(&board);
    assert_refused(f, &f->organiser, runs[4], REVIEW_ACCEPT, ERR_RUN_NOT_CURRENT);
    struct review_page page = queue_of(f, NULL);
    for (size_t i = 0; i < page.count; i++)
        assert_int_not_equal(page.items[i].run, runs[4]);
    review_page_release(&page);
}

/* One digit wrong flags the run, and being far off the line of the others flags it too. */
static void flags_say_why(void **state) {
    struct fixture *f = *state;
    struct fixture_body body;
    const struct place wrong_place = {41.1, 3.0, 0.0}; /* 1.1 degrees from where brea is */
    fixture_body(&body, "brea", "spring", &wrong_place, FIXTURE_DATE, 5, runs[1]);
    assert_true(fixture_send(f, &f->organiser, &body, "flags-one", NULL) > 0);
    fixture_body_release(&body);
    const enum review_status open = REVIEW_OPEN;
    struct review_page page = queue_of(f, &open);
    assert_int_equal(page.count, 1);
    assert_string_equal(page.items[0].site, "brea");
    const struct flag_record *last = &page.items[0].flag[page.items[0].flags - 1];
    char words[FLAG_WORDS_MAX + 1];
    assert_int_equal(last->flag, FLAG_OFF_THE_LINE);
    assert_true(fabs(last->residual_deg) > 0.5 && last->apart_sigma > 3.0);
    flag_words(last, words);
    assert_non_null(strstr(words, "off the line"));
    review_page_release(&page);
    /* Left out by an organiser it is off the list of strays, but not off the queue. */
    struct review_page all;
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM reduction WHERE is_current = 1"),
                     SITES);
    int64_t run = fixture_count(f, "SELECT MAX(run) FROM reduction");
    assert_int_equal(say(f, &f->organiser, run, REVIEW_EXCLUDE, "Position and angle disagree."), 0);
    all = queue_of(f, NULL);
    assert_int_equal(all.count, 1);
    assert_int_equal(all.items[0].status, REVIEW_EXCLUDED);
    assert_false(all.items[0].counts);
    review_page_release(&all);
}

static void bodies(void **state) {
    (void)state;
    struct review_record review = {0};
    struct err err = {0};
    static const struct {
        const char *json;
        enum err_code code;
        const char *field;
    } refused[] = {
        {"{\"verdict\":\"exclude\"}", ERR_MISSING_FIELD, "/reason"},
        {"{\"reason\":\"x\"}", ERR_MISSING_FIELD, "/verdict"},
        {"{\"verdict\":\"delete\",\"reason\":\"x\"}", ERR_OUT_OF_RANGE, "/verdict"},
        {"{\"verdict\":\"ask\",\"reason\":\"\"}", ERR_OUT_OF_RANGE, "/reason"},
        {"{\"verdict\":\"ask\",\"reason\":\"a\\u0007b\"}", ERR_BAD_TEXT, "/reason"},
        {"{\"verdict\":\"ask\",\"reason\":\"x\",\"by\":\"me\"}", ERR_UNKNOWN_FIELD, "/by"},
        {"{\"verdict\":4,\"reason\":\"x\"}", ERR_WRONG_TYPE, "/verdict"},
        {"[]", ERR_WRONG_TYPE, ""},
    };
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        assert_int_equal(review_read(refused[i].json, strlen(refused[i].json), &review, &err), -1);
        assert_int_equal(err.code, refused[i].code);
        assert_string_equal(err.field, refused[i].field);
        err_clear(&err);
    }
    const char *good = "{\"verdict\":\"accept\",\"reason\":\"Fine.\"}";
    assert_int_equal(review_read(good, strlen(good), &review, &err), 0);
    assert_int_equal(review.verdict, REVIEW_ACCEPT);
    assert_string_equal(review.reason, "Fine.");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(rights, set_up, tear_down),
        cmocka_unit_test_setup_teardown(asked_and_answered, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_exclusion_reaches_every_figure, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_rebuild_keeps_it_out, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_correction_starts_afresh, set_up, tear_down),
        cmocka_unit_test_setup_teardown(flags_say_why, set_up, tear_down),
        cmocka_unit_test(bodies),
    };
    return cmocka_run_group_tests_name("rules review", tests, NULL, NULL);
}
