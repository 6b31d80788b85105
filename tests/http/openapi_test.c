/* SPDX-License-Identifier: MIT */
/* The description of the API against the API: the file and the route table have
 * the same addresses; every operation is asked on the running server, and both
 * what is sent and what comes back is as the file says. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/api/openapi.h"
#include "server/http/routes.h"
#include "tests/support/http.h"
#include "tests/support/schema.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"

static struct served served;
static struct school north = {.site = "causse-school",
                              .name = "Causse School",
                              .lat_deg = 44.5,
                              .lon_deg = 3.2,
                              .gnomon_m = 1.2};
static struct school south = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};
static json_t *document;

static const json_t *operation_of(const char *pattern, const char *method) {
    char verb[16];
    for (size_t i = 0; i <= strlen(method); i++)
        verb[i] = (char)(method[i] >= 'A' && method[i] <= 'Z' ? method[i] - 'A' + 'a' : method[i]);
    return json_object_get(json_object_get(json_object_get(document, "paths"), pattern), verb);
}

static void file_and_table_have_the_same_addresses(void **state) {
    size_t described = 0;
    const char *path, *verb;
    json_t *item, *operation;
    (void)state;
    for (int i = 0; i < routes_count; i++) {
        const json_t *found = operation_of(routes[i].pattern, method_name(routes[i].method));
        if (found == NULL)
            fail_msg("%s %s is not described", method_name(routes[i].method), routes[i].pattern);
        /* Who needs a key, and whether a body is taken, agrees too. */
        assert_int_equal(json_array_size(json_object_get(found, "security")),
                         routes[i].caller != CALLER_ANYONE);
        assert_int_equal(json_object_get(found, "requestBody") != NULL,
                         routes[i].body != BODY_NONE);
    }
    json_object_foreach(json_object_get(document, "paths"), path, item) {
        json_object_foreach(item, verb, operation) described++;
    }
    assert_int_equal(described, routes_count);
}

/* Query parameters of the file are those of the table. */
static void query_parameters_agree(void **state) {
    (void)state;
    for (int i = 0; i < routes_count; i++) {
        const json_t *found = operation_of(routes[i].pattern, method_name(routes[i].method));
        size_t k, in_file = 0, in_table = 0;
        const json_t *parameter;
        if (routes[i].query == NULL)
            continue;
        json_array_foreach(json_object_get(found, "parameters"), k, parameter) {
            parameter = schema_resolve(document, parameter);
            assert_non_null(parameter);
            if (strcmp(json_string_value(json_object_get(parameter, "in")), "query") != 0)
                continue;
            in_file++;
            assert_true(route_takes_query(&routes[i],
                                          json_string_value(json_object_get(parameter, "name"))));
        }
        for (const char *at = routes[i].query; *at != '\0'; at++)
            in_table += at == routes[i].query || at[-1] == ' ';
        assert_int_equal(in_file, in_table);
    }
}

/* The checker finds what is wrong; otherwise what follows would prove nothing. */
static void the_checker_can_say_no(void **state) {
    static const struct {
        const char *schema, *good, *bad;
    } rows[] = {
        {"{\"type\":\"number\"}", "1", "\"1\""},
        {"{\"type\":[\"number\",\"null\"]}", "null", "true"},
        {"{\"type\":\"integer\",\"minimum\":1}", "1", "0"},
        {"{\"type\":\"number\",\"exclusiveMinimum\":0}", "0.1", "0"},
        {"{\"type\":\"string\",\"maxLength\":2}", "\"ab\"", "\"abc\""},
        {"{\"type\":\"string\",\"enum\":[\"S\",\"N\"]}", "\"S\"", "\"E\""},
        {"{\"type\":\"object\",\"required\":[\"a\"],\"properties\":{\"a\":{\"type\":\"number\"}}}",
         "{\"a\":1}", "{}"},
        {"{\"type\":\"object\",\"properties\":{\"a\":{\"type\":\"number\"}}}", "{\"a\":1}",
         "{\"a\":null}"},
        {"{\"type\":\"object\",\"properties\":{},\"additionalProperties\":false}", "{}",
         "{\"b\":1}"},
        {"{\"type\":\"array\",\"items\":{\"type\":\"number\"},\"maxItems\":2}", "[1,2]",
         "[1,\"2\"]"},
        {"{\"type\":\"array\",\"items\":{\"type\":\"number\"},\"maxItems\":2}", "[]", "[1,2,3]"},
        {"{\"anyOf\":[{\"type\":\"number\"},{\"type\":\"null\"}]}", "null", "\"x\""},
        {"{}", "1", NULL},
        {"{\"multipleOf\":2}", NULL, "2"},
        {"{\"$ref\":\"#/nowhere\"}", NULL, "2"},
    };
    char why[400];
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        json_t *schema = json_loads(rows[i].schema, 0, NULL);
        json_t *good =
            rows[i].good == NULL ? NULL : json_loads(rows[i].good, JSON_DECODE_ANY, NULL);
        json_t *bad = rows[i].bad == NULL ? NULL : json_loads(rows[i].bad, JSON_DECODE_ANY, NULL);
        assert_non_null(schema);
        if (good != NULL)
            assert_true(schema_accepts(schema, schema, good, why, sizeof why));
        if (bad != NULL)
            assert_false(schema_accepts(schema, schema, bad, why, sizeof why));
        json_decref(schema);
        json_decref(good);
        json_decref(bad);
    }
}

/* One request with its route's pattern; %s of the path stands for nothing else. */
struct row {
    const char *method, *pattern, *path;
    const char *key;
    const char *body; /* JSON, or a spreadsheet where the path ends in .csv */
    long status;
};

static void check_body(const json_t *content, const char *media, const struct answer *answer,
                       const char *label) {
    char why[400];
    const json_t *schema = json_object_get(json_object_get(content, media), "schema");
    if (schema == NULL)
        fail_msg("%s: %s is not described", label, media);
    if (strstr(media, "json") == NULL)
        return;
    if (answer->json == NULL)
        fail_msg("%s: no JSON: %s", label, answer->body.bytes);
    if (!schema_accepts(document, schema, answer->json, why, sizeof why))
        fail_msg("%s: %s: %s", label, why, answer->body.bytes);
}

static void ask_as_described(const struct row *row) {
    char label[300], status[8], media[200], why[400];
    struct answer answer;
    const char *method = row->method;
    size_t path_length = strlen(row->path);
    bool sheet = path_length > 4 && strcmp(row->path + path_length - 4, ".csv") == 0;
    snprintf(label, sizeof label, "%s %s", method, row->path);
    const json_t *operation = operation_of(row->pattern, method);
    assert_non_null(operation);
    if (row->body != NULL && !sheet && row->status < 300) {
        const json_t *schema = json_object_get(
            json_object_get(json_object_get(json_object_get(operation, "requestBody"), "content"),
                            "application/json"),
            "schema");
        json_t *body = json_loads(row->body, 0, NULL);
        if (!schema_accepts(document, schema, body, why, sizeof why))
            fail_msg("%s: what is sent: %s", label, why);
        json_decref(body);
    }
    static int rows;
    char again[64]; /* of each row its own */
    snprintf(again, sizeof again, "Idempotency-Key: openapi-test-of-row-%03d", rows++);
    const struct ask ask = {.method = method,
                            .path = row->path,
                            .key = row->key,
                            .type = row->body == NULL ? NULL
                                    : sheet           ? "text/csv"
                                                      : "application/json",
                            .body = row->body,
                            .header = {again}};
    http_ask(served.base, &ask, &answer);
    if (answer.status != row->status)
        fail_msg("%s: status %ld, not %ld: %s", label, answer.status, row->status,
                 answer.body.bytes);
    snprintf(status, sizeof status, "%ld", answer.status);
    const json_t *response =
        schema_resolve(document, json_object_get(json_object_get(operation, "responses"), status));
    if (response == NULL)
        fail_msg("%s: status %s is not described", label, status);
    answer_header(&answer, "Content-Type", media, sizeof media);
    media[strcspn(media, ";")] = '\0';
    if (strncmp(row->pattern, "/assets", 7) == 0 && answer.status == 200)
        snprintf(media, sizeof media, "*/*");
    if (answer.body.length > 0)
        check_body(json_object_get(response, "content"), media, &answer, label);
    else
        assert_null(json_object_get(response, "content"));
    answer_release(&answer);
}

#define API "/api/v1"
#define SHEET_HEAD "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\n"

/* Makes one reading ten times too long, so that the answers tell of one left out. */
static void spoil(struct text *run) {
    struct text spoilt;
    text_init(&spoilt, run->maximum);
    const char *at = strstr(strstr(run->bytes, "\"shadow_mm\":") + 1, "\"shadow_mm\":");
    at += strlen("\"shadow_mm\":");
    at += strspn(at, " 0123456789");
    text_add(&spoilt, run->bytes, (size_t)(at - run->bytes));
    text_put(&spoilt, "0");
    text_put(&spoilt, at);
    text_release(run);
    *run = spoilt;
}

static void begin_session(char *token, size_t size) {
    char body[160];
    snprintf(body, sizeof body, "{\"key\":\"%s\"}", served.organiser);
    json_t *made = http_send(served.base, "POST", API "/session", NULL, body, 201);
    snprintf(token, size, "%s", json_string_value(json_object_get(made, "token")));
    json_decref(made);
}

/* A body with the code of an invitation. */
static void invite(char *body, size_t size) {
    struct answer answer;
    json_decref(http_send(served.base, "POST", API "/seasons", served.organiser,
                          "{\"season\":\"2028\",\"name\":\"2028\"}", 201));
    http_ask(served.base,
             &(struct ask){.method = "POST",
                           .path = API "/seasons/2028/invitations.csv",
                           .key = served.organiser,
                           .type = "text/csv",
                           .body = "name\nCausse School\n"},
             &answer);
    assert_int_equal(answer.status, 201);
    const json_t *invited = json_array_get(json_object_get(answer.json, "invited"), 0);
    snprintf(body, size, "{\"invitation\":\"%s\"}",
             json_string_value(json_object_get(invited, "invitation")));
    answer_release(&answer);
}

/* Every operation once with success, in an order that makes sense, and each
 * status that an operation can be made to give. */
static void answers_are_as_described(void **state) {
    struct text run;
    char asset[200], token[64];
    (void)state;
    begin_session(token, sizeof token);
    http_asset(served.base, ".css", asset, sizeof asset);
    text_init(&run, 65536);
    school_measure(&north, DAY, 3, 0, &run);
    spoil(&run);
    char accepting[80];
    invite(accepting, sizeof accepting);
    const struct row rows[] = {
        {"POST", API "/sites/{site}/invitations", API "/sites/causse-school/invitations", north.key,
         accepting, 200},
        {"POST", API "/sites", API "/sites", NULL,
         "{\"site\":\"pampa-school\",\"name\":\"Pampa School\",\"lat_deg\":-36.6,\"lon_deg\":-64.3,"
         "\"elev_m\":180,\"zone\":\"America/Argentina/"
         "Salta\",\"gnomon_mm\":1000,\"edge\":\"centre\","
         "\"contact\":\"office@example.org\"}",
         201},
        {"POST", API "/sites", API "/sites", NULL, "{}", 422},
        {"POST", API "/sites", API "/sites", NULL, "{", 400},
        {"POST", API "/sites", API "/sites", NULL,
         "{\"site\":\"pampa-school\",\"name\":\"Twice\",\"lat_deg\":1,\"lon_deg\":2}", 409},
        {"POST", API "/sites.csv", API "/sites.csv", served.organiser,
         SHEET_HEAD "aures-school,35.5,3.1,1000,1200,umbra\n", 201},
        {"POST", API "/sites.csv", API "/sites.csv", NULL, SHEET_HEAD, 401},
        {"PUT", API "/sites/{site}", API "/sites/causse-school", north.key,
         "{\"name\":\"Causse School\",\"lat_deg\":44.5,\"lon_deg\":3.2,\"gnomon_mm\":1200}", 200},
        {"PUT", API "/sites/{site}", API "/sites/nowhere", served.organiser,
         "{\"name\":\"Nowhere\",\"lat_deg\":44.5,\"lon_deg\":3.2}", 404},
        {"GET", API "/sites", API "/sites?limit=2", NULL, NULL, 200},
        {"GET", API "/sites", API "/sites?limit=0", NULL, NULL, 400},
        {"GET", API "/sites.csv", API "/sites.csv", NULL, NULL, 200},
        {"GET", API "/sites.geojson", API "/sites.geojson", NULL, NULL, 200},
        {"GET", API "/sites/{site}", API "/sites/pampa-school", NULL, NULL, 200},
        {"GET", API "/sites/{site}", API "/sites/nowhere", NULL, NULL, 404},
        {"POST", API "/days", API "/days", served.organiser,
         "{\"date\":\"" DAY "\",\"name\":\"Equinox noon\",\"spare_dates\":[\"2027-03-21\"],"
         "\"season\":\"2028\",\"lon_tolerance_deg\":1,\"min_separation_km\":100,\"max_sigma_km\":"
         "5000}",
         201},
        {"POST", API "/days", API "/days", served.organiser, "{\"date\":\"" DAY "\"}", 409},
        {"GET", API "/days", API "/days", NULL, NULL, 200},
        {"GET", API "/days/{day}", API "/days/" DAY, NULL, NULL, 200},
        {"POST", API "/seasons", API "/seasons", served.organiser,
         "{\"season\":\"2027\",\"name\":\"Season 2027\",\"approval\":true}", 201},
        {"POST", API "/seasons", API "/seasons", served.organiser,
         "{\"season\":\"2027\",\"name\":\"Again\"}", 409},
        {"GET", API "/seasons", API "/seasons", NULL, NULL, 200},
        {"GET", API "/seasons/{season}", API "/seasons/2027", NULL, NULL, 200},
        {"GET", API "/seasons/{season}", API "/seasons/1999", NULL, NULL, 404},
        {"POST", API "/seasons/{season}/invitations.csv", API "/seasons/2027/invitations.csv",
         served.organiser, "name,contact\nAltiplano School,office@example.org\nRiver School,\n",
         201},
        {"POST", API "/seasons/{season}/invitations.csv", API "/seasons/2027/invitations.csv",
         served.organiser, "name,contact\n,office@example.org\n=cmd,\n", 422},
        {"GET", API "/seasons/{season}/invitations", API "/seasons/2027/invitations?limit=1",
         served.organiser, NULL, 200},
        {"GET", API "/seasons/{season}/invitations", API "/seasons/2027/invitations", NULL, NULL,
         401},
        {"POST", API "/sites/{site}/invitations", API "/sites/causse-school/invitations", north.key,
         "{\"invitation\":\"00000-00000\"}", 422},
        {"PUT", API "/seasons/{season}", API "/seasons/2027", served.organiser,
         "{\"name\":\"Season 2027\",\"approval\":true}", 200},
        {"POST", API "/days", API "/days", served.organiser,
         "{\"day\":\"autumn\",\"date\":\"2027-09-22\",\"spare_dates\":[\"2027-09-23\"],"
         "\"season\":\"2027\",\"state\":\"planned\",\"blind\":false,\"lon_tolerance_deg\":9}",
         201},
        {"GET", API "/days", API "/days?season=2027", served.organiser, NULL, 200},
        {"GET", API "/days/{day}", API "/days/autumn", NULL, NULL, 404},
        {"POST", API "/days/{day}/state", API "/days/autumn/state", served.organiser,
         "{\"state\":\"closed\"}", 409},
        {"POST", API "/days/{day}/state", API "/days/autumn/state", served.organiser,
         "{\"state\":\"announced\"}", 200},
        {"POST", API "/days/{day}/moves", API "/days/autumn/moves", served.organiser,
         "{\"date\":\"2027-09-23\",\"reason\":\"cloud everywhere\"}", 200},
        {"POST", API "/days/{day}/moves", API "/days/autumn/moves", served.organiser,
         "{\"date\":\"2027-12-24\",\"reason\":\"cloud everywhere\"}", 422},
        {"PUT", API "/days/{day}/blind", API "/days/autumn/blind", served.organiser,
         "{\"blind\":true,\"reason\":\"nobody measures towards it\"}", 200},
        {"GET", API "/days/{day}/history", API "/days/autumn/history", NULL, NULL, 200},
        {"PUT", API "/days/{day}/sites/{site}", API "/days/autumn/sites/causse-school", north.key,
         NULL, 200},
        {"GET", API "/days/{day}/sites", API "/days/autumn/sites?status=waiting", NULL, NULL, 200},
        {"PUT", API "/days/{day}/sites/{site}/approval",
         API "/days/autumn/sites/causse-school/approval", served.organiser, "{\"approved\":true}",
         200},
        {"PUT", API "/days/{day}/sites/{site}", API "/days/" DAY "/sites/causse-school", north.key,
         NULL, 200},
        {"PUT", API "/days/{day}/sites/{site}", API "/days/" DAY "/sites/tell-school", south.key,
         NULL, 200},
        {"GET", API "/days/{day}/sites", API "/days/" DAY "/sites", NULL, NULL, 200},
        {"GET", API "/days/{day}/sites.csv", API "/days/" DAY "/sites.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/sites.geojson", API "/days/" DAY "/sites.geojson", NULL, NULL,
         200},
        {"GET", API "/days/{day}/sites/{site}/plan", API "/days/" DAY "/sites/causse-school/plan",
         NULL, NULL, 200},
        {"GET", API "/days/{day}/result", API "/days/" DAY "/result", NULL, NULL, 200},
        {"POST", API "/days/{day}/sites/{site}/runs", API "/days/" DAY "/sites/causse-school/runs",
         north.code, run.bytes, 201},
        {"POST", API "/days/{day}/sites/{site}/runs", API "/days/" DAY "/sites/causse-school/runs",
         north.code, "{}", 422},
        {"POST", API "/days/{day}/partners", API "/days/" DAY "/partners", served.organiser, NULL,
         201},
        {"POST", API "/days/{day}/partners", API "/days/" DAY "/partners", north.key, NULL, 401},
        {"GET", API "/days/{day}/partners", API "/days/" DAY "/partners", NULL, NULL, 200},
        {"GET", API "/days/{day}/partners.csv", API "/days/" DAY "/partners.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/sites/{site}/partner",
         API "/days/" DAY "/sites/causse-school/partner", NULL, NULL, 200},
        {"GET", API "/days/{day}/sites/{site}/partner",
         API "/days/" DAY "/sites/pampa-school/partner", NULL, NULL, 409},
        {"PUT", API "/days/{day}/sites/{site}/sky", API "/days/" DAY "/sites/causse-school/sky",
         north.code, "{\"sky\":\"broken\"}", 200},
        {"PUT", API "/days/{day}/sites/{site}/sky", API "/days/" DAY "/sites/causse-school/sky",
         north.code, "{\"sky\":\"sunny\"}", 422},
        {"GET", API "/days/{day}/sky", API "/days/" DAY "/sky", NULL, NULL, 200},
        {"GET", API "/days/{day}/sky.csv", API "/days/" DAY "/sky.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/live", API "/days/" DAY "/live?for_s=1", NULL, NULL, 200},
        {"GET", API "/days/{day}/live", API "/days/nowhere/live", NULL, NULL, 404},
        {"POST", API "/days/{day}/readings.csv", API "/days/" DAY "/readings.csv", served.organiser,
         "site,utc,shadow_mm\n"
         /* Tell School, 1.5 m: 36.4 + 0.14 - 0.28 degrees of zenith distance at noon */
         "tell-school,2027-03-20T11:34:00Z,1105\ntell-school,2027-03-20T11:54:00Z,1100\n"
         "tell-school,2027-03-20T12:14:00Z,1105\n",
         201},
        {"GET", API "/days/{day}/sites/{site}/run", API "/days/" DAY "/sites/tell-school/run", NULL,
         NULL, 200},
        {"GET", API "/days/{day}/sites/{site}/run", API "/days/" DAY "/sites/none/run", NULL, NULL,
         404},
        {"GET", API "/days/{day}/sites/{site}/pairs",
         API "/days/" DAY "/sites/tell-school/pairs?limit=5", NULL, NULL, 200},
        {"GET", API "/days/{day}/runs", API "/days/" DAY "/runs", NULL, NULL, 200},
        {"GET", API "/runs/{id}", API "/runs/1", NULL, NULL, 200},
        {"GET", API "/days/{day}/readings.csv", API "/days/" DAY "/readings.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/reductions.csv", API "/days/" DAY "/reductions.csv", NULL, NULL,
         200},
        {"GET", API "/days/{day}/pairs", API "/days/" DAY "/pairs", NULL, NULL, 200},
        {"GET", API "/days/{day}/pairs.csv", API "/days/" DAY "/pairs.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/result", API "/days/" DAY "/result", NULL, NULL, 200},
        {"GET", API "/days/{day}/line.csv", API "/days/" DAY "/line.csv", NULL, NULL, 200},
        {"GET", API "/days/{day}/leaderboard", API "/days/" DAY "/leaderboard?limit=5", NULL, NULL,
         200},
        {"GET", API "/days/{day}/review", API "/days/" DAY "/review?limit=5", served.organiser,
         NULL, 200},
        {"GET", API "/days/{day}/review", API "/days/" DAY "/review?status=shut", served.organiser,
         NULL, 400},
        {"GET", API "/days/{day}/review", API "/days/" DAY "/review", north.key, NULL, 401},
        {"POST", API "/runs/{id}/reviews", API "/runs/1/reviews", north.key,
         "{\"verdict\":\"answer\",\"reason\":\"We looked again.\"}", 409},
        {"POST", API "/days/{day}/editions", API "/days/" DAY "/editions", served.organiser,
         "{\"title\":\"Equinox noon, first edition\"}", 201},
        {"POST", API "/days/{day}/editions", API "/days/" DAY "/editions", served.organiser, "{}",
         422},
        {"POST", API "/days/{day}/editions", API "/days/" DAY "/editions", served.organiser,
         "{\"reason\":\"None.\"}", 409},
        {"POST", API "/days/{day}/editions", API "/days/" DAY "/editions", north.key, "{}", 401},
        {"GET", API "/sites/{site}/editions", API "/sites/causse-school/editions", NULL, NULL, 200},
        {"PUT", API "/sites/{site}/editions", API "/sites/causse-school/editions", north.key,
         "{\"keeps\":\"unnamed\"}", 200},
        {"PUT", API "/sites/{site}/editions", API "/sites/causse-school/editions", north.key,
         "{\"keeps\":\"some\"}", 422},
        {"POST", API "/runs/{id}/reviews", API "/runs/1/reviews", served.organiser,
         "{\"verdict\":\"exclude\",\"reason\":\"The gnomon fell over.\"}", 201},
        {"POST", API "/runs/{id}/reviews", API "/runs/1/reviews", served.organiser,
         "{\"verdict\":\"exclude\",\"reason\":\"\"}", 422},
        {"GET", API "/runs/{id}/reviews", API "/runs/1/reviews", NULL, NULL, 200},
        {"POST", API "/days/{day}/editions", API "/days/" DAY "/editions", served.organiser,
         "{\"reason\":\"The gnomon of one school had fallen.\"}", 201},
        {"POST", API "/seasons/{season}/editions", API "/seasons/2027/editions", served.organiser,
         "{}", 409}, /* no run in it as yet */
        {"POST", API "/seasons/{season}/editions", API "/seasons/2028/editions", served.organiser,
         "{}", 201},
        {"POST", API "/seasons/{season}/editions", API "/seasons/1999/editions", served.organiser,
         "{}", 404},
        {"GET", API "/days/{day}/everything.json", API "/days/" DAY "/everything.json", NULL, NULL,
         200},
        {"GET", API "/days/{day}/everything.json", API "/days/none/everything.json", NULL, NULL,
         404},
        {"GET", API "/days/{day}/reductions.geojson", API "/days/" DAY "/reductions.geojson", NULL,
         NULL, 200},
        {"GET", API "/editions", API "/editions?limit=1", NULL, NULL, 200},
        {"GET", API "/editions", API "/editions?subject=days/" DAY, NULL, NULL, 200},
        {"GET", API "/editions", API "/editions?subject=" DAY, NULL, NULL, 400},
        {"GET", API "/editions/{id}", API "/editions/1", NULL, NULL, 200},
        {"GET", API "/editions/{id}", API "/editions/9", NULL, NULL, 404},
        {"GET", API "/editions/{id}/bundle", API "/editions/1/bundle", NULL, NULL, 200},
        {"GET", API "/editions/{id}/bundle", API "/editions/2/bundle", NULL, NULL, 200},
        {"GET", API "/editions/{id}/bundle", API "/editions/9/bundle", NULL, NULL, 404},
        {"GET", API "/days/{day}/result", API "/days/" DAY "/result", NULL, NULL, 200},
        {"DELETE", API "/days/{day}/sites/{site}", API "/days/" DAY "/sites/tell-school", south.key,
         NULL, 409},
        {"DELETE", API "/runs/{id}", API "/runs/1?reason=gnomon%20fell", north.key, NULL, 204},
        {"DELETE", API "/runs/{id}", API "/runs/1", north.key, NULL, 409},
        {"GET", API "/runs/{id}", API "/runs/1", NULL, NULL, 200},
        {"DELETE", API "/days/{day}/sites/{site}", API "/days/" DAY "/sites/causse-school",
         north.key, NULL, 204},
        {"POST", API "/sites/{site}/class_code", API "/sites/causse-school/class_code", north.key,
         NULL, 201},
        {"POST", API "/sites/{site}/class_code", API "/sites/causse-school/class_code", north.key,
         "{\"valid_h\":48}", 201},
        {"POST", API "/sites/{site}/class_code", API "/sites/causse-school/class_code", north.key,
         "{\"valid_h\":0}", 422},
        {"DELETE", API "/sites/{site}/class_code", API "/sites/causse-school/class_code",
         served.organiser, NULL, 204},
        {"POST", API "/organisers", API "/organisers", served.organiser,
         "{\"name\":\"maro\",\"password\":\"long shadows at noon\"}", 201},
        {"POST", API "/organisers", API "/organisers", served.organiser, "{\"name\":\"maro\"}",
         409},
        {"POST", API "/organisers", API "/organisers", served.organiser, "{\"name\":\"ines\"}",
         201},
        {"GET", API "/organisers", API "/organisers", served.organiser, NULL, 200},
        {"PUT", API "/organisers/{organiser}/password", API "/organisers/maro/password",
         served.organiser, "{\"password\":\"longer shadows\"}", 204},
        {"POST", API "/session", API "/session", NULL,
         "{\"name\":\"maro\",\"password\":\"longer shadows\"}", 201},
        {"POST", API "/session", API "/session", NULL,
         "{\"name\":\"maro\",\"password\":\"long shadows at noon\",\"cookie\":true}", 401},
        {"GET", API "/session", API "/session", served.organiser, NULL, 200},
        {"DELETE", API "/session", API "/session", served.organiser, NULL, 404},
        {"DELETE", API "/session", API "/session", token, NULL, 204},
        {"DELETE", API "/organisers/{organiser}", API "/organisers/maro", served.organiser, NULL,
         204},
        {"GET", API "/audit", API "/audit?limit=5", served.organiser, NULL, 200},
        {"GET", API "/audit", API "/audit?cursor=x", served.organiser, NULL, 400},
        {"GET", API "/audit", API "/audit", north.key, NULL, 401},
        {"GET", API "/audit.csv", API "/audit.csv", served.organiser, NULL, 200},
        {"POST", API "/sites/{site}/school_key", API "/sites/causse-school/school_key",
         served.organiser, NULL, 201},
        {"GET", API "/sites/{site}/data", API "/sites/tell-school/data", south.key, NULL, 200},
        {"GET", API "/sites/{site}/data", API "/sites/nowhere/data", served.organiser, NULL, 404},
        {"DELETE", API "/sites/{site}", API "/sites/nowhere", served.organiser, NULL, 404},
        {"DELETE", API "/sites/{site}", API "/sites/tell-school?reason=moved&runs=keep", south.key,
         NULL, 200},
        {"GET", API "/time", API "/time", NULL, NULL, 200},
        {"GET", API "/openapi.json", API "/openapi.json", NULL, NULL, 200},
        {"GET", "/health", "/health", NULL, NULL, 200},
        {"GET", "/health/live", "/health/live", NULL, NULL, 200},
        {"GET", "/metrics", "/metrics", NULL, NULL, 200},
        {"GET", API "/suns/{date}", API "/suns/" DAY, NULL, NULL, 200},
        {"GET", API "/suns/{date}", API "/suns/1492-10-12", NULL, NULL, 404},
        {"GET", "/", "/", NULL, NULL, 200},
        {"GET", "/days/{day}/sites/{site}", "/days/x/sites/y", NULL, NULL, 200},
        {"GET", "/join", "/join", NULL, NULL, 200},
        {"GET", "/play", "/play", NULL, NULL, 200},
        {"GET", "/days/{day}", "/days/" DAY, NULL, NULL, 200},
        {"GET", "/days/{day}/sites/{site}/run", "/days/x/sites/y/run", NULL, NULL, 200},
        {"GET", "/days/{day}/pairs/{site}/{partner}", "/days/x/pairs/y/z", NULL, NULL, 200},
        {"GET", "/method", "/method", NULL, NULL, 200},
        {"GET", "/days/{day}/certificates/{site}", "/days/x/certificates/y", NULL, NULL, 200},
        {"GET", "/organiser", "/organiser", NULL, NULL, 200},
        {"GET", "/organiser/days/{day}", "/organiser/days/x", NULL, NULL, 200},
        {"GET", "/organiser/import", "/organiser/import", NULL, NULL, 200},
        {"GET", "/organiser/audit", "/organiser/audit", NULL, NULL, 200},
        {"GET", "/editions", "/editions", NULL, NULL, 200},
        {"GET", "/editions/{id}", "/editions/1", NULL, NULL, 200},
        {"GET", "/worker.js", "/worker.js", NULL, NULL, 200},
        {"GET", "/assets/{file}", asset, NULL, NULL, 200},
        {"GET", "/assets/{file}", "/assets/none.css", NULL, NULL, 404},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        ask_as_described(&rows[i]);
    /* No operation was forgotten. */
    for (int i = 0; i < routes_count; i++) {
        bool asked = false;
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++)
            asked = asked || (strcmp(rows[k].pattern, routes[i].pattern) == 0 &&
                              strcmp(rows[k].method, method_name(routes[i].method)) == 0 &&
                              rows[k].status < 300);
        if (!asked)
            fail_msg("%s %s was not asked", method_name(routes[i].method), routes[i].pattern);
    }
    text_release(&run);
}

static void the_server_hands_out_the_file(void **state) {
    struct answer answer;
    (void)state;
    http_ask(served.base, &(struct ask){.path = API "/openapi.json"}, &answer);
    assert_string_equal(answer.body.bytes, openapi_json);
    answer_release(&answer);
}

static int start(void **state) {
    (void)state;
    document = json_loads(openapi_json, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(document);
    served_init(&served);
    school_register(served.base, &north);
    school_register(served.base, &south);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    json_decref(document);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(file_and_table_have_the_same_addresses),
        cmocka_unit_test(query_parameters_agree),
        cmocka_unit_test(the_checker_can_say_no),
        cmocka_unit_test(answers_are_as_described),
        cmocka_unit_test(the_server_hands_out_the_file),
    };
    return cmocka_run_group_tests_name("http openapi", tests, start, stop);
}
