/* SPDX-License-Identifier: MIT */
/* GET /metrics keeps the rules of OpenMetrics and tells what happened. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <time.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/openmetrics.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"

static struct served served;
static struct school school = {.site = "causse-school",
                               .name = "Causse School",
                               .lat_deg = 44.5,
                               .lon_deg = 3.2,
                               .gnomon_m = 1.2};

#define COUNTER "# TYPE a counter\n# HELP a Things.\n"
#define HISTOGRAM "# TYPE a_seconds histogram\n# UNIT a_seconds seconds\n"

/* The checker finds what is wrong; otherwise what follows would prove nothing. */
static void the_checker_can_say_no(void **state) {
    static const struct {
        const char *text;
        bool good;
    } rows[] = {
        {"# EOF\n", true},
        {COUNTER "a_total 1\n# EOF\n", true},
        {COUNTER "a_total{b=\"x\\\"\",c=\"\"} 1\na_total{b=\"y\"} 2\n# EOF\n", true},
        {"# TYPE a gauge\na -1.5\n# EOF\n", true},
        {HISTOGRAM "a_seconds_bucket{le=\"0.5\"} 1\na_seconds_bucket{le=\"+Inf\"} 2\n"
                   "a_seconds_count 2\na_seconds_sum 3.5\n# EOF\n",
         true},
        {"", false},
        {COUNTER "a_total 1\n", false},
        {COUNTER "a_total 1\n# EOF", false},
        {COUNTER "a_total 1\n# EOF\n\n", false},
        {COUNTER "\na_total 1\n# EOF\n", false},
        {COUNTER "a 1\n# EOF\n", false},
        {COUNTER "a_total -1\n# EOF\n", false},
        {COUNTER "a_total NaN\n# EOF\n", false},
        {COUNTER "a_total 1\na_total 2\n# EOF\n", false},
        {COUNTER "a_total  1\n# EOF\n", false},
        {COUNTER "a_total one\n# EOF\n", false},
        {COUNTER "a_total{b=x} 1\n# EOF\n", false},
        {COUNTER "a_total{b=\"x} 1\n# EOF\n", false},
        {COUNTER "a_total{b=\"\\x\"} 1\n# EOF\n", false},
        {COUNTER "a_total{2=\"x\"} 1\n# EOF\n", false},
        {COUNTER "b_total 1\n# EOF\n", false},
        {COUNTER "# TYPE b gauge\nb 1\na_total 1\n# EOF\n", false},
        {COUNTER "# TYPE b gauge\nb 1\n" COUNTER "a_total 1\n# EOF\n", false},
        {COUNTER "a_total 1\n# UNIT a seconds\n# EOF\n", false},
        {"# HELP a Things.\n# TYPE a counter\na_total 1\n# EOF\n", false},
        {"# TYPE a counter\n# TYPE a counter\na_total 1\n# EOF\n", false},
        {"# TYPE a count\na_total 1\n# EOF\n", false},
        {"# HELP a \\x\na_total 1\n# EOF\n", false},
        {"# TYPE a gauge\n# UNIT a seconds\na 1\n# EOF\n", false},
        {"# a comment\n# EOF\n", false},
        {"a_total 1\n# EOF\n", false},
        {"# TYPE a gauge\na_total 1\n# EOF\n", false},
        {HISTOGRAM "a_seconds_bucket{le=\"0.5\"} 1\na_seconds_count 1\na_seconds_sum 1\n# EOF\n",
         false},
        {HISTOGRAM "a_seconds_bucket{le=\"0.5\"} 2\na_seconds_bucket{le=\"+Inf\"} 1\n"
                   "a_seconds_count 1\na_seconds_sum 1\n# EOF\n",
         false},
        {HISTOGRAM "a_seconds_bucket{le=\"0.5\"} 1\na_seconds_bucket{le=\"0.2\"} 1\n"
                   "a_seconds_bucket{le=\"+Inf\"} 1\na_seconds_count 1\na_seconds_sum 1\n# EOF\n",
         false},
        {HISTOGRAM "a_seconds_bucket{le=\"+Inf\"} 1\na_seconds_count 2\na_seconds_sum 1\n# EOF\n",
         false},
        {HISTOGRAM "a_seconds_bucket{le=\"+Inf\"} 1\na_seconds_count 1\n# EOF\n", false},
        {HISTOGRAM "a_seconds_bucket{le=\"+Inf\"} 1\na_seconds_sum 1\n# EOF\n", false},
        {HISTOGRAM "a_seconds_bucket{b=\"x\",le=\"0.5\"} 1\na_seconds_bucket{b=\"y\",le=\"+Inf\"} "
                   "1\na_seconds_count{b=\"y\"} 1\na_seconds_sum{b=\"y\"} 1\n# EOF\n",
         false},
    };
    char why[300];
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (openmetrics_accepts(rows[i].text, why, sizeof why) != rows[i].good)
            fail_msg("%s", rows[i].text);
}

/* Fresh, and after traffic of every kind, refusals and the like included. */
static void check(struct answer *answer) {
    char why[300];
    http_ask(served.base, &(struct ask){.path = "/metrics"}, answer);
    assert_int_equal(answer->status, 200);
    assert_true(answer_header_is(answer, "Content-Type",
                                 "application/openmetrics-text; version=1.0.0; charset=utf-8"));
    if (!openmetrics_accepts(answer->body.bytes, why, sizeof why))
        fail_msg("%s", why);
}

static double value(const struct answer *answer, const char *sample) {
    return openmetrics_value(answer->body.bytes, sample);
}

static void it_is_openmetrics(void **state) {
    struct answer answer;
    (void)state;
    check(&answer);
    /* Nothing was committed yet: no time of it. */
    assert_true(value(&answer, "noonarc_writer_last_commit_timestamp_seconds") == 0.0);
    answer_release(&answer);
}

#define RUNS_ROUTE                                                                                 \
    "noonarc_http_requests_total{method=\"POST\",route=\"/api/v1/days/{day}/sites/{site}/runs\","  \
    "status="

static void it_tells_what_happened(void **state) {
    static const char path[] = "/api/v1/days/" DAY "/sites/causse-school/runs";
    struct answer answer, run;
    struct text body;
    (void)state;
    school_register(served.base, &school);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    school_join(served.base, &school, DAY);
    text_init(&body, 65536);
    school_measure(&school, DAY, 4, 0, &body);
    const struct ask ask = {.method = "POST",
                            .path = path,
                            .key = school.code,
                            .type = "application/json",
                            .body = body.bytes,
                            .header = {"Idempotency-Key: counted-run"}};
    http_ask(served.base, &ask, &run);
    assert_int_equal(run.status, 201);
    answer_release(&run);
    /* Without an Idempotency-Key; without a key. */
    json_decref(http_send(served.base, "POST", path, school.code, "{}", 400));
    json_decref(http_send(served.base, "POST", path, NULL, "{}", 401));
    json_decref(http_get(served.base, "/api/v1/days/1999-01-01", 404));
    json_decref(http_get(served.base, "/nowhere", 404));

    check(&answer);
    assert_true(value(&answer, RUNS_ROUTE "\"201\"}") == 1.0);
    assert_true(value(&answer, RUNS_ROUTE "\"401\"}") == 1.0);
    assert_true(value(&answer, RUNS_ROUTE "\"400\"}") == 1.0);
    assert_true(value(&answer, "noonarc_http_requests_total{method=\"\",route=\"none\","
                               "status=\"404\"}") == 1.0);
    assert_true(value(&answer, "noonarc_http_requests_refused_total{reason=\"not_found\"}") == 2.0);
    assert_true(value(&answer, "noonarc_http_requests_refused_total{reason=\"wrong_key\"}") == 1.0);
    assert_true(value(&answer, "noonarc_runs_accepted_total") == 1.0);
    assert_true(value(&answer, "noonarc_runs_refused_total{reason=\"wrong_key\"}") == 1.0);
    /* A site, a day, taking part, a run: four commits of one write each. */
    assert_true(value(&answer, "noonarc_writer_commit_writes_count") == 4.0);
    assert_true(value(&answer, "noonarc_writer_commit_writes_sum") == 4.0);
    assert_true(value(&answer, "noonarc_writer_commit_writes_bucket{le=\"1.0\"}") == 4.0);
    double last_s = value(&answer, "noonarc_writer_last_commit_timestamp_seconds");
    double now_s = (double)time(NULL);
    assert_true(last_s > now_s - 60.0 && last_s < now_s + 1.0);
    static const char writes[] = "noonarc_http_request_duration_seconds_count{kind=\"write\"}";
    static const char took[] = "noonarc_http_request_duration_seconds_sum{kind=\"write\"}";
    assert_true(value(&answer, writes) == 6.0);
    assert_true(value(&answer, took) > 0.0 && value(&answer, took) < 60.0);
    assert_true(value(&answer, "noonarc_http_connections") >= 1.0);
    /* The last visit before may still be on its way out. */
    for (int look = 0; value(&answer, "noonarc_http_bodies_bytes") != 0.0 ||
                       value(&answer, "noonarc_writer_waiting") != 0.0;
         look++) {
        assert_true(look < 100);
        usleep(10000);
        answer_release(&answer);
        check(&answer);
    }
    answer_release(&answer);
    text_release(&body);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_checker_can_say_no),
        cmocka_unit_test(it_is_openmetrics),
        cmocka_unit_test(it_tells_what_happened),
    };
    return cmocka_run_group_tests_name("http metrics", tests, start, stop);
}
