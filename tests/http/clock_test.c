/* SPDX-License-Identifier: MIT */
/* Clocks: the server tells the time; a run says how far its clock was off; a day flags
 * what is beyond its bound, and corrects it only where it was opened so. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <signal.h>
#include <time.h>

#include "server/base/instant.h"
#include "tests/support/http.h"
#include "tests/support/near.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define KEPT "kept"
#define CORRECTED "corrected"
#define DATE "2027-03-20"

static struct served served;
static struct school school = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};

static double now_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void the_time(void **state) {
    (void)state;
    struct answer answer;
    double utc_s = 0.0, before_s = now_utc_s();
    http_ask(served.base, &(struct ask){.path = "/api/v1/time"}, &answer);
    assert_int_equal(answer.status, 200);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-store"));
    assert_int_equal(
        instant_parse(json_string_value(json_object_get(answer.json, "utc")), &utc_s, NULL, NULL),
        0);
    assert_true(utc_s > before_s - 1e-4 && utc_s < now_utc_s() + 1e-4);
    answer_release(&answer);
}

/* The body of a run of a date, with a clock set before its other members. */
static void measured(const char *date, const char *clock, int64_t supersedes, struct text *out) {
    struct text body;
    text_init(&body, 65536);
    school_measure(&school, date, 7, supersedes, &body);
    text_format(out, "{\"clock\":%s,%s", clock, body.bytes + 1);
    text_release(&body);
}

static void hand_in_of(const char *date, const char *day, const char *clock, const char *key,
                       int64_t supersedes, struct answer *answer) {
    char path[120], header[80];
    struct text body;
    text_init(&body, 65536);
    measured(date, clock, supersedes, &body);
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/tell-school/runs", day);
    snprintf(header, sizeof header, "Idempotency-Key: %s", key);
    http_ask(served.base,
             &(struct ask){.method = "POST",
                           .path = path,
                           .key = school.code,
                           .type = "application/json",
                           .body = body.bytes,
                           .header = {header}},
             answer);
    text_release(&body);
}

static void hand_in(const char *day, const char *clock, const char *key, int64_t supersedes,
                    struct answer *answer) {
    hand_in_of(DATE, day, clock, key, supersedes, answer);
}

static const json_t *clock_of(const struct answer *answer) {
    return json_object_get(json_object_get(answer->json, "reduction"), "clock");
}

static double number(const json_t *object, const char *key) {
    return json_number_value(json_object_get(object, key));
}

static json_t *kept_run(int64_t id) {
    char path[64];
    snprintf(path, sizeof path, "/api/v1/runs/%lld", (long long)id);
    return http_get(served.base, path, 200);
}

static const char *first_time(const json_t *view) {
    const json_t *readings = json_object_get(json_object_get(view, "run"), "readings");
    return json_string_value(json_object_get(json_array_get(readings, 0), "time"));
}

static void flagged_and_kept(void **state) {
    (void)state;
    struct answer answer;
    hand_in(KEPT, "{\"offset_s\":42.5,\"sigma_s\":0.04}", "clock-test-1", 0, &answer);
    assert_int_equal(answer.status, 201);
    const json_t *clock = clock_of(&answer);
    assert_true(json_is_true(json_object_get(clock, "beyond")));
    assert_near(number(clock, "offset_s"), 42.5, 0.0);
    assert_near(number(clock, "bound_s"), 15.0, 0.0);
    assert_near(number(clock, "applied_s"), 0.0, 0.0);
    int64_t id = json_integer_value(json_object_get(json_object_get(answer.json, "run"), "id"));
    answer_release(&answer);
    json_t *kept = kept_run(id);
    assert_near(number(json_object_get(json_object_get(kept, "run"), "clock"), "sigma_s"), 0.04,
                0.0);
    json_decref(kept);

    /* It waits in the queue, with the size. */
    http_ask(served.base,
             &(struct ask){.path = "/api/v1/days/" KEPT "/review", .key = served.organiser},
             &answer);
    assert_int_equal(answer.status, 200);
    assert_non_null(strstr(answer.body.bytes, "\"clock_off\""));
    assert_non_null(strstr(answer.body.bytes, "42.5 ± 0.0 s fast"));
    answer_release(&answer);

    /* A clock within the bound is none of that. */
    hand_in(KEPT, "{\"offset_s\":-14.5,\"sigma_s\":0.04}", "clock-test-2", id, &answer);
    assert_int_equal(answer.status, 201);
    assert_true(json_is_false(json_object_get(clock_of(&answer), "beyond")));
    answer_release(&answer);
}

static void corrected_where_the_day_says_so(void **state) {
    (void)state;
    struct answer answer, plain;
    hand_in(CORRECTED, "null", "clock-test-3", 0, &plain);
    assert_int_equal(plain.status, 201);
    assert_true(json_is_null(clock_of(&plain)));
    int64_t id = json_integer_value(json_object_get(json_object_get(plain.json, "run"), "id"));
    hand_in(CORRECTED, "{\"offset_s\":30,\"sigma_s\":0.1}", "clock-test-4", id, &answer);
    assert_int_equal(answer.status, 201);
    const json_t *clock = clock_of(&answer);
    assert_near(number(clock, "applied_s"), 30.0, 0.0);
    assert_near(number(clock, "bound_s"), 5.0, 0.0);
    /* What is recorded is what was sent: the first time is the same in both. */
    json_t *before = kept_run(id), *after = kept_run(id + 1);
    assert_non_null(first_time(before));
    assert_string_equal(first_time(before), first_time(after));
    json_decref(before);
    json_decref(after);
    /* The same times, believed to be half a minute late, give another offset. */
    double shift_s = number(json_object_get(answer.json, "reduction"), "clock_offset_s") -
                     number(json_object_get(plain.json, "reduction"), "clock_offset_s");
    assert_true(shift_s > 1.0 && shift_s < 30.0);
    answer_release(&answer);
    answer_release(&plain);

    json_t *day = http_get(served.base, "/api/v1/days/" CORRECTED, 200);
    assert_true(json_is_true(json_object_get(day, "clock_correct")));
    json_decref(day);
}

/* A clock that shows another date: its times belong to the noon of the day once they are
 * corrected, and to none where they are kept. */
static void of_another_date(void **state) {
    (void)state;
    struct answer answer;
    hand_in_of("2027-03-22", KEPT, "{\"offset_s\":172800,\"sigma_s\":0.1}", "clock-test-5", 0,
               &answer);
    answer_assert_problem(&answer, 422, "wrong_day", "/readings");
    answer_release(&answer);
    json_t *current = http_get(served.base, "/api/v1/days/" KEPT "/sites/tell-school/run", 200);
    int64_t id = json_integer_value(json_object_get(json_object_get(current, "run"), "id"));
    json_decref(current);
    hand_in_of("2027-03-22", KEPT, "{\"offset_s\":172800,\"sigma_s\":0.1}", "clock-test-6", id,
               &answer);
    answer_assert_problem(&answer, 422, "wrong_day", "/readings");
    answer_release(&answer);

    current = http_get(served.base, "/api/v1/days/" CORRECTED "/sites/tell-school/run", 200);
    id = json_integer_value(json_object_get(json_object_get(current, "run"), "id"));
    json_decref(current);
    hand_in_of("2027-03-22", CORRECTED, "{\"offset_s\":172800,\"sigma_s\":0.1}", "clock-test-7", id,
               &answer);
    assert_int_equal(answer.status, 201);
    const json_t *reduction = json_object_get(answer.json, "reduction");
    assert_string_equal(json_string_value(json_object_get(reduction, "status")), "ok");
    assert_memory_equal(json_string_value(json_object_get(reduction, "transit_utc")), DATE, 10);
    assert_int_equal(json_array_size(json_object_get(reduction, "left_out")), 0);
    answer_release(&answer);
}

static void refused(void **state) {
    static const struct {
        const char *clock, *code, *field;
    } rows[] = {
        {"{\"offset_s\":1}", "missing_field", "/clock/sigma_s"},
        {"{\"sigma_s\":1}", "missing_field", "/clock/offset_s"},
        {"{\"offset_s\":1,\"sigma_s\":0}", "out_of_range", "/clock/sigma_s"},
        {"{\"offset_s\":1e10,\"sigma_s\":1}", "out_of_range", "/clock/offset_s"},
        {"{\"offset_s\":\"1\",\"sigma_s\":1}", "wrong_type", "/clock/offset_s"},
        {"{\"offset_s\":1,\"sigma_s\":1,\"bound_s\":9}", "unknown_field", "/clock/bound_s"},
        {"5", "wrong_type", "/clock"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct answer answer;
        hand_in(KEPT, rows[i].clock, "clock-test-refused", 0, &answer);
        answer_assert_problem(&answer, 422, rows[i].code, rows[i].field);
        answer_release(&answer);
    }
}

/* Both days are made anew from what was recorded, to the same bytes. */
static void rebuilt(void **state) {
    char line[200];
    (void)state;
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    assert_int_equal(served_command(&served, "check", NULL, line, sizeof line), 0);
    served_start(&served);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    school_register(served.base, &school);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"day\":\"" KEPT "\",\"date\":\"" DATE "\"}", 201));
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"day\":\"" CORRECTED "\",\"date\":\"" DATE
                          "\",\"clock_bound_s\":5,\"clock_correct\":true}",
                          201));
    school_join(served.base, &school, KEPT);
    school_join(served.base, &school, CORRECTED);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_time),
        cmocka_unit_test(flagged_and_kept),
        cmocka_unit_test(corrected_where_the_day_says_so),
        cmocka_unit_test(of_another_date),
        cmocka_unit_test(refused),
        cmocka_unit_test(rebuilt),
    };
    return cmocka_run_group_tests_name("http clock", tests, start, stop);
}
