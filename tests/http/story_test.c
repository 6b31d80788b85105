/* SPDX-License-Identifier: MIT */
/* The job itself: two schools on one meridian register, join a day, hand in a
 * noon each, and get their pair, the circumference and the leaderboard; a run is
 * corrected and withdrawn; a request that is sent twice is done once; a whole day
 * goes out as spreadsheets and in again. Schools are invented and placed on land;
 * readings come from the Sun with seeded errors of an ordinary class. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/science/meridian.h"
#include "server/wire/csv.h"
#include "tests/support/http.h"
#include "tests/support/near.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define BODY_MAX ((size_t)65536)

static struct served served;
/* 3.2 degrees east: the Massif Central and the Tell Atlas. */
static struct school north = {.site = "causse-school",
                              .name = "Causse School",
                              .lat_deg = 44.5,
                              .lon_deg = 3.2,
                              .gnomon_m = 1.2};
static struct school south = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};

static double real_at(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    if (!json_is_number(value))
        fail_msg("%s is no number", key);
    return json_number_value(value);
}

static const char *text_at(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value == NULL ? "" : value;
}

/* Hands a run in; the answer is the caller's. */
static void hand_in(const struct school *school, const char *secret, const char *idempotency,
                    uint64_t seed, int64_t supersedes, struct answer *answer) {
    char path[200], header[100];
    struct text body;
    text_init(&body, BODY_MAX);
    school_measure(school, DAY, seed, supersedes, &body);
    snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/%s/runs", school->site);
    snprintf(header, sizeof header, "Idempotency-Key: %s", idempotency);
    const struct ask ask = {.method = "POST",
                            .path = path,
                            .key = secret,
                            .type = "application/json",
                            .body = body.bytes,
                            .header = {header}};
    http_ask(served.base, &ask, answer);
    text_release(&body);
}

static void schools_and_a_day(void **state) {
    (void)state;
    school_register(served.base, &north);
    school_register(served.base, &south);
    json_t *day = http_send(served.base, "POST", "/api/v1/days", served.organiser,
                            "{\"date\":\"" DAY "\",\"name\":\"Equinox noon\","
                            "\"spare_dates\":[\"2027-03-22\"]}",
                            201);
    assert_string_equal(text_at(day, "day"), DAY);
    assert_near(real_at(day, "lon_tolerance_deg"), 1.0, 0.0);
    json_decref(day);
    school_join(served.base, &north, DAY);
    school_join(served.base, &south, DAY);

    json_t *sites = http_get(served.base, "/api/v1/days/" DAY "/sites", 200);
    assert_int_equal(json_array_size(json_object_get(sites, "sites")), 2);
    json_decref(sites);
    /* What is not public stays so. */
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = "/api/v1/sites"}, &answer);
    assert_null(strstr(answer.body.bytes, "example.org"));
    assert_null(strstr(answer.body.bytes, north.key));
    answer_release(&answer);
}

/* Noon on 3.2 E that day: 12:00 UTC less 12.8 min of longitude plus some 7.5 min of
 * equation of time (Astronomical tables give -7 min 30 s for 20 March, from
 * memory); asked here to the minute only, the Sun itself is tested elsewhere. */
static void the_plan_tells_noon_but_not_the_answer(void **state) {
    (void)state;
    json_t *plan = http_get(served.base, "/api/v1/days/" DAY "/sites/causse-school/plan", 200);
    const json_t *date = json_array_get(json_object_get(plan, "dates"), 0);
    assert_int_equal(json_array_size(json_object_get(plan, "dates")), 2);
    assert_string_equal(text_at(date, "status"), "measurable");
    assert_memory_equal(text_at(date, "transit_utc"), "2027-03-20T11:54", 16);
    const json_t *partner = json_array_get(json_object_get(plan, "partners"), 0);
    assert_string_equal(text_at(partner, "site"), "tell-school");
    /* 8.1 degrees of latitude near 40 N: 111.03 km a degree (length of a degree of
     * latitude at 40 N in handbooks: 111.035 km), from memory. */
    assert_near(real_at(partner, "separation_km"), 8.1 * 111.03, 1.0);
    assert_true(json_is_true(json_object_get(plan, "blind")));
    assert_true(json_is_null(json_object_get(date, "expected_angle_deg")));
    assert_true(real_at(date, "shadow_to_mm") > 2.0 * real_at(date, "shadow_from_mm"));
    json_decref(plan);
}

static void two_runs_make_a_pair(void **state) {
    (void)state;
    struct answer first, second;
    hand_in(&north, north.code, "causse-first-run", 11, 0, &first);
    assert_int_equal(first.status, 201);
    const json_t *reduction = json_object_get(first.json, "reduction");
    assert_string_equal(text_at(reduction, "status"), "ok");
    /* The Sun stands within half a degree of the equator that day. */
    assert_near(real_at(reduction, "noon_angle_deg"), 44.5, 0.6);
    assert_int_equal(json_array_size(json_object_get(first.json, "pairs")), 0);

    hand_in(&south, south.key, "tell-first-run", 12, 0, &second);
    assert_int_equal(second.status, 201);
    const json_t *pair = json_array_get(json_object_get(second.json, "pairs"), 0);
    assert_string_equal(text_at(pair, "site1"), "causse-school");
    assert_string_equal(text_at(pair, "site2"), "tell-school");
    assert_string_equal(text_at(pair, "status"), "ok");
    assert_near(real_at(pair, "circumference_km"), MERIDIAN_CIRCUMFERENCE_KM,
                4.0 * real_at(pair, "sigma_km"));
    assert_true(real_at(pair, "sigma_km") < 1000.0);
    answer_release(&first);
    answer_release(&second);
}

static void the_result_is_the_pair(void **state) {
    (void)state;
    json_t *result = http_get(served.base, "/api/v1/days/" DAY "/result", 200);
    json_t *pairs = http_get(served.base, "/api/v1/days/" DAY "/pairs", 200);
    const json_t *pair = json_array_get(json_object_get(pairs, "pairs"), 0);
    json_t *own = http_get(served.base, "/api/v1/days/" DAY "/sites/tell-school/pairs", 200);
    assert_true(json_equal(json_object_get(own, "pairs"), json_object_get(pairs, "pairs")));
    json_decref(own);
    assert_string_equal(text_at(result, "status"), "ok");
    assert_int_equal(json_integer_value(json_object_get(result, "sites")), 2);
    /* Two sites: a line through two points is the pair itself. */
    assert_near(real_at(result, "circumference_km"), real_at(pair, "circumference_km"), 1e-3);
    json_decref(result);
    json_decref(pairs);

    json_t *board = http_get(served.base, "/api/v1/days/" DAY "/leaderboard", 200);
    const json_t *best = json_array_get(json_object_get(board, "pairs"), 0);
    assert_int_equal(json_integer_value(json_object_get(best, "place")), 1);
    double error_percent =
        100.0 * (real_at(best, "circumference_km") / MERIDIAN_CIRCUMFERENCE_KM - 1.0);
    assert_near(real_at(best, "error_percent"), error_percent, 1e-6);
    assert_int_equal(json_array_size(json_object_get(board, "sites")), 2);
    assert_int_equal(json_array_size(json_object_get(board, "honesty")), 2);
    json_decref(board);
}

static void the_same_request_twice_is_done_once(void **state) {
    (void)state;
    struct answer again, other, runs;
    struct answer first;
    hand_in(&north, north.code, "causse-first-run", 11, 0, &first);
    hand_in(&north, north.code, "causse-first-run", 11, 0, &again);
    assert_int_equal(again.status, 201);
    assert_int_equal(first.body.length, again.body.length);
    assert_memory_equal(first.body.bytes, again.body.bytes, first.body.length);
    hand_in(&north, north.code, "causse-first-run", 99, 0, &other);
    answer_assert_problem(&other, 422, "idempotency_key_reused", "Idempotency-Key");
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/runs"}, &runs);
    assert_int_equal(json_array_size(json_object_get(runs.json, "runs")), 2);
    answer_release(&first);
    answer_release(&again);
    answer_release(&other);
    answer_release(&runs);
}

static int64_t current_run(const char *site) {
    json_t *runs = http_get(served.base, "/api/v1/days/" DAY "/runs", 200);
    int64_t id = 0;
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(runs, "runs"), i, item) {
        const json_t *run = json_object_get(item, "run");
        if (strcmp(text_at(run, "site"), site) == 0)
            id = json_integer_value(json_object_get(run, "id"));
    }
    json_decref(runs);
    return id;
}

static void a_correction_supersedes(void **state) {
    (void)state;
    struct answer answer;
    char path[100];
    int64_t before = current_run("causse-school");
    hand_in(&north, north.code, "causse-without-naming", 21, 0, &answer);
    answer_assert_problem(&answer, 409, "run_exists", "/supersedes");
    answer_release(&answer);
    hand_in(&north, north.code, "causse-corrected", 21, before, &answer);
    assert_int_equal(answer.status, 201);
    int64_t after = json_integer_value(json_object_get(json_object_get(answer.json, "run"), "id"));
    assert_true(after > before);
    assert_int_equal(json_array_size(json_object_get(answer.json, "pairs")), 1);
    answer_release(&answer);
    assert_int_equal(current_run("causse-school"), after);
    json_t *of_site = http_get(served.base, "/api/v1/days/" DAY "/sites/causse-school/run", 200);
    assert_int_equal(json_integer_value(json_object_get(json_object_get(of_site, "run"), "id")),
                     after);
    json_decref(of_site);

    snprintf(path, sizeof path, "/api/v1/runs/%lld", (long long)before);
    json_t *old = http_get(served.base, path, 200);
    assert_int_equal(
        json_integer_value(json_object_get(json_object_get(old, "run"), "superseded_by")), after);
    json_decref(old);
    hand_in(&north, north.code, "causse-too-late", 22, before, &answer);
    answer_assert_problem(&answer, 409, "run_not_current", "/supersedes");
    answer_release(&answer);
}

static void assert_import(const struct answer *answer, int made, int replaced, int unchanged) {
    assert_int_equal(answer->status, 201);
    assert_int_equal(json_integer_value(json_object_get(answer->json, "runs")),
                     made + replaced + unchanged);
    assert_int_equal(json_integer_value(json_object_get(answer->json, "new")), made);
    assert_int_equal(json_integer_value(json_object_get(answer->json, "replaced")), replaced);
    assert_int_equal(json_integer_value(json_object_get(answer->json, "unchanged")), unchanged);
    assert_int_equal(json_array_size(json_object_get(answer->json, "reductions")), made + replaced);
}

/* Nothing, and with one figure changed one run. */
static void the_same_sheet_again(const struct served *other, const char *sheet) {
    struct answer before, after;
    struct ask ask = {.method = "POST",
                      .path = "/api/v1/days/" DAY "/readings.csv",
                      .key = other->organiser,
                      .type = "text/csv",
                      .body = sheet};
    http_ask(other->base, &(struct ask){.path = "/api/v1/days/" DAY "/runs"}, &before);
    for (int i = 0; i < 2; i++) {
        http_ask(other->base, &ask, &after);
        assert_import(&after, 0, 0, 2);
        answer_release(&after);
    }
    http_ask(other->base, &(struct ask){.path = "/api/v1/days/" DAY "/runs"}, &after);
    assert_string_equal(after.body.bytes, before.body.bytes);
    answer_release(&after);
    answer_release(&before);
    char *changed = strdup(sheet);
    assert_non_null(changed);
    char *last = changed + strlen(changed) - 3; /* digit before the end of the line */
    assert_true(*last >= '0' && *last <= '9');
    *last = *last == '5' ? '6' : '5';
    ask.body = changed;
    http_ask(other->base, &ask, &after);
    assert_import(&after, 0, 1, 1);
    answer_release(&after);
    free(changed);
}

/* The same lines, but for the numbers of the runs. */
static void assert_same_reductions(const struct text *one, const struct text *other) {
    struct csv_reader left, right;
    struct err err = {0};
    int more;
    assert_int_equal(csv_reader_init(&left, one->bytes, one->length, &err), 0);
    assert_int_equal(csv_reader_init(&right, other->bytes, other->length, &err), 0);
    while ((more = csv_reader_next(&left, &err)) == 1) {
        assert_int_equal(csv_reader_next(&right, &err), 1);
        assert_int_equal(left.columns, 10);
        assert_int_equal(right.columns, 10);
        for (size_t i = 0; i < left.columns; i++)
            if (i != 7 || left.row == 1)
                assert_string_equal(left.cell[i].text, right.cell[i].text);
    }
    assert_int_equal(more, 0);
    assert_int_equal(csv_reader_next(&right, &err), 0);
    csv_reader_release(&left);
    csv_reader_release(&right);
}

static void assert_cell(const char *cell, const json_t *value) {
    if (json_is_string(value))
        assert_string_equal(cell, json_string_value(value));
    else if (json_is_boolean(value))
        assert_string_equal(cell, json_is_true(value) ? "true" : "false");
    else
        assert_true(strtod(cell, NULL) == json_number_value(value));
}

/* Spreadsheet and map tell the same of every run, one that an organiser leaves out too. */
static void sheet_and_map_agree(void **state) {
    struct answer sheet, map;
    struct csv_reader csv;
    struct err err = {0};
    char path[64], name[10][32];
    size_t counting = 0;
    (void)state;
    json_t *current = http_get(served.base, "/api/v1/days/" DAY "/sites/causse-school/run", 200);
    snprintf(path, sizeof path, "/api/v1/runs/%lld/reviews",
             (long long)json_integer_value(json_object_get(json_object_get(current, "run"), "id")));
    json_decref(current);
    json_decref(http_send(served.base, "POST", path, served.organiser,
                          "{\"verdict\":\"exclude\",\"reason\":\"The pole leaned.\"}", 201));
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/reductions.csv"}, &sheet);
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/reductions.geojson"}, &map);
    const json_t *features = json_object_get(map.json, "features");
    assert_int_equal(csv_reader_init(&csv, sheet.body.bytes, sheet.body.length, &err), 0);
    assert_int_equal(csv_reader_next(&csv, &err), 1);
    assert_int_equal(csv.columns, 10);
    for (size_t i = 0; i < csv.columns; i++)
        snprintf(name[i], sizeof name[i], "%s", csv.cell[i].text);
    for (size_t row = 0; row < json_array_size(features); row++) {
        const json_t *told = json_object_get(json_array_get(features, row), "properties");
        assert_int_equal(csv_reader_next(&csv, &err), 1);
        for (size_t i = 0; i < csv.columns; i++) {
            assert_non_null(json_object_get(told, name[i]));
            assert_cell(csv.cell[i].text, json_object_get(told, name[i]));
        }
        /* All but the school's name, which stands with its place in sites.csv. */
        assert_int_equal(json_object_size(told), csv.columns + 1);
        counting += json_is_true(json_object_get(told, "counts"));
    }
    assert_int_equal(csv_reader_next(&csv, &err), 0);
    assert_int_equal(json_array_size(features), 2);
    assert_int_equal(counting, 1);
    csv_reader_release(&csv);
    answer_release(&sheet);
    answer_release(&map);
    json_decref(http_send(served.base, "POST", path, served.organiser,
                          "{\"verdict\":\"accept\",\"reason\":\"It did not.\"}", 201));
}

/* Everything of a day out as two spreadsheets, into an empty service, and the
 * same angles come out there. */
static void a_day_travels_as_spreadsheets(void **state) {
    (void)state;
    struct served other;
    struct answer sites, readings, reductions, copied;
    served_init(&other);
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/sites.csv"}, &sites);
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/readings.csv"}, &readings);
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/reductions.csv"},
             &reductions);
    assert_memory_equal(sites.body.bytes, "site,", 5);
    assert_memory_equal(readings.body.bytes, "site,utc,shadow_mm\r\n", 20);

    struct ask ask = {.method = "POST",
                      .path = "/api/v1/sites.csv",
                      .key = other.organiser,
                      .type = "text/csv",
                      .body = sites.body.bytes};
    http_ask(other.base, &ask, &copied);
    assert_int_equal(copied.status, 201);
    assert_int_equal(json_integer_value(json_object_get(copied.json, "sites")), 2);
    assert_int_equal(json_array_size(json_object_get(copied.json, "keys")), 2);
    answer_release(&copied);
    http_ask(other.base, &ask, &copied);
    assert_int_equal(json_integer_value(json_object_get(copied.json, "unchanged")), 2);
    answer_release(&copied);

    json_decref(http_send(other.base, "POST", "/api/v1/days", other.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    ask.path = "/api/v1/days/" DAY "/readings.csv";
    ask.body = readings.body.bytes;
    http_ask(other.base, &ask, &copied);
    assert_int_equal(copied.status, 201);
    assert_import(&copied, 2, 0, 0);
    answer_release(&copied);
    http_ask(other.base, &(struct ask){.path = "/api/v1/days/" DAY "/reductions.csv"}, &copied);
    assert_same_reductions(&copied.body, &reductions.body);
    answer_release(&copied);
    the_same_sheet_again(&other, readings.body.bytes);
    /* What the classes themselves handed in, with more beside it, is left alone too. */
    ask.key = served.organiser;
    http_ask(served.base, &ask, &copied);
    assert_import(&copied, 0, 0, 2);
    answer_release(&copied);
    answer_release(&sites);
    answer_release(&readings);
    answer_release(&reductions);
    served_release(&other);
}

static void the_store_agrees_with_itself(void **state) {
    char line[200];
    (void)state;
    assert_int_equal(served_stop(&served, 15), 0);
    assert_int_equal(served_command(&served, "check", NULL, line, sizeof line), 0);
    assert_int_equal(served_command(&served, "rebuild", NULL, line, sizeof line), 0);
    assert_int_equal(served_command(&served, "check", NULL, line, sizeof line), 0);
    assert_non_null(strstr(line, " 0 differences"));
    served_start(&served);
}

static void a_withdrawn_run_leaves_the_day(void **state) {
    char path[100];
    struct answer answer;
    (void)state;
    snprintf(path, sizeof path, "/api/v1/runs/%lld?reason=the%%20gnomon%%20fell",
             (long long)current_run("tell-school"));
    http_ask(served.base, &(struct ask){.method = "DELETE", .path = path, .key = south.code},
             &answer);
    answer_assert_problem(&answer, 401, "wrong_key", NULL);
    answer_release(&answer);
    json_decref(http_send(served.base, "DELETE", path, south.key, NULL, 204));
    http_ask(served.base, &(struct ask){.method = "DELETE", .path = path, .key = south.key},
             &answer);
    answer_assert_problem(&answer, 409, "run_not_current", NULL);
    answer_release(&answer);
    json_t *result = http_get(served.base, "/api/v1/days/" DAY "/result", 200);
    assert_string_equal(text_at(result, "status"), "too_few");
    assert_true(json_is_null(json_object_get(result, "circumference_km")));
    json_decref(result);
    json_t *pairs = http_get(served.base, "/api/v1/days/" DAY "/pairs", 200);
    assert_int_equal(json_array_size(json_object_get(pairs, "pairs")), 0);
    json_decref(pairs);
    pairs = http_get(served.base, "/api/v1/days/" DAY "/sites/tell-school/pairs", 200);
    assert_int_equal(json_array_size(json_object_get(pairs, "pairs")), 0);
    json_decref(pairs);
    json_decref(http_get(served.base, "/api/v1/days/" DAY "/sites/tell-school/run", 404));
}

static void a_site_changes_and_leaves(void **state) {
    (void)state;
    json_t *site = http_send(served.base, "PUT", "/api/v1/sites/tell-school", south.key,
                             "{\"name\":\"Tell School, upper yard\",\"lat_deg\":36.41,"
                             "\"lon_deg\":3.3}",
                             200);
    assert_near(real_at(site, "lat_deg"), 36.41, 0.0);
    json_decref(site);
    json_decref(http_send(served.base, "DELETE", "/api/v1/days/" DAY "/sites/tell-school",
                          south.key, NULL, 204));
    json_t *sites = http_get(served.base, "/api/v1/days/" DAY "/sites", 200);
    assert_int_equal(json_array_size(json_object_get(sites, "sites")), 1);
    json_decref(sites);

    json_t *code = http_send(served.base, "POST", "/api/v1/sites/causse-school/class_code",
                             north.key, NULL, 201);
    struct answer answer;
    hand_in(&north, north.code, "causse-old-code", 31, current_run("causse-school"), &answer);
    answer_assert_problem(&answer, 401, "wrong_key", NULL);
    answer_release(&answer);
    hand_in(&north, text_at(code, "class_code"), "causse-new-code", 31,
            current_run("causse-school"), &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    json_decref(code);
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
        cmocka_unit_test(schools_and_a_day),
        cmocka_unit_test(the_plan_tells_noon_but_not_the_answer),
        cmocka_unit_test(two_runs_make_a_pair),
        cmocka_unit_test(the_result_is_the_pair),
        cmocka_unit_test(the_same_request_twice_is_done_once),
        cmocka_unit_test(a_correction_supersedes),
        cmocka_unit_test(a_day_travels_as_spreadsheets),
        cmocka_unit_test(sheet_and_map_agree),
        cmocka_unit_test(the_store_agrees_with_itself),
        cmocka_unit_test(a_withdrawn_run_leaves_the_day),
        cmocka_unit_test(a_site_changes_and_leaves),
    };
    return cmocka_run_group_tests_name("http story", tests, start, stop);
}
