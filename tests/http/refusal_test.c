/* SPDX-License-Identifier: MIT */
/* What must not come in: each bad input gets a problem document with its code
 * and its field, and changes nothing. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define RUNS "/api/v1/days/" DAY "/sites/causse-school/runs"
#define JSON "application/json"
#define CSV "text/csv"

static struct served served;
static struct school school = {.site = "causse-school",
                               .name = "Causse School",
                               .lat_deg = 44.5,
                               .lon_deg = 3.2,
                               .gnomon_m = 1.2};
static struct school stranger = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};

enum key { KEY_NONE, KEY_ORGANISER, KEY_SCHOOL, KEY_CLASS, KEY_STRANGER, KEY_NONSENSE };

static const char *key_of(enum key key) {
    switch (key) {
    case KEY_NONE:
        return NULL;
    case KEY_ORGANISER:
        return served.organiser;
    case KEY_SCHOOL:
        return school.key;
    case KEY_CLASS:
        return school.code;
    case KEY_STRANGER:
        return stranger.key;
    case KEY_NONSENSE:
        break;
    }
    return "0000-NONSENSE";
}

struct refusal {
    const char *label, *method, *path;
    enum key key;
    const char *type, *body;
    long status;
    const char *code, *field;
};

#define SITE(members) "{\"name\":\"New School\"," members "}"
#define HERE "\"lat_deg\":44.5,\"lon_deg\":3.2"

/* clang-format off */
static const struct refusal refusals[] = {
    /* What comes after a NUL is not overlooked. */
    {"a NUL at the end of an address", "GET", "/api/v1/sites%00", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"a NUL within an address", "GET", "/api/v1/sites%00/../days", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"a NUL in a query", "GET", "/api/v1/sites?limit=1%00", KEY_NONE, NULL, NULL, 400, "bad_query", "limit"},
    {"a NUL in the name of a parameter", "GET", "/api/v1/sites?limit%00=1", KEY_NONE, NULL, NULL, 400, "bad_query", "limit\001"},
    /* Bodies that are none. */
    {"no JSON", "POST", "/api/v1/sites", KEY_NONE, JSON, "{\"name\":", 400, "bad_json", NULL},
    {"JSON that is no object", "POST", "/api/v1/sites", KEY_NONE, JSON, "[1]", 422, "wrong_type", NULL},
    {"no body", "POST", "/api/v1/sites", KEY_NONE, JSON, "", 400, "bad_json", NULL},
    {"a key twice", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"name\":\"B\""), 400, "bad_json", NULL},
    {"NaN", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":NaN,\"lon_deg\":3.2"), 400, "bad_json", NULL},
    {"an endless number", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":1e999,\"lon_deg\":3.2"), 400, "bad_json", NULL},
    {"a form", "POST", "/api/v1/sites", KEY_NONE, "application/x-www-form-urlencoded", "name=A", 415, "unsupported_media_type", "Content-Type"},
    {"no media type", "POST", "/api/v1/sites", KEY_NONE, NULL, "{}", 415, "unsupported_media_type", "Content-Type"},
    {"JSON for a spreadsheet", "POST", "/api/v1/sites.csv", KEY_ORGANISER, JSON, "{}", 415, "unsupported_media_type", "Content-Type"},

    /* Fields of a site. */
    {"unknown key", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"colour\":1"), 422, "unknown_field", "/colour"},
    {"missing key", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":44.5"), 422, "missing_field", "/lon_deg"},
    {"text for a number", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":\"44.5\",\"lon_deg\":3.2"), 422, "wrong_type", "/lat_deg"},
    {"true for a number", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":true,\"lon_deg\":3.2"), 422, "wrong_type", "/lat_deg"},
    {"beyond the pole", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":95,\"lon_deg\":120"), 422, "out_of_range", "/lat_deg"},
    {"exchanged position", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":136.5,\"lon_deg\":-34.9"), 422, "position_swapped", "/lat_deg"},
    {"position against its zone", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE("\"lat_deg\":36.8,\"lon_deg\":-1.3,\"zone\":\"Africa/Nairobi\""), 422, "position_swapped", "/lat_deg"},
    {"no such zone", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"zone\":\"Mars/Olympus\""), 422, "unknown_zone", "/zone"},
    {"a zone that climbs out", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"zone\":\"../../etc/passwd\""), 422, "unknown_zone", "/zone"},
    {"a formula for a name", "POST", "/api/v1/sites", KEY_NONE, JSON, "{\"name\":\"=1+1\"," HERE "}", 422, "bad_text", "/name"},
    {"a line break in a name", "POST", "/api/v1/sites", KEY_NONE, JSON, "{\"name\":\"A\\nB\"," HERE "}", 422, "bad_text", "/name"},
    {"an identifier with a slash", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"site\":\"a/b\""), 422, "bad_text", "/site"},
    {"an identifier in use", "POST", "/api/v1/sites", KEY_NONE, JSON, SITE(HERE ",\"site\":\"causse-school\""), 409, "site_exists", "/site"},
    {"another identifier", "PUT", "/api/v1/sites/causse-school", KEY_SCHOOL, JSON, SITE(HERE ",\"site\":\"other\""), 422, "out_of_range", "/site"},

    /* Fields of a day. */
    {"no such date", "POST", "/api/v1/days", KEY_ORGANISER, JSON, "{\"date\":\"2027-02-29\"}", 422, "bad_date", "/date"},
    {"a tolerance too wide", "POST", "/api/v1/days", KEY_ORGANISER, JSON, "{\"date\":\"2027-06-21\",\"lon_tolerance_deg\":16}", 422, "out_of_range", "/lon_tolerance_deg"},
    {"a day there is", "POST", "/api/v1/days", KEY_ORGANISER, JSON, "{\"date\":\"" DAY "\"}", 409, "day_exists", "/day"},

    /* Who may. */
    {"a day without a key", "POST", "/api/v1/days", KEY_NONE, JSON, "{\"date\":\"2027-06-21\"}", 401, "wrong_key", NULL},
    {"a day by a school", "POST", "/api/v1/days", KEY_SCHOOL, JSON, "{\"date\":\"2027-06-21\"}", 401, "wrong_key", NULL},
    {"nonsense for a key", "POST", "/api/v1/days", KEY_NONSENSE, JSON, "{\"date\":\"2027-06-21\"}", 401, "wrong_key", NULL},
    {"a change by the class", "PUT", "/api/v1/sites/causse-school", KEY_CLASS, JSON, SITE(HERE), 401, "wrong_key", NULL},
    {"a change by a stranger", "PUT", "/api/v1/sites/causse-school", KEY_STRANGER, JSON, SITE(HERE), 401, "wrong_key", NULL},
    {"joining for another", "PUT", "/api/v1/days/" DAY "/sites/causse-school", KEY_STRANGER, NULL, NULL, 401, "wrong_key", NULL},
    {"a spreadsheet by a school", "POST", "/api/v1/sites.csv", KEY_SCHOOL, CSV, "site\n", 401, "wrong_key", NULL},
    {"a code by the class", "POST", "/api/v1/sites/causse-school/class_code", KEY_CLASS, NULL, NULL, 401, "wrong_key", NULL},

    /* Where. */
    {"no such site", "GET", "/api/v1/sites/nowhere", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"no such day", "GET", "/api/v1/days/1999-01-01/result", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"no such run", "GET", "/api/v1/runs/424242", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"a run that is no number", "GET", "/api/v1/runs/1x", KEY_NONE, NULL, NULL, 404, "not_found", NULL},
    {"a page too long", "GET", "/api/v1/sites?limit=501", KEY_NONE, NULL, NULL, 400, "bad_query", "limit"},
    {"a page of minus one", "GET", "/api/v1/sites?limit=-1", KEY_NONE, NULL, NULL, 400, "bad_query", "limit"},
    {"an unknown parameter", "GET", "/api/v1/sites?colour=red", KEY_NONE, NULL, NULL, 400, "bad_query", "colour"},
    {"a parameter twice", "GET", "/api/v1/sites?limit=1&limit=2", KEY_NONE, NULL, NULL, 400, "bad_query", "limit"},

    /* Spreadsheets, all or nothing. */
    {"an unknown column", "POST", "/api/v1/sites.csv", KEY_ORGANISER, CSV, "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge,hue\na,1,2,3,1000,umbra,red\n", 422, "unknown_field", "row 1, hue"},
    {"a row out of range", "POST", "/api/v1/sites.csv", KEY_ORGANISER, CSV, "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\na,1,2,3,1000,umbra\nb,91,100,3,1000,umbra\n", 422, "out_of_range", "row 3, lat_deg"},
    {"readings of nobody", "POST", "/api/v1/days/" DAY "/readings.csv", KEY_ORGANISER, CSV, "site,utc,shadow_mm\nnobody,2027-03-20T12:00:00Z,900\n", 404, "not_found", "row 2, site"},
    {"a row without an offset", "POST", "/api/v1/days/" DAY "/readings.csv", KEY_ORGANISER, CSV, "site,utc,shadow_mm\ncausse-school,2027-03-20T12:00:00,900\n", 422, "bad_time", "row 2, utc"},
};
/* clang-format on */

/* Everything public in one text, but for what tells the time of asking. */
static void snapshot(struct text *out) {
    static const char *const paths[] = {"/api/v1/sites",
                                        "/api/v1/days",
                                        "/api/v1/days/" DAY "/sites",
                                        "/api/v1/days/" DAY "/runs",
                                        "/api/v1/days/" DAY "/pairs",
                                        "/api/v1/days/" DAY "/result"};
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        struct answer answer;
        http_ask(served.base, &(struct ask){.path = paths[i]}, &answer);
        assert_int_equal(answer.status, 200);
        text_add(out, answer.body.bytes, answer.body.length);
        answer_release(&answer);
    }
}

static void assert_unchanged(const struct text *before) {
    struct text after;
    text_init(&after, 1 << 22);
    snapshot(&after);
    assert_string_equal(before->bytes, after.bytes);
    text_release(&after);
}

static void each_is_named_and_changes_nothing(void **state) {
    struct text before;
    (void)state;
    text_init(&before, 1 << 22);
    snapshot(&before);
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        const struct refusal *row = &refusals[i];
        struct answer answer;
        const struct ask ask = {.method = row->method,
                                .path = row->path,
                                .key = key_of(row->key),
                                .type = row->type,
                                .body = row->body};
        print_message("%s\n", row->label);
        http_ask(served.base, &ask, &answer);
        answer_assert_problem(&answer, row->status, row->code, row->field);
        answer_release(&answer);
    }
    assert_unchanged(&before);
    text_release(&before);
}

/* A run of readings a quarter of an hour apart around noon on the Causse that
 * day, 11:54 UTC; the shadows are those of a 1.2 m gnomon to the centimetre. */
static const double causse_shadow_mm[] = {1221, 1195, 1179, 1173, 1178, 1193, 1218};
#define CAUSSE_READINGS 7

struct variant {
    const char *label;
    double gnomon_mm, shadow_factor;
    const char *date, *offset, *more;
    int readings;
    long status;
    const char *code, *field;
};

/* clang-format off */
static const struct variant variants[] = {
    {"gnomon in centimetres", 120, 1, DAY, "Z", "", 7, 422, "unit_mistaken", "/gnomon/parts"},
    {"shadows in centimetres", 1200, 0.1, DAY, "Z", "", 7, 422, "unit_mistaken", "/gnomon/parts"},
    {"the day before", 1200, 1, "2027-03-19", "Z", "", 7, 422, "wrong_day", "/readings"},
    {"a year later", 1200, 1, "2028-03-20", "Z", "", 7, 422, "wrong_day", "/readings"},
    {"no offset", 1200, 1, DAY, "", "", 7, 422, "bad_time", "/readings/0/time"},
    {"two readings", 1200, 1, DAY, "Z", "", 2, 422, "out_of_range", "/readings"},
    {"an unknown key", 1200, 1, DAY, "Z", ",\"pupil\":\"x\"", 7, 422, "unknown_field", "/pupil"},
    {"a hot day", 1200, 1, DAY, "Z", ",\"temperature_c\":99", 7, 422, "out_of_range", "/temperature_c"},
    {"a negative gnomon", -1200, 1, DAY, "Z", "", 7, 422, "out_of_range", "/gnomon/parts/0/length_mm"},
    {"a kilometre of shadow", 1200, 1000, DAY, "Z", "", 7, 422, "out_of_range", "/readings/0/shadow_mm"},
    {"a run to correct that is none", 1200, 1, DAY, "Z", ",\"supersedes\":77", 7, 409, "run_not_current", "/supersedes"},
};
/* clang-format on */

static void write_run(const struct variant *variant, double gnomon_mm, const double *shadow_mm,
                      struct text *body) {
    text_format(body,
                "{\"gnomon\":{\"parts\":[{\"length_mm\":%g}],\"edge\":\"umbra\"},\"readings\":[",
                gnomon_mm);
    for (int i = 0; i < variant->readings; i++) {
        int minute = 9 + 15 * i; /* from 11:09 on */
        text_format(body, "%s{\"time\":\"%sT%02d:%02d:00%s\",\"shadow_mm\":%g}", i == 0 ? "" : ",",
                    variant->date, 11 + minute / 60, minute % 60, variant->offset, shadow_mm[i]);
    }
    text_format(body, "]%s}", variant->more);
}

static void send_run(const char *body, size_t length, const char *key, const char *idempotency,
                     struct answer *answer) {
    const struct ask ask = {.method = "POST",
                            .path = RUNS,
                            .key = key,
                            .type = JSON,
                            .body = body,
                            .length = length,
                            .header = {idempotency}};
    http_ask(served.base, &ask, answer);
}

static void runs_that_cannot_be(void **state) {
    struct text before, body;
    (void)state;
    text_init(&before, 1 << 22);
    snapshot(&before);
    for (size_t i = 0; i < sizeof variants / sizeof variants[0]; i++) {
        double shadow_mm[CAUSSE_READINGS];
        struct answer answer;
        print_message("%s\n", variants[i].label);
        for (int k = 0; k < CAUSSE_READINGS; k++)
            shadow_mm[k] = causse_shadow_mm[k] * variants[i].shadow_factor;
        text_init(&body, 65536);
        write_run(&variants[i], variants[i].gnomon_mm, shadow_mm, &body);
        send_run(body.bytes, body.length, school.code, "Idempotency-Key: refused-run", &answer);
        answer_assert_problem(&answer, variants[i].status, variants[i].code, variants[i].field);
        answer_release(&answer);
        text_release(&body);
    }
    assert_unchanged(&before);
    text_release(&before);
}

/* 240 readings at most; the refusal names the list, and the number. */
static void too_many_readings(void **state) {
    struct answer answer;
    struct text body;
    (void)state;
    text_init(&body, 65536);
    text_put(&body, "{\"gnomon\":{\"parts\":[{\"length_mm\":1200}],\"edge\":\"umbra\"},"
                    "\"readings\":[");
    for (int i = 0; i < 241; i++)
        text_format(&body, "%s{\"time\":\"" DAY "T11:%02d:%02dZ\",\"shadow_mm\":1200}",
                    i == 0 ? "" : ",", 50 + i / 60, i % 60);
    text_put(&body, "]}");
    send_run(body.bytes, body.length, school.code, "Idempotency-Key: many-readings", &answer);
    answer_assert_problem(&answer, 422, "out_of_range", "/readings");
    assert_non_null(strstr(json_string_value(json_object_get(answer.json, "detail")), "240"));
    answer_release(&answer);
    text_release(&body);
}

/* A gnomon of one length and shadows of another, exchanged: seven readings of one
 * length as "shadows" that cannot be what the Sun does. Far from 45 degrees of
 * zenith distance the exchange shows. */
static void gnomon_and_shadow_exchanged(void **state) {
    static struct school far = {.site = "fjell-school",
                                .name = "Fjell School",
                                .lat_deg = 61.6,
                                .lon_deg = 8.3,
                                .gnomon_m = 1.0};
    struct text before, body;
    struct answer answer;
    (void)state;
    school_register(served.base, &far);
    school_join(served.base, &far, DAY);
    text_init(&before, 1 << 22);
    snapshot(&before);
    text_init(&body, 65536);
    school_measure(&far, DAY, 5, 0, &body);
    json_t *run = json_loadb(body.bytes, body.length, 0, NULL);
    json_t *part = json_array_get(json_object_get(json_object_get(run, "gnomon"), "parts"), 0);
    size_t i;
    json_t *reading;
    double first_mm = 0.0;
    json_array_foreach(json_object_get(run, "readings"), i, reading) {
        if (i == 0)
            first_mm = json_number_value(json_object_get(reading, "shadow_mm"));
        json_object_set_new(reading, "shadow_mm",
                            json_real(1000.0 * first_mm /
                                      json_number_value(json_object_get(reading, "shadow_mm"))));
    }
    json_object_set_new(part, "length_mm", json_real(first_mm));
    char *swapped = json_dumps(run, JSON_COMPACT);
    const struct ask ask = {.method = "POST",
                            .path = "/api/v1/days/" DAY "/sites/fjell-school/runs",
                            .key = far.code,
                            .type = JSON,
                            .body = swapped,
                            .header = {"Idempotency-Key: swapped-lengths"}};
    http_ask(served.base, &ask, &answer);
    answer_assert_problem(&answer, 422, "lengths_swapped", "/gnomon/parts");
    answer_release(&answer);
    assert_unchanged(&before);
    free(swapped);
    json_decref(run);
    text_release(&body);
    text_release(&before);
}

static void runs_of_others(void **state) {
    struct answer answer;
    struct text body;
    (void)state;
    text_init(&body, 65536);
    write_run(&variants[0], 1200, causse_shadow_mm, &body);
    send_run(body.bytes, body.length, NULL, "Idempotency-Key: not-mine-1", &answer);
    answer_assert_problem(&answer, 401, "wrong_key", NULL);
    char missing[512];
    snprintf(missing, sizeof missing, "%s", answer.body.bytes);
    assert_true(answer_header_is(&answer, "WWW-Authenticate", "Bearer realm=\"noonarc\""));
    answer_release(&answer);
    send_run(body.bytes, body.length, stranger.code, "Idempotency-Key: not-mine-2", &answer);
    answer_assert_problem(&answer, 401, "wrong_key", NULL);
    /* No key, a wrong one, one of somebody else: the same words. */
    assert_string_equal(answer.body.bytes, missing);
    answer_release(&answer);
    send_run(body.bytes, body.length, school.code, NULL, &answer);
    answer_assert_problem(&answer, 400, "bad_header", "Idempotency-Key");
    answer_release(&answer);
    send_run(body.bytes, body.length, school.code, "Idempotency-Key: short", &answer);
    answer_assert_problem(&answer, 400, "bad_header", "Idempotency-Key");
    answer_release(&answer);
    /* A code may be typed in lower case and without its dash. */
    char typed[64];
    size_t length = 0;
    for (const char *at = school.code; *at != '\0'; at++)
        if (*at != '-')
            typed[length++] = (char)(*at >= 'A' && *at <= 'Z' ? *at - 'A' + 'a' : *at);
    typed[length] = '\0';
    send_run("{}", 2, typed, "Idempotency-Key: typed-by-hand", &answer);
    answer_assert_problem(&answer, 422, "missing_field", "/gnomon");
    answer_release(&answer);
    const struct ask not_joined = {.method = "POST",
                                   .path = "/api/v1/days/" DAY "/sites/tell-school/runs",
                                   .key = stranger.code,
                                   .type = JSON,
                                   .body = body.bytes,
                                   .header = {"Idempotency-Key: not-joined"}};
    http_ask(served.base, &not_joined, &answer);
    answer_assert_problem(&answer, 409, "not_taking_part", NULL);
    answer_release(&answer);
    text_release(&body);
}

static void megabytes(void **state) {
    static const struct {
        const char *path, *type;
        enum key key;
        size_t length;
    } rows[] = {
        {"/api/v1/sites", JSON, KEY_NONE, 1024 * 1024},
        {"/api/v1/sites", JSON, KEY_NONE, 256 * 1024 + 1},
        {"/api/v1/sites", JSON, KEY_NONE, 6 * 1024 * 1024},
        {RUNS, JSON, KEY_CLASS, 1024 * 1024},
        {"/api/v1/sites.csv", CSV, KEY_ORGANISER, 1024 * 1024 + 1},
    };
    struct text before;
    (void)state;
    text_init(&before, 1 << 22);
    snapshot(&before);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        for (int chunked = 0; chunked < 2; chunked++) {
            struct answer answer;
            char *body = malloc(rows[i].length);
            assert_non_null(body);
            memset(body, ' ', rows[i].length);
            const struct ask ask = {.method = "POST",
                                    .path = rows[i].path,
                                    .key = key_of(rows[i].key),
                                    .type = rows[i].type,
                                    .body = body,
                                    .length = rows[i].length,
                                    .header = {"Idempotency-Key: a-megabyte",
                                               chunked ? "Transfer-Encoding: chunked" : "Expect:"}};
            http_ask(served.base, &ask, &answer);
            answer_assert_problem(&answer, 413, "body_too_large", NULL);
            answer_release(&answer);
            free(body);
        }
    assert_unchanged(&before);
    text_release(&before);
}

/* The largest bodies that are let in are read to the end, and judged. */
static void almost_megabytes(void **state) {
    size_t length = 256 * 1024;
    char *body = malloc(length);
    struct answer answer;
    (void)state;
    assert_non_null(body);
    memset(body, ' ', length);
    const struct ask ask = {
        .method = "POST", .path = "/api/v1/sites", .type = JSON, .body = body, .length = length};
    http_ask(served.base, &ask, &answer);
    answer_assert_problem(&answer, 400, "bad_json", NULL);
    answer_release(&answer);
    free(body);
}

/* The run that all the refused ones resemble is taken. */
static void and_the_right_one_is_taken(void **state) {
    const struct variant right = {.date = DAY, .offset = "Z", .more = "", .readings = 7};
    struct answer answer;
    struct text body;
    (void)state;
    text_init(&body, 65536);
    write_run(&right, 1200, causse_shadow_mm, &body);
    send_run(body.bytes, body.length, school.code, "Idempotency-Key: refused-run", &answer);
    if (answer.status != 201)
        fail_msg("%s", answer.body.bytes);
    answer_release(&answer);
    text_release(&body);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    school_register(served.base, &school);
    school_register(served.base, &stranger);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    school_join(served.base, &school, DAY);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_is_named_and_changes_nothing),
        cmocka_unit_test(runs_that_cannot_be),
        cmocka_unit_test(too_many_readings),
        cmocka_unit_test(gnomon_and_shadow_exchanged),
        cmocka_unit_test(runs_of_others),
        cmocka_unit_test(megabytes),
        cmocka_unit_test(almost_megabytes),
        cmocka_unit_test(and_the_right_one_is_taken),
    };
    return cmocka_run_group_tests_name("http refusals", tests, start, stop);
}
