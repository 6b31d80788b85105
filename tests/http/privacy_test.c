/* SPDX-License-Identifier: MIT */
/* What a school keeps to itself, over HTTP: the position it lets out only rounded,
 * its contact, and what it may do with its own record. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "server/http/routes.h"
#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define API "/api/v1"
#define DAY "2027-03-20"

static struct served served;
static struct school puna = {.site = "huayra",
                             .name = "Huayra School",
                             .lat_deg = -22.7213,
                             .lon_deg = -65.6972,
                             .gnomon_m = 1};
static struct school pampa = {.site = "pampa",
                              .name = "Pampa School",
                              .lat_deg = -36.6203,
                              .lon_deg = -65.2906,
                              .gnomon_m = 1.2};

/* What tells the time of day, or never ends. */
static const char *const passed_over[] = {API "/openapi.json", API "/time", API "/days/{day}/live"};

static bool is_passed_over(const char *pattern) {
    for (size_t i = 0; i < sizeof passed_over / sizeof passed_over[0]; i++)
        if (strcmp(passed_over[i], pattern) == 0)
            return true;
    return strncmp(pattern, API, strlen(API)) != 0;
}

/* An address of a pattern, about this day, a site, and run 1. */
static void fill_in(const char *pattern, const char *site, char *out, size_t size) {
    static const char *const names[] = {"{day}", "{site}", "{id}"};
    const char *const values[] = {DAY, site, "1"};
    size_t length = 0;
    for (const char *at = pattern; *at != '\0' && length + 1 < size;) {
        size_t k = 0;
        while (k < 3 && strncmp(at, names[k], strlen(names[k])) != 0)
            k++;
        if (k < 3) {
            length += (size_t)snprintf(out + length, size - length, "%s", values[k]);
            at += strlen(names[k]);
        } else {
            out[length++] = *at++;
        }
    }
    out[length] = '\0';
}

static size_t gather_one(const char *path, struct text *out) {
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = path}, &answer);
    bool found = answer.status == 200;
    if (found) {
        text_format(out, "%s\n", path);
        text_add(out, answer.body.bytes, answer.body.length);
        text_put(out, "\n");
    }
    answer_release(&answer);
    return found;
}

/* Everything that anybody may read, by the table of routes: what is added to it later
 * is looked at too. */
static void gather(struct text *out) {
    size_t found = 0;
    text_init(out, 1u << 24);
    for (int i = 0; i < routes_count; i++) {
        char path[256];
        if (routes[i].method != METHOD_GET || routes[i].caller != CALLER_ANYONE ||
            is_passed_over(routes[i].pattern))
            continue;
        fill_in(routes[i].pattern, puna.site, path, sizeof path);
        found += gather_one(path, out);
        if (strstr(routes[i].pattern, "{site}") != NULL) {
            fill_in(routes[i].pattern, pampa.site, path, sizeof path);
            found += gather_one(path, out);
        }
    }
    assert_true(found >= 18);
    assert_false(out->failed);
}

static void put_site(const struct school *school, const char *more, long status) {
    char path[128], body[512];
    snprintf(path, sizeof path, API "/sites/%s", school->site);
    snprintf(body, sizeof body,
             "{\"name\":\"%s\",\"lat_deg\":%.6f,\"lon_deg\":%.6f,\"gnomon_mm\":%.0f%s}",
             school->name, school->lat_deg, school->lon_deg, 1000.0 * school->gnomon_m, more);
    json_decref(http_send(served.base, "PUT", path, school->key, body, status));
}

static void hand_in(const struct school *school, uint64_t seed) {
    struct text run;
    struct answer answer;
    char path[128], key[64];
    text_init(&run, 65536);
    school_measure(school, DAY, seed, 0, &run);
    if (school == &puna) { /* words beside the readings */
        assert_int_equal(run.bytes[run.length - 1], '}');
        run.length--;
        text_put(&run, ",\"sky\":\"clear over the salt flat\"}");
    }
    snprintf(path, sizeof path, API "/days/" DAY "/sites/%s/runs", school->site);
    snprintf(key, sizeof key, "Idempotency-Key: privacy-%s", school->site);
    http_ask(served.base,
             &(struct ask){.method = "POST",
                           .path = path,
                           .key = school->code,
                           .type = "application/json",
                           .body = run.bytes,
                           .header = {key}},
             &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    text_release(&run);
}

static double number(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

/* The strongest thing to say about a leak: move the playground about inside the
 * square that it lets out, and nothing that anybody can read changes by a byte,
 * though everything was derived anew. */
static void what_is_public_knows_no_more_than_the_rounding(void **state) {
    struct text before, after;
    (void)state;
    put_site(&puna, ",\"elev_m\":3437,\"position_decimals\":2", 200);
    json_decref(http_send(served.base, "POST", API "/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    school_join(served.base, &puna, DAY);
    school_join(served.base, &pampa, DAY);
    json_decref(
        http_send(served.base, "POST", API "/days/" DAY "/partners", served.organiser, NULL, 201));
    hand_in(&puna, 11);
    hand_in(&pampa, 12);
    gather(&before);
    assert_null(strstr(before.bytes, "-22.721"));
    assert_null(strstr(before.bytes, "-65.697"));
    assert_null(strstr(before.bytes, "3437"));
    assert_null(strstr(before.bytes, "example.org"));

    struct school moved = puna;
    moved.lat_deg = -22.7166;
    moved.lon_deg = -65.7031;
    put_site(&moved, ",\"elev_m\":3391,\"position_decimals\":2", 200);
    gather(&after);
    assert_string_equal(before.bytes, after.bytes);
    text_release(&after);

    /* The test can fail: one square on, much changes. */
    moved.lat_deg = -22.7294;
    put_site(&moved, ",\"elev_m\":3391,\"position_decimals\":2", 200);
    gather(&after);
    assert_string_not_equal(before.bytes, after.bytes);
    text_release(&after);
    text_release(&before);
    put_site(&puna, ",\"elev_m\":3437,\"position_decimals\":2", 200);
}

/* A step of 0.01 degrees spread evenly: sigma is the step over the root of 12. */
static void the_rounding_is_in_sigma(void **state) {
    (void)state;
    json_t *view = http_get(served.base, API "/runs/1", 200);
    const json_t *reduction = json_object_get(view, "reduction");
    const json_t *budget = json_object_get(reduction, "budget");
    const char *key;
    json_t *part;
    double squares = 0.0;
    assert_true(fabs(number(budget, "position_deg") - 0.01 / sqrt(12.0)) < 1e-12);
    json_object_foreach((json_t *)(uintptr_t)budget, key, part) squares +=
        json_number_value(part) * json_number_value(part);
    assert_true(fabs(sqrt(squares) - number(reduction, "sigma_deg")) < 1e-12);
    json_decref(view);
}

static json_t *get_site_with(const char *key) {
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = API "/sites/huayra", .key = key}, &answer);
    assert_int_equal(answer.status, 200);
    assert_true(key == NULL || answer_header_is(&answer, "Cache-Control", "no-store"));
    json_t *site = json_incref(answer.json);
    answer_release(&answer);
    return site;
}

static void the_school_and_organisers_see_all(void **state) {
    const char *const keys[] = {puna.key, served.organiser};
    const char *const others[] = {NULL, puna.code, pampa.key};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        json_t *site = get_site_with(keys[i]);
        assert_true(number(site, "lat_deg") == puna.lat_deg);
        assert_true(number(site, "elev_m") == 3437.0);
        assert_string_equal(json_string_value(json_object_get(site, "contact")),
                            "office@example.org");
        json_decref(site);
    }
    for (size_t i = 0; i < 3; i++) {
        struct answer answer;
        http_ask(served.base, &(struct ask){.path = API "/sites/huayra", .key = others[i]},
                 &answer);
        assert_int_equal(answer.status, 200);
        assert_true(number(answer.json, "lat_deg") == -22.72);
        assert_true(number(answer.json, "lon_deg") == -65.7);
        assert_true(number(answer.json, "elev_m") == 3400.0);
        assert_null(json_object_get(answer.json, "contact"));
        answer_release(&answer);
    }
}

/* Neither the contact nor the exact position is lost by sending the public record
 * back, nor by a change that says nothing of them. */
static void a_change_loses_nothing_unsaid(void **state) {
    (void)state;
    json_t *public = http_get(served.base, API "/sites/huayra", 200);
    json_object_set_new(public, "name", json_string("Huayra School No. 1"));
    char *body = json_dumps(public, JSON_COMPACT);
    json_decref(http_send(served.base, "PUT", API "/sites/huayra", puna.key, body, 200));
    free(body);
    json_decref(public);
    json_t *site = get_site_with(puna.key);
    assert_string_equal(json_string_value(json_object_get(site, "name")), "Huayra School No. 1");
    assert_string_equal(json_string_value(json_object_get(site, "contact")), "office@example.org");
    assert_true(number(site, "lat_deg") == puna.lat_deg);
    assert_true(number(site, "lon_deg") == puna.lon_deg);
    assert_true(number(site, "elev_m") == 3437.0);
    assert_true(number(site, "position_decimals") == 2.0);
    json_decref(site);
    /* Said is said. */
    put_site(&puna, ",\"contact\":null,\"position_decimals\":null,\"elev_m\":3437", 200);
    site = get_site_with(NULL);
    assert_true(number(site, "lat_deg") == puna.lat_deg);
    assert_true(json_is_null(json_object_get(site, "position_decimals")));
    json_decref(site);
    site = get_site_with(puna.key);
    assert_true(json_is_null(json_object_get(site, "contact")));
    json_decref(site);
    put_site(&puna, ",\"contact\":\"office@example.org\",\"position_decimals\":2,\"elev_m\":3437",
             200);
    put_site(&puna, ",\"position_decimals\":5", 422);
    put_site(&puna, ",\"position_decimals\":0", 422);
    put_site(&puna, ",\"position_decimals\":1.5", 422);
}

/* An organiser's spreadsheet out and in again changes nothing, neither does the
 * public one. */
static void spreadsheets_lose_nothing_either(void **state) {
    const char *const keys[] = {served.organiser, NULL};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct answer sheet, answer;
        http_ask(served.base, &(struct ask){.path = API "/sites.csv", .key = keys[i]}, &sheet);
        assert_int_equal(sheet.status, 200);
        assert_int_equal(strstr(sheet.body.bytes, "office@example.org") != NULL, i == 0);
        http_ask(served.base,
                 &(struct ask){.method = "POST",
                               .path = API "/sites.csv",
                               .key = served.organiser,
                               .type = "text/csv",
                               .body = sheet.body.bytes},
                 &answer);
        assert_int_equal(answer.status, 201);
        assert_true(number(answer.json, "changed") == 0.0);
        assert_true(number(answer.json, "unchanged") == 2.0);
        answer_release(&answer);
        answer_release(&sheet);
    }
}

static void assert_warned(const json_t *answer, const char *field) {
    const json_t *warnings = json_object_get(answer, "warnings");
    assert_true(json_is_array(warnings));
    bool warned = false;
    size_t i;
    json_t *warning;
    json_array_foreach(warnings, i, warning) {
        if (strcmp(json_string_value(json_object_get(warning, "code")), "personal_text") == 0) {
            assert_string_equal(json_string_value(json_object_get(warning, "field")), field);
            warned = true;
        }
    }
    assert_int_equal(warned, field != NULL);
}

/* Taken, and told: it is public. The contact is not, and may be what it likes. */
static void what_looks_personal_is_told(void **state) {
    (void)state;
    json_t *made = http_send(served.base, "POST", API "/sites", NULL,
                             "{\"name\":\"Casa de maro@example.org\",\"lat_deg\":-12.3,"
                             "\"lon_deg\":-70.1}",
                             201);
    assert_warned(made, "/name");
    const char *key = json_string_value(json_object_get(made, "school_key"));
    const char *site = json_string_value(json_object_get(json_object_get(made, "site"), "site"));
    char path[128];
    snprintf(path, sizeof path, API "/sites/%s", site);
    json_t *changed = http_send(served.base, "PUT", path, key,
                                "{\"name\":\"Casa del Sol\",\"lat_deg\":-12.3,\"lon_deg\":-70.1,"
                                "\"contact\":\"+22 609 123 4567\"}",
                                200);
    assert_warned(changed, NULL);
    json_decref(http_send(served.base, "DELETE", path, key, NULL, 200));
    json_decref(changed);
    json_decref(made);
}

static size_t count_of(const json_t *object, const char *key) {
    return json_array_size(json_object_get(object, key));
}

/* The run's review, said by both sides. */
static const struct {
    const char *verdict, *reason, *by;
} said[] = {
    {"ask", "Was the pole upright?", "organiser"},
    {"answer", "It leaned a little.", "school"},
    {"exclude", "The pole leaned, says the school.", "organiser"},
    {"accept", "The lean is in sigma.", "organiser"},
};
#define SAID (sizeof said / sizeof said[0])

static void say_it(void) {
    char path[64], body[160];
    json_t *current = http_get(served.base, API "/days/" DAY "/sites/huayra/run", 200);
    snprintf(path, sizeof path, API "/runs/%lld/reviews",
             (long long)json_integer_value(json_object_get(json_object_get(current, "run"), "id")));
    json_decref(current);
    for (size_t i = 0; i < SAID; i++) {
        snprintf(body, sizeof body, "{\"verdict\":\"%s\",\"reason\":\"%s\"}", said[i].verdict,
                 said[i].reason);
        bool school = strcmp(said[i].by, "school") == 0;
        json_decref(
            http_send(served.base, "POST", path, school ? puna.key : served.organiser, body, 201));
    }
}

static void holds_what_was_said(const json_t *data) {
    const json_t *reviews = json_object_get(data, "reviews");
    assert_int_equal(json_array_size(reviews), SAID);
    for (size_t i = 0; i < SAID; i++) {
        const json_t *review = json_array_get(reviews, i);
        assert_string_equal(json_string_value(json_object_get(review, "verdict")), said[i].verdict);
        assert_string_equal(json_string_value(json_object_get(review, "reason")), said[i].reason);
        assert_string_equal(json_string_value(json_object_get(review, "by")), said[i].by);
        assert_true(json_integer_value(json_object_get(review, "run")) > 0);
    }
}

/* All that is kept, for the school and organisers and nobody else. */
static void a_school_takes_its_data_home(void **state) {
    static const char path[] = API "/sites/huayra/data";
    const char *const strangers[] = {NULL, pampa.key, puna.code};
    struct answer answer;
    (void)state;
    say_it();
    http_ask(served.base, &(struct ask){.path = path, .key = puna.key}, &answer);
    assert_int_equal(answer.status, 200);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-store"));
    const json_t *site = json_object_get(answer.json, "site");
    assert_true(number(site, "lat_deg") == puna.lat_deg);
    assert_string_equal(json_string_value(json_object_get(site, "contact")), "office@example.org");
    assert_true(count_of(answer.json, "versions") > 3);
    assert_int_equal(count_of(answer.json, "runs"), 1);
    const json_t *run =
        json_object_get(json_array_get(json_object_get(answer.json, "runs"), 0), "run");
    assert_int_equal(count_of(run, "readings"), 13);
    holds_what_was_said(answer.json);
    /* Two secrets made, one day joined. */
    assert_true(count_of(answer.json, "happenings") >= 3);
    assert_true(count_of(answer.json, "audit") >= 5);
    assert_null(strstr(answer.body.bytes, puna.key));
    assert_null(strstr(answer.body.bytes, puna.code));
    answer_release(&answer);
    for (size_t i = 0; i < 3; i++) {
        http_ask(served.base, &(struct ask){.path = path, .key = strangers[i]}, &answer);
        answer_assert_problem(&answer, 401, "wrong_key", NULL);
        answer_release(&answer);
    }
}

static bool file_holds(const char *path, const char *word) {
    static char bytes[1 << 23];
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    size_t length = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    assert_true(length > 0 && length < sizeof bytes);
    return memmem(bytes, length, word, strlen(word)) != NULL;
}

/* Gone from what is public, from the answers kept for others, and from the very bytes
 * of the store once it is closed. */
static void a_school_is_taken_out(void **state) {
    struct answer answer;
    struct text before;
    (void)state;
    http_ask(
        served.base,
        &(struct ask){.method = "DELETE", .path = API "/sites/huayra?runs=erase", .key = puna.key},
        &answer);
    answer_assert_problem(&answer, 400, "bad_query", "runs");
    answer_release(&answer);
    json_decref(http_send(served.base, "DELETE", API "/sites/huayra", pampa.key, NULL, 401));
    json_decref(http_send(served.base, "DELETE", API "/sites/huayra", puna.code, NULL, 401));
    json_t *removed = http_send(served.base, "DELETE", API "/sites/huayra?reason=moved%20away",
                                puna.key, NULL, 200);
    assert_string_equal(json_string_value(json_object_get(removed, "site")), "removed-1");
    json_decref(removed);
    json_decref(http_send(served.base, "DELETE", API "/sites/huayra", puna.key, NULL, 401));
    json_decref(http_get(served.base, API "/sites/huayra", 404));
    puna.site = "removed-1";
    gather(&before);
    assert_null(strstr(before.bytes, "huayra"));
    assert_null(strstr(before.bytes, "Huayra"));
    assert_non_null(strstr(before.bytes, "removed-1"));
    text_release(&before);
    json_t *site = http_get(served.base, API "/sites/removed-1", 200);
    assert_true(number(site, "lat_deg") == -22.7 && number(site, "lon_deg") == -65.7);
    assert_string_equal(json_string_value(json_object_get(site, "name")), "Removed school");
    json_decref(site);
    assert_int_equal(served_stop(&served, 15), 0);
    assert_false(file_holds(served.store, "huayra"));
    assert_false(file_holds(served.store, "Huayra"));
    assert_false(file_holds(served.store, "clear over the salt flat"));
    served_start(&served);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    school_register(served.base, &puna);
    school_register(served.base, &pampa);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_public_knows_no_more_than_the_rounding),
        cmocka_unit_test(the_rounding_is_in_sigma),
        cmocka_unit_test(the_school_and_organisers_see_all),
        cmocka_unit_test(a_change_loses_nothing_unsaid),
        cmocka_unit_test(spreadsheets_lose_nothing_either),
        cmocka_unit_test(what_looks_personal_is_told),
        cmocka_unit_test(a_school_takes_its_data_home),
        cmocka_unit_test(a_school_is_taken_out),
    };
    return cmocka_run_group_tests_name("http privacy", tests, start, stop);
}
