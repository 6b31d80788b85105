/* SPDX-License-Identifier: MIT */
/* accept: what is refused, with which code; what is recorded; that a retried
 * submission gets its first answer, also after a restart; and that corrections
 * and withdrawals move pairs and results. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/rules/days.h"
#include "server/rules/pairs.h"
#include "server/rules/runs.h"
#include "server/wire/board.h"
#include "tests/support/store_fixture.h"

static const struct place hill_place = {.lat_deg = 40.0, .lon_deg = 3.0, .elevation_m = 200.0};

struct scene {
    struct fixture fixture;
    struct site_secrets hill, dale;
    struct caller class, school;
};

static int set_up(void **state) {
    static struct scene scene;
    fixture_open(&scene.fixture);
    scene.hill = fixture_site(&scene.fixture, "hill", hill_place.lat_deg, hill_place.lon_deg);
    scene.dale = fixture_site(&scene.fixture, "dale", 44.0, 3.2);
    fixture_day(&scene.fixture, "spring", FIXTURE_DATE);
    fixture_join(&scene.fixture, "spring", "hill");
    fixture_join(&scene.fixture, "spring", "dale");
    scene.class = fixture_caller(&scene.fixture, scene.hill.class_code);
    scene.school = fixture_caller(&scene.fixture, scene.hill.school_key);
    *state = &scene;
    return 0;
}

static int tear_down(void **state) {
    struct scene *scene = *state;
    fixture_close(&scene->fixture);
    return 0;
}

static size_t pairs_of(struct fixture *f, const char *day) {
    struct pair_page page;
    assert_int_equal(fixture_pairs(f, day, "", LIST_LIMIT_ALL, &page), 0);
    size_t count = page.count;
    pair_page_release(&page);
    return count;
}

static char *result_of(struct fixture *f, const char *day) {
    char *json;
    assert_int_equal(fixture_result(f, day, &json), 0);
    return json;
}

static void run_is_recorded_as_sent(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    struct run_view view;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    text_put(&body.text, " \n "); /* blanks after the object are the sender's too */
    int64_t run = fixture_send(f, &scene->class, &body, "first-key", NULL);
    assert_true(run > 0);
    assert_int_equal(run_get(f->db, f->almanac, run, &view, &f->err), 0);
    assert_int_equal(view.body_length, body.text.length);
    assert_memory_equal(view.body, body.text.bytes, body.text.length);
    assert_string_equal(view.site, "hill");
    assert_string_equal(view.day, "spring");
    assert_true(view.submitted_utc_s == FIXTURE_NOW_UTC_S + 50000.0);
    assert_true(view.supersedes == 0 && view.superseded_by == 0 && isnan(view.withdrawn_utc_s));
    assert_non_null(strstr(view.reduction_json, "\"noon_angle_deg\""));
    run_view_release(&view);
    fixture_body_release(&body);
    assert_int_equal(run_get(f->db, f->almanac, run + 1, &view, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void retry_gets_the_first_answer(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body, other;
    struct fixture_answer first, again;
    fixture_run(f, "dale", "spring", 7, 0);
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    int64_t run = fixture_send(f, &scene->class, &body, "first-key", &first);
    assert_true(run > 0 && !first.replayed);
    assert_non_null(strstr(first.text, "dale-hill"));
    /* what happens since does not change the answer, nor does a restart */
    assert_true(fixture_run(f, "dale", "spring", 8, 1) > 0);
    fixture_reopen(f);
    assert_true(fixture_send(f, &scene->class, &body, "first-key", &again) == run);
    assert_true(again.replayed);
    assert_string_equal(again.text, first.text);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 3);
    /* another body under the key, one with a blank more, and the same body for another day */
    fixture_body(&other, "hill", "spring", &hill_place, FIXTURE_DATE, 2, 0);
    assert_true(fixture_send(f, &scene->class, &other, "first-key", NULL) == 0);
    assert_int_equal(f->err.code, ERR_KEY_REUSED);
    fixture_body_release(&other);
    other = body;
    memcpy(other.run.day, "summer", sizeof "summer");
    assert_true(fixture_send(f, &scene->class, &other, "first-key", NULL) == 0);
    assert_int_equal(f->err.code, ERR_KEY_REUSED);
    text_put(&body.text, " ");
    assert_true(fixture_send(f, &scene->class, &body, "first-key", NULL) == 0);
    assert_int_equal(f->err.code, ERR_KEY_REUSED);
    /* another caller's key of the same letters is another key */
    assert_true(fixture_send(f, &scene->school, &body, "first-key", NULL) == 0);
    assert_int_equal(f->err.code, ERR_RUN_EXISTS);
    fixture_body_release(&body);
}

/* An answer lost on its way is asked for again when the day may be closed to the site, the run
 * corrected, or withdrawn: it is the first answer still, and another body is refused. */
static void retry_is_answered_whatever_has_changed(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body first, second, other;
    struct fixture_answer answer, again;
    fixture_body(&first, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    int64_t run = fixture_send(f, &scene->class, &first, "first-key", &answer);
    assert_true(run > 0);
    fixture_body(&second, "hill", "spring", &hill_place, FIXTURE_DATE, 2, run);
    int64_t correction = fixture_send(f, &scene->class, &second, "second-key", NULL);
    assert_true(correction > run);
    fixture_body(&other, "hill", "spring", &hill_place, FIXTURE_DATE, 3, 0);
    for (int step = 0; step < 3; step++) {
        if (step == 1) {
            struct err *err = fixture_begin(f);
            assert_int_equal(fixture_end(f, accept_withdraw(f->change, &scene->school, correction,
                                                            "", FIXTURE_NOW_UTC_S, err)),
                             0);
        } else if (step == 2) {
            struct err *err = fixture_begin(f);
            assert_int_equal(fixture_end(f, day_leave(f->change, &scene->school, "spring", "hill",
                                                      FIXTURE_NOW_UTC_S, err)),
                             0);
        }
        assert_true(fixture_send(f, &scene->class, &first, "first-key", &again) == run);
        assert_true(again.replayed);
        assert_string_equal(again.text, answer.text);
        assert_true(fixture_send(f, &scene->class, &second, "second-key", &again) == correction);
        assert_true(again.replayed);
        assert_true(fixture_send(f, &scene->class, &other, "first-key", NULL) == 0);
        assert_int_equal(f->err.code, ERR_KEY_REUSED);
    }
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 2);
    fixture_body_release(&first);
    fixture_body_release(&second);
    fixture_body_release(&other);
}

/* Two requests with one key may both have been prepared before either is written. */
static void race_of_one_key_ends_in_one_run(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    struct fixture_answer first;
    static struct prepared prepared;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    const struct submission submission = {.caller = &scene->class,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = "first-key",
                                          .now_utc_s = FIXTURE_NOW_UTC_S};
    assert_int_equal(fixture_prepare(f, &submission, &prepared, &f->err), 0);
    assert_false(prepared.replay);
    int64_t run = fixture_send(f, &scene->class, &body, "first-key", &first);
    assert_true(run > 0);
    struct text answer;
    bool replayed = false;
    text_init(&answer, ACCEPT_ANSWER_MAX);
    struct err *err = fixture_begin_run(f);
    assert_int_equal(fixture_end(f, accept_run(f->change, &submission, &prepared, NULL, &answer,
                                               &replayed, err)),
                     0);
    assert_true(replayed);
    assert_string_equal(answer.bytes, first.text);
    text_release(&answer);
    fixture_body_release(&body);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 1);
}

/* A site revised between the two halves: what is kept belongs to the new place,
 * and what does not fit there is refused after all. */
static void revision_between_the_halves_counts(void **state) {
    static const struct {
        double lat_deg;
        int result;
        enum err_code code;
    } rows[] = {{52.0, -1, ERR_IMPLAUSIBLE}, {40.001, 0, ERR_NONE}};
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    struct site_record kept;
    static struct prepared prepared;
    bool replayed;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    const struct submission submission = {.caller = &scene->class,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = "first-key",
                                          .now_utc_s = FIXTURE_NOW_UTC_S};
    assert_int_equal(fixture_prepare(f, &submission, &prepared, &f->err), 0);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct site_record moved = fixture_site_record("hill", rows[i].lat_deg, 3.0);
        struct prepared copy = prepared;
        struct text answer;
        struct err *err = fixture_begin(f);
        assert_int_equal(fixture_end(f, site_revise(f->change, &scene->school, &moved,
                                                    FIXTURE_NOW_UTC_S, &kept, err)),
                         0);
        text_init(&answer, ACCEPT_ANSWER_MAX);
        err = fixture_begin_run(f);
        assert_int_equal(fixture_end(f, accept_run(f->change, &submission, &copy, NULL, &answer,
                                                   &replayed, err)),
                         rows[i].result);
        assert_int_equal(f->err.code, rows[i].code);
        text_release(&answer);
    }
    fixture_body_release(&body);
    struct text dump;
    text_init(&dump, 1000);
    fixture_dump(f, "SELECT lat_deg FROM reduction", &dump);
    assert_true(strtod(dump.bytes, NULL) == 40.001);
    text_release(&dump);
}

static void send_refused(struct scene *scene, const struct caller *caller,
                         const struct fixture_body *body, enum err_code code, const char *field) {
    struct fixture *f = &scene->fixture;
    int64_t before = fixture_count(f, "SELECT COUNT(*) FROM run");
    assert_true(fixture_send(f, caller, body, "refused-key", NULL) == 0);
    if (f->err.code != code)
        fail_msg("%s instead of %s: %s", err_name(f->err.code), err_name(code), f->err.text);
    assert_string_equal(f->err.field, field);
    assert_true(fixture_count(f, "SELECT COUNT(*) FROM run") == before);
}

static void callers_without_a_right_are_refused(void **state) {
    struct scene *scene = *state;
    struct fixture_body body;
    struct caller anyone = fixture_caller(&scene->fixture, NULL);
    struct caller other = fixture_caller(&scene->fixture, scene->dale.class_code);
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    send_refused(scene, &anyone, &body, ERR_WRONG_KEY, "");
    send_refused(scene, &other, &body, ERR_WRONG_KEY, "");
    fixture_body_release(&body);
}

static void site_must_take_part(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_leave(f->change, &scene->school, "spring", "hill",
                                              FIXTURE_NOW_UTC_S, err)),
                     0);
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    send_refused(scene, &scene->class, &body, ERR_NOT_TAKING_PART, "");
    snprintf(body.run.day, sizeof body.run.day, "autumn");
    send_refused(scene, &scene->class, &body, ERR_NOT_FOUND, "");
    fixture_body_release(&body);
}

static void other_dates_are_refused(void **state) {
    struct scene *scene = *state;
    struct fixture_body body;
    static const char *const dates[] = {"2027-03-20", "2027-03-22", "2028-03-21", "2027-09-23"};
    for (size_t i = 0; i < sizeof dates / sizeof *dates; i++) {
        fixture_body(&body, "hill", "spring", &hill_place, dates[i], 1, 0);
        send_refused(scene, &scene->class, &body, ERR_WRONG_DAY, "/readings");
        assert_non_null(strstr(scene->fixture.err.text, dates[i]));
        fixture_body_release(&body);
    }
}

static void spare_dates_are_dates_of_the_day(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct day_record day, kept;
    struct fixture_body body;
    day_record_init(&day);
    snprintf(day.day, sizeof day.day, "twodays");
    assert_true(date_parse(FIXTURE_DATE, &day.date));
    day.spares = 1;
    day.spare[0] = day.date + 2;
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, day_open(f->change, &f->organiser, &day, FIXTURE_NOW_UTC_S, &kept, err)), 0);
    fixture_join(f, "twodays", "hill");
    fixture_join(f, "twodays", "dale");
    fixture_body(&body, "hill", "twodays", &hill_place, "2027-03-22", 1, 0);
    send_refused(scene, &scene->class, &body, ERR_WRONG_DAY, "/readings");
    fixture_body_release(&body);
    fixture_body(&body, "hill", "twodays", &hill_place, "2027-03-23", 1, 0);
    assert_true(fixture_send(f, &scene->class, &body, "spare-day-key", NULL) > 0);
    fixture_body_release(&body);
    /* a partner on the first date saw another noon: no pair */
    assert_true(fixture_run(f, "dale", "twodays", 3, 0) > 0);
    assert_int_equal(pairs_of(f, "twodays"), 0);
}

/* Either side of the date line one noon carries two dates; both are the day's. */
static void date_line_does_not_part_neighbours(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    const struct place east = {.lat_deg = -17.0, .lon_deg = 179.9}, west = {-21.0, -179.9, 0.0};
    fixture_site(f, "east", east.lat_deg, east.lon_deg);
    fixture_site(f, "west", west.lat_deg, west.lon_deg);
    fixture_join(f, "spring", "east");
    fixture_join(f, "spring", "west");
    /* noon of the 21st at 180 E is noon of the 20th at 180 W, near 0 h UTC of the 21st */
    fixture_body(&body, "east", "spring", &east, "2027-03-21", 1, 0);
    assert_true(fixture_send(f, &f->organiser, &body, "east-key", NULL) > 0);
    fixture_body_release(&body);
    fixture_body(&body, "west", "spring", &west, "2027-03-20", 2, 0);
    assert_true(fixture_send(f, &f->organiser, &body, "west-key", NULL) > 0);
    fixture_body_release(&body);
    assert_int_equal(pairs_of(f, "spring"), 1);
}

static void few_readings_are_refused(void **state) {
    struct scene *scene = *state;
    struct fixture_body body;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    body.run.run.readings = 2;
    send_refused(scene, &scene->class, &body, ERR_OUT_OF_RANGE, "/readings");
    fixture_body_release(&body);
}

/* Of two noons handed in as one run one would be lost; and a run of which too little
 * is left says so at once, rather than lying there as the site's run. */
static void two_noons_are_no_run(void **state) {
    struct scene *scene = *state;
    struct fixture_body body;
    struct run *run = &body.run.run;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    run->reading[8].t_utc_s += 86400.0;
    run->reading[9].t_utc_s += 86400.0;
    send_refused(scene, &scene->class, &body, ERR_WRONG_DAY, "/readings/8/time");
    assert_non_null(strstr(scene->fixture.err.text, "2027-03-22"));
    fixture_body_release(&body);

    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    for (int i = 1; i < run->readings; i++)
        run->reading[i] = run->reading[i % 2];
    send_refused(scene, &scene->class, &body, ERR_OUT_OF_RANGE, "/readings");
    fixture_body_release(&body);
}

/* All lengths in centimetres fit together; only the site's usual gnomon tells. */
static void centimetres_throughout_are_refused(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct site_record hill = fixture_site_record("hill", hill_place.lat_deg, hill_place.lon_deg);
    struct site_record kept;
    struct fixture_body body;
    hill.gnomon_mm = 1000.0;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_revise(f->change, &scene->school, &hill, FIXTURE_NOW_UTC_S,
                                                &kept, err)),
                     0);
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    struct run *run = &body.run.run;
    run->gnomon.part[0].value_m /= 10.0;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m /= 10.0;
    send_refused(scene, &scene->class, &body, ERR_UNIT_MISTAKEN, "/gnomon/parts");
    fixture_body_release(&body);
}

static void slips_of_a_whole_run_are_refused_by_name(void **state) {
    struct scene *scene = *state;
    struct fixture_body body;
    struct run *run = &body.run.run;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m *= 10.0;
    send_refused(scene, &scene->class, &body, ERR_UNIT_MISTAKEN, "/gnomon/parts");
    fixture_body_release(&body);

    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    double height_m = run->gnomon.part[0].value_m;
    run->gnomon.part[0].value_m = run->reading[5].shadow_m;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m =
            height_m * height_m / run->reading[i].shadow_m * run->gnomon.part[0].value_m / height_m;
    send_refused(scene, &scene->class, &body, ERR_LENGTHS_SWAPPED, "/gnomon/parts");
    fixture_body_release(&body);

    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, 0);
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m *= 1.6 + 0.3 * (i % 3);
    send_refused(scene, &scene->class, &body, ERR_IMPLAUSIBLE, "/readings");
    fixture_body_release(&body);
}

static void noon_that_cannot_be_measured_is_refused(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    const struct place tropic = {.lat_deg = 0.1, .lon_deg = 30.0, .elevation_m = 200.0};
    const struct place nearby = {.lat_deg = 12.0, .lon_deg = 30.0, .elevation_m = 200.0};
    fixture_site(f, "tropic", tropic.lat_deg, tropic.lon_deg);
    fixture_join(f, "spring", "tropic");
    fixture_body(&body, "tropic", "spring", &nearby, FIXTURE_DATE, 1, 0);
    send_refused(scene, &f->organiser, &body, ERR_NOON_UNUSABLE, "/readings");
    fixture_body_release(&body);
}

static void correction_names_the_current_run(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body body;
    struct run_view view;
    int64_t first = fixture_run(f, "hill", "spring", 1, 0);
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 2, 0);
    send_refused(scene, &scene->class, &body, ERR_RUN_EXISTS, "/supersedes");
    body.run.supersedes = first + 5;
    send_refused(scene, &scene->class, &body, ERR_RUN_NOT_CURRENT, "/supersedes");
    body.run.supersedes = first;
    int64_t second = fixture_send(f, &scene->class, &body, "second-key", NULL);
    assert_true(second > first);
    body.run.supersedes = first;
    send_refused(scene, &scene->class, &body, ERR_RUN_NOT_CURRENT, "/supersedes");
    fixture_body_release(&body);
    assert_int_equal(run_get(f->db, f->almanac, first, &view, &f->err), 0);
    assert_true(view.superseded_by == second);
    run_view_release(&view);
    assert_int_equal(run_get(f->db, f->almanac, second, &view, &f->err), 0);
    assert_true(view.supersedes == first);
    run_view_release(&view);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 2);
}

static double circumference_of_the_pair(struct fixture *f) {
    struct pair_page page;
    assert_int_equal(fixture_pairs(f, "spring", "", LIST_LIMIT_ALL, &page), 0);
    assert_int_equal(page.count, 1);
    assert_string_equal(page.items[0].site1, "dale");
    assert_string_equal(page.items[0].site2, "hill");
    assert_int_equal(page.items[0].pair.status, PAIR_OK);
    double circumference_km = page.items[0].pair.circumference_km;
    pair_page_release(&page);
    return circumference_km;
}

static void correction_and_withdrawal_move_pairs_and_result(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    char *empty = result_of(f, "spring");
    fixture_run(f, "dale", "spring", 7, 0);
    int64_t first = fixture_run(f, "hill", "spring", 1, 0);
    double before_km = circumference_of_the_pair(f);
    char *before = result_of(f, "spring");
    assert_true(fabs(before_km - 40000.0) < 3000.0);
    assert_string_not_equal(before, empty);

    int64_t second = fixture_run(f, "hill", "spring", 2, first);
    assert_true(circumference_of_the_pair(f) != before_km);
    char *after = result_of(f, "spring");
    assert_string_not_equal(after, before);

    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, accept_withdraw(f->change, &scene->school, first, "",
                                                    FIXTURE_NOW_UTC_S, err)),
                     -1);
    assert_int_equal(f->err.code, ERR_RUN_NOT_CURRENT);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, accept_withdraw(f->change, &scene->school, second, "pole fell",
                                                    FIXTURE_NOW_UTC_S + 99.0, err)),
                     0);
    assert_int_equal(pairs_of(f, "spring"), 0);
    char *gone = result_of(f, "spring");
    assert_non_null(strstr(gone, "\"sites\":0,"));
    assert_non_null(strstr(gone, "\"left_out_counts\":{\"excluded\":0,\"withdrawn\":1,"));

    struct run_view view;
    assert_int_equal(run_get(f->db, f->almanac, second, &view, &f->err), 0);
    assert_true(view.withdrawn_utc_s == FIXTURE_NOW_UTC_S + 99.0);
    run_view_release(&view);

    /* a withdrawn run makes room for a first run again, not for a correction */
    struct fixture_body body;
    fixture_body(&body, "hill", "spring", &hill_place, FIXTURE_DATE, 1, second);
    send_refused(scene, &scene->class, &body, ERR_RUN_NOT_CURRENT, "/supersedes");
    body.run.supersedes = 0;
    assert_true(fixture_send(f, &scene->class, &body, "third-key", NULL) > second);
    fixture_body_release(&body);
    assert_true(circumference_of_the_pair(f) == before_km);
    char *back = result_of(f, "spring");
    assert_string_equal(back, before);
    free(back);
    free(gone);
    free(after);
    free(before);
    free(empty);
}

static void withdrawing_needs_the_school(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    int64_t run = fixture_run(f, "hill", "spring", 1, 0);
    struct caller other = fixture_caller(f, scene->dale.school_key);
    const struct {
        const struct caller *caller;
        int64_t run;
        enum err_code code;
    } rows[] = {{&scene->class, run, ERR_WRONG_KEY},
                {&other, run, ERR_WRONG_KEY},
                {&scene->school, run + 1, ERR_NOT_FOUND}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct err *err = fixture_begin(f);
        assert_int_equal(fixture_end(f, accept_withdraw(f->change, rows[i].caller, rows[i].run, "",
                                                        FIXTURE_NOW_UTC_S, err)),
                         -1);
        assert_int_equal(f->err.code, rows[i].code);
    }
}

/* Moving a playground moves what was measured there. */
static void revised_place_is_derived_anew(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct site_record record = fixture_site_record("hill", 40.02, 3.0), kept;
    struct text before, after;
    text_init(&before, 1u << 20);
    text_init(&after, 1u << 20);
    fixture_run(f, "dale", "spring", 7, 0);
    fixture_run(f, "hill", "spring", 1, 0);
    fixture_dump_derived(f, &before);
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_revise(f->change, &scene->school, &record,
                                                FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
    fixture_dump_derived(f, &after);
    assert_string_not_equal(before.bytes, after.bytes);
    /* and back again gives the same as before */
    record.place.lat_deg = 40.0;
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_revise(f->change, &scene->school, &record,
                                                FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
    after.length = 0;
    fixture_dump_derived(f, &after);
    assert_string_equal(before.bytes, after.bytes);
    text_release(&after);
    text_release(&before);
}

static void runs_are_paged(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct run_page page;
    struct reduction_lines lines;
    int64_t first = fixture_run(f, "hill", "spring", 1, 0);
    int64_t hill = fixture_run(f, "hill", "spring", 2, first);
    int64_t dale = fixture_run(f, "dale", "spring", 7, 0);
    assert_int_equal(run_list(f->db, NULL, "spring", "", 1, &page, &f->err), 0);
    assert_int_equal(page.count, 1);
    assert_true(page.items[0].run == dale);
    assert_non_null(page.items[0].body);
    assert_null(page.items[0].reduction_json);
    assert_string_equal(page.next, "dale");
    run_page_release(&page);
    assert_int_equal(run_list(f->db, f->almanac, "spring", "dale", 1, &page, &f->err), 0);
    assert_true(page.items[0].run == hill);
    assert_non_null(page.items[0].reduction_json);
    assert_string_equal(page.next, "");
    run_page_release(&page);
    assert_int_equal(reduction_lines(f->db, "spring", &lines, &f->err), 0);
    assert_int_equal(lines.count, 2);
    assert_string_equal(lines.items[1].site, "hill");
    assert_int_equal(lines.items[1].status, REDUCE_OK);
    assert_int_equal(lines.items[1].used, 11);
    assert_true(lines.items[1].sigma_deg > 0.0);
    reduction_lines_release(&lines);
}

/* Sheets as the wire would hand them over. */
static void sheet_of(struct sheet_readings *sheet, const struct fixture_body *bodies,
                     size_t count) {
    uint32_t row = 2;
    *sheet = (struct sheet_readings){.site = calloc(count, sizeof *sheet->site), .sites = count};
    sheet->reading = calloc(count * RUN_READINGS_MAX, sizeof *sheet->reading);
    for (size_t s = 0; s < count; s++) {
        struct sheet_site *site = &sheet->site[s];
        memcpy(site->site, bodies[s].run.site, sizeof site->site);
        site->first_row = row;
        site->first = sheet->readings;
        site->readings = (size_t)bodies[s].run.run.readings;
        for (size_t i = 0; i < site->readings; i++) {
            struct sheet_reading *reading = &sheet->reading[sheet->readings++];
            reading->site = (uint32_t)s;
            reading->row = row++;
            reading->reading = bodies[s].run.run.reading[i];
        }
    }
}

static int import(struct fixture *f, const struct caller *caller,
                  const struct sheet_readings *sheet, struct run_import *out) {
    struct err *err = fixture_begin(f);
    return fixture_end(
        f, accept_import(f->change, caller, "spring", sheet, FIXTURE_NOW_UTC_S, out, err));
}

static void spreadsheet_of_a_day_comes_in(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    const struct place moor = {.lat_deg = 48.0, .lon_deg = 3.1, .elevation_m = 200.0};
    struct fixture_body bodies[2];
    struct sheet_readings sheet;
    struct run_import result;
    struct run_view view;
    fixture_site(f, "moor", moor.lat_deg, moor.lon_deg); /* has not joined */
    int64_t first = fixture_run(f, "hill", "spring", 1, 0);
    fixture_body(&bodies[0], "hill", "spring", &hill_place, FIXTURE_DATE, 2, 0);
    fixture_body(&bodies[1], "moor", "spring", &moor, FIXTURE_DATE, 3, 0);
    sheet_of(&sheet, bodies, 2);
    assert_int_equal(import(f, &scene->school, &sheet, &result), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(import(f, &f->organiser, &sheet, &result), 0);
    assert_int_equal(result.count, 2);
    assert_string_equal(result.items[1].site, "moor");
    assert_non_null(strstr(result.items[1].reduction_json, "noon_angle_deg"));
    assert_int_equal(run_get(f->db, f->almanac, first, &view, &f->err), 0);
    assert_true(view.superseded_by == result.items[0].run);
    run_view_release(&view);
    run_import_release(&result);
    assert_int_equal(pairs_of(f, "spring"), 1);
    sheet_readings_release(&sheet);
    fixture_body_release(&bodies[0]);
    fixture_body_release(&bodies[1]);
}

static void spreadsheet_with_a_fault_changes_nothing(void **state) {
    struct scene *scene = *state;
    struct fixture *f = &scene->fixture;
    struct fixture_body bodies[2];
    struct sheet_readings sheet;
    struct run_import result;
    const struct place dale = {.lat_deg = 44.0, .lon_deg = 3.2, .elevation_m = 200.0};
    static const struct {
        const char *site, *date;
        int readings;
        double factor;
        enum err_code code;
        const char *field;
    } rows[] = {
        {"hull", FIXTURE_DATE, 11, 1.0, ERR_NOT_FOUND, "row 13, site"},
        {"hill", "2027-03-25", 11, 1.0, ERR_WRONG_DAY, "row 13, utc"},
        {"hill", FIXTURE_DATE, 2, 1.0, ERR_OUT_OF_RANGE, "row 13, shadow_mm"},
        {"hill", FIXTURE_DATE, 11, 10.0, ERR_UNIT_MISTAKEN, "row 13, site"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        fixture_body(&bodies[0], "dale", "spring", &dale, FIXTURE_DATE, 3, 0);
        fixture_body(&bodies[1], rows[i].site, "spring", &hill_place, rows[i].date, 2, 0);
        bodies[1].run.run.readings = rows[i].readings;
        for (int k = 0; k < rows[i].readings; k++)
            bodies[1].run.run.reading[k].shadow_m *= rows[i].factor;
        sheet_of(&sheet, bodies, 2);
        assert_int_equal(import(f, &f->organiser, &sheet, &result), -1);
        if (f->err.code != rows[i].code)
            fail_msg("row %zu: %s: %s", i, err_name(f->err.code), f->err.text);
        assert_string_equal(f->err.field, rows[i].field);
        assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run"), 0);
        sheet_readings_release(&sheet);
        fixture_body_release(&bodies[0]);
        fixture_body_release(&bodies[1]);
    }
}

int main(void) {
#define ACCEPT_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        ACCEPT_TEST(run_is_recorded_as_sent),
        ACCEPT_TEST(retry_gets_the_first_answer),
        ACCEPT_TEST(retry_is_answered_whatever_has_changed),
        ACCEPT_TEST(race_of_one_key_ends_in_one_run),
        ACCEPT_TEST(revision_between_the_halves_counts),
        ACCEPT_TEST(callers_without_a_right_are_refused),
        ACCEPT_TEST(site_must_take_part),
        ACCEPT_TEST(other_dates_are_refused),
        ACCEPT_TEST(spare_dates_are_dates_of_the_day),
        ACCEPT_TEST(date_line_does_not_part_neighbours),
        ACCEPT_TEST(few_readings_are_refused),
        ACCEPT_TEST(two_noons_are_no_run),
        ACCEPT_TEST(centimetres_throughout_are_refused),
        ACCEPT_TEST(slips_of_a_whole_run_are_refused_by_name),
        ACCEPT_TEST(noon_that_cannot_be_measured_is_refused),
        ACCEPT_TEST(correction_names_the_current_run),
        ACCEPT_TEST(correction_and_withdrawal_move_pairs_and_result),
        ACCEPT_TEST(withdrawing_needs_the_school),
        ACCEPT_TEST(revised_place_is_derived_anew),
        ACCEPT_TEST(runs_are_paged),
        ACCEPT_TEST(spreadsheet_of_a_day_comes_in),
        ACCEPT_TEST(spreadsheet_with_a_fault_changes_nothing),
    };
    return cmocka_run_group_tests_name("rules_accept", tests, NULL, NULL);
}
