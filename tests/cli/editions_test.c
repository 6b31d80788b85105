/* SPDX-License-Identifier: MIT */
/* review, publish, editions, verify: from a flagged run to an edition that a person
 * without a server works out again. Plumbing: the figures are judged elsewhere. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/desk.h"
#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"

static struct served served;
static struct desk office, home;
static struct school schools[] = {
    {.site = "causse", .name = "Causse School", .lat_deg = 44.5, .lon_deg = 3.2, .gnomon_m = 1.2},
    {.site = "tell", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5},
    {.site = "levant", .name = "Levant School", .lat_deg = 39.0, .lon_deg = 2.9, .gnomon_m = 1.0},
};

static int start(void **state) {
    (void)state;
    served_init(&served);
    desk_init(&office);
    desk_init(&home);
    snprintf(office.server, sizeof office.server, "%s", served.base);
    snprintf(office.key, sizeof office.key, "%s", served.organiser);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    for (size_t i = 0; i < sizeof schools / sizeof schools[0]; i++) {
        struct text body;
        char path[128];
        school_register(served.base, &schools[i]);
        school_join(served.base, &schools[i], DAY);
        text_init(&body, 65536);
        school_measure(&schools[i], DAY, 40 + i, 0, &body);
        snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/%s/runs", schools[i].site);
        struct answer answer;
        http_ask(served.base,
                 &(struct ask){.method = "POST",
                               .path = path,
                               .key = schools[i].code,
                               .type = "application/json",
                               .body = body.bytes,
                               .header = {"Idempotency-Key: editions-test-1"}},
                 &answer);
        assert_int_equal(answer.status, 201);
        answer_release(&answer);
        text_release(&body);
    }
    return 0;
}

static int stop(void **state) {
    (void)state;
    desk_release(&office);
    desk_release(&home);
    served_release(&served);
    return 0;
}

static void review(void **state) {
    struct outcome outcome;
    (void)state;
    desk_run(&office, "", &outcome, "review", "2", "--ask", "Was the pole upright?", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "review", DAY, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_equal(outcome_text(&outcome, "runs/0/status"), "asked");
    outcome_release(&outcome);

    snprintf(home.server, sizeof home.server, "%s", served.base);
    snprintf(home.key, sizeof home.key, "%s", schools[1].key);
    desk_run(&home, "", &outcome, "review", "2", "--answer", "It leaned a little.", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&home, "", &outcome, "review", "2", "--exclude", "Not ours to say.", NULL);
    outcome_assert_code(&outcome, 1);
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "review", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "run 2 of tell: answered"));
    assert_non_null(strstr(outcome.out, "It leaned a little."));
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "review", "2", "--ask", "a", "--exclude", "b", NULL);
    outcome_assert_code(&outcome, 2);
    outcome_release(&outcome);
}

static void publish_and_verify(void **state) {
    struct outcome outcome;
    (void)state;
    desk_run(&office, "", &outcome, "publish", DAY, "--title", "Equinox noon", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "edition 1, Equinox noon"));
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "publish", DAY, NULL);
    outcome_assert_code(&outcome, 1); /* a correction says why */
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "review", "2", "--exclude", "The pole leaned.", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "publish", DAY, "--reason", "One pole leaned.", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "left out: 1 run excluded by an organiser"));
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "show", "result", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "excluded: tell: The pole leaned."));
    outcome_release(&outcome);
    desk_run(&office, "", &outcome, "verify", "2", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_true(json_is_true(outcome_at(&outcome, "same")));
    assert_true(json_is_true(outcome_at(&outcome, "changes_checked")));
    outcome_release(&outcome);

    /* Whoever has the file needs no server, key or clock. */
    const char *file = desk_path(&office, "edition-1.json");
    desk_run(&office, "", &outcome, "editions", "1", "--output", file, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "corrected by edition 2"));
    outcome_release(&outcome);
    snprintf(home.server, sizeof home.server, "http://127.0.0.1:9");
    home.key[0] = '\0';
    desk_run(&home, "", &outcome, "verify", file, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "follows from its records, byte for byte"));
    outcome_release(&outcome);
    desk_run(&home, "", &outcome, "verify", file, "--sha256", "00", NULL);
    outcome_assert_code(&outcome, 1);
    outcome_release(&outcome);
}

/* A figure that somebody made prettier is found and named. */
static void forgery(void **state) {
    struct outcome outcome;
    (void)state;
    json_t *bundle = http_get(served.base, "/api/v1/editions/1/bundle", 200);
    json_t *result = json_object_get(json_object_get(bundle, "figures"), "result");
    json_object_set_new(result, "circumference_km", json_real(40007.9));
    char *text = json_dumps(bundle, JSON_COMPACT | JSON_SORT_KEYS);
    const char *file = desk_file(&home, text);
    desk_run(&home, "", &outcome, "verify", file, "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_true(json_is_false(outcome_at(&outcome, "same")));
    assert_string_equal(outcome_text(&outcome, "differences/0/pointer"),
                        "/figures/result/circumference_km");
    assert_string_equal(outcome_text(&outcome, "differences/0/published"), "40007.9");
    outcome_release(&outcome);
    desk_run(&home, "", &outcome, "verify", file, NULL);
    outcome_assert_code(&outcome, 1);
    assert_non_null(strstr(outcome.out, "does NOT follow"));
    outcome_release(&outcome);
    desk_run(&home, "{\"format\":1}", &outcome, "verify", "-", NULL);
    outcome_assert_code(&outcome, 1);
    outcome_release(&outcome);
    desk_run(&home, "", &outcome, "verify", "no-such-file", NULL);
    outcome_assert_code(&outcome, 4);
    outcome_release(&outcome);
    free(text);
    json_decref(bundle);
}

/* An edition may be kept for good; its short form may not: a correction may come. */
static void caching(void **state) {
    struct answer answer;
    char etag[80], header[120];
    (void)state;
    http_ask(served.base, &(struct ask){.path = "/api/v1/editions/1/bundle"}, &answer);
    assert_int_equal(answer.status, 200);
    assert_true(answer_header_is(&answer, "Cache-Control", "public, max-age=31536000, immutable"));
    answer_header(&answer, "ETag", etag, sizeof etag);
    answer_release(&answer);
    snprintf(header, sizeof header, "If-None-Match: %s", etag);
    http_ask(served.base, &(struct ask){.path = "/api/v1/editions/1/bundle", .header = {header}},
             &answer);
    assert_int_equal(answer.status, 304);
    answer_release(&answer);
    http_ask(served.base, &(struct ask){.path = "/api/v1/editions/1"}, &answer);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-cache"));
    assert_int_equal(json_integer_value(json_object_get(answer.json, "replaced_by")), 2);
    answer_release(&answer);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(review),
        cmocka_unit_test(publish_and_verify),
        cmocka_unit_test(forgery),
        cmocka_unit_test(caching),
    };
    return cmocka_run_group_tests_name("cli editions", tests, start, stop);
}
