/* SPDX-License-Identifier: MIT */
/* HTTP itself, as RFC 9110 has it: validators, compression, HEAD, OPTIONS, 404
 * and 405, pages of lists, and the headers that guard every answer. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <zlib.h>

#include "tests/support/http.h"
#include "tests/support/served.h"

#define SITES 23
#define ASSET_MAX 500000 /* bytes of a file that the first page loads */
#define LASTING "public, max-age=31536000, immutable"

static struct served served;

static void get(const char *path, const char *header, struct answer *answer) {
    http_ask(served.base, &(struct ask){.path = path, .header = {header}}, answer);
}

/* Section 13.1.2: a current validator gives 304 without a body; the entity tag
 * is strong and follows the content. */
static void conditional_get(void **state) {
    struct answer answer;
    char etag[100], header[200];
    (void)state;
    get("/api/v1/sites", NULL, &answer);
    assert_int_equal(answer.status, 200);
    answer_header(&answer, "ETag", etag, sizeof etag);
    assert_int_equal(etag[0], '"');
    assert_true(answer_header_is(&answer, "Cache-Control", "no-cache"));
    answer_release(&answer);
    static const char *const forms[] = {"If-None-Match: %s", "If-None-Match: \"other\", %s",
                                        "If-None-Match: W/%s", "If-None-Match: *"};
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        snprintf(header, sizeof header, forms[i], etag);
        get("/api/v1/sites", header, &answer);
        assert_int_equal(answer.status, 304);
        assert_int_equal(answer.body.length, 0);
        assert_true(answer_header_is(&answer, "ETag", etag));
        answer_release(&answer);
    }
    get("/api/v1/sites", "If-None-Match: \"other\"", &answer);
    assert_int_equal(answer.status, 200);
    answer_release(&answer);
    json_decref(http_send(served.base, "POST", "/api/v1/sites", NULL,
                          "{\"name\":\"Later School\",\"lat_deg\":10,\"lon_deg\":20}", 201));
    snprintf(header, sizeof header, "If-None-Match: %s", etag);
    get("/api/v1/sites", header, &answer);
    assert_int_equal(answer.status, 200);
    answer_release(&answer);
}

static void unpack(const struct text *packed, char *out, size_t size) {
    z_stream stream = {.next_in = (unsigned char *)packed->bytes,
                       .avail_in = (unsigned)packed->length,
                       .next_out = (unsigned char *)out,
                       .avail_out = (unsigned)size - 1};
    assert_int_equal(inflateInit2(&stream, 15 + 16), Z_OK);
    assert_int_equal(inflate(&stream, Z_FINISH), Z_STREAM_END);
    out[stream.total_out] = '\0';
    inflateEnd(&stream);
}

/* Section 12.5.3; a coded representation has a validator of its own (8.8.3.3). */
static void compression(void **state) {
    static char unpacked[1 << 20];
    struct answer plain, packed, answer;
    char plain_etag[100], etag[100], header[200];
    (void)state;
    get("/api/v1/sites", NULL, &plain);
    get("/api/v1/sites", "Accept-Encoding: br, gzip;q=0.8", &packed);
    assert_true(plain.body.length > 1024);
    assert_true(answer_header_is(&plain, "Content-Encoding", ""));
    assert_true(answer_header_is(&plain, "Vary", "Accept-Encoding"));
    assert_true(answer_header_is(&packed, "Content-Encoding", "gzip"));
    assert_true(answer_header_is(&packed, "Vary", "Accept-Encoding"));
    assert_true(packed.body.length < plain.body.length);
    unpack(&packed.body, unpacked, sizeof unpacked);
    assert_string_equal(unpacked, plain.body.bytes);
    answer_header(&plain, "ETag", plain_etag, sizeof plain_etag);
    answer_header(&packed, "ETag", etag, sizeof etag);
    assert_string_not_equal(etag, plain_etag);
    snprintf(header, sizeof header, "If-None-Match: %s", etag);
    const struct ask ask = {.path = "/api/v1/sites", .header = {"Accept-Encoding: gzip", header}};
    http_ask(served.base, &ask, &answer);
    assert_int_equal(answer.status, 304);
    answer_release(&answer);
    static const char *const refused[] = {"Accept-Encoding: gzip;q=0", "Accept-Encoding: br",
                                          "Accept-Encoding: identity, *;q=0"};
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        get("/api/v1/sites", refused[i], &answer);
        assert_true(answer_header_is(&answer, "Content-Encoding", ""));
        answer_release(&answer);
    }
    get("/health", "Accept-Encoding: gzip", &answer); /* too short to pay */
    assert_true(answer_header_is(&answer, "Content-Encoding", ""));
    answer_release(&answer);
    answer_release(&plain);
    answer_release(&packed);
}

/* Section 9.3.2: the headers of a GET, and no body. */
static void head(void **state) {
    static const char *const paths[] = {"/api/v1/sites", "/api/v1/sites.csv", "/health", "/",
                                        "/nowhere"};
    static const char *const headers[] = {"ETag", "Content-Type", "Content-Length", "Vary"};
    (void)state;
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        struct answer full, head;
        char value[200];
        get(paths[i], NULL, &full);
        http_ask(served.base, &(struct ask){.method = "HEAD", .path = paths[i]}, &head);
        assert_int_equal(head.status, full.status);
        assert_int_equal(head.body.length, 0);
        for (size_t k = 0; k < sizeof headers / sizeof headers[0]; k++) {
            answer_header(&full, headers[k], value, sizeof value);
            assert_true(answer_header_is(&head, headers[k], value));
        }
        answer_release(&full);
        answer_release(&head);
    }
}

/* Sections 9.3.7, 15.5.6. */
static void methods(void **state) {
    static const struct {
        const char *method, *path, *allow;
        long status;
    } rows[] = {
        {"OPTIONS", "/api/v1/sites", "GET, HEAD, POST, OPTIONS", 204},
        {"OPTIONS", "/api/v1/sites/x", "GET, HEAD, PUT, DELETE, OPTIONS", 204},
        {"OPTIONS", "/api/v1/days/x/sites/y", "PUT, DELETE, OPTIONS", 204},
        {"OPTIONS", "/api/v1/days/x/sites/y/runs", "POST, OPTIONS", 204},
        {"DELETE", "/api/v1/sites", "GET, HEAD, POST, OPTIONS", 405},
        {"PATCH", "/api/v1/runs/1", "GET, HEAD, DELETE, OPTIONS", 405},
        {"GET", "/api/v1/days/x/sites/y", "PUT, DELETE, OPTIONS", 405},
        {"HEAD", "/api/v1/days/x/sites/y", "PUT, DELETE, OPTIONS", 405},
        {"POST", "/health", "GET, HEAD, OPTIONS", 405},
        {"BREW", "/", "GET, HEAD, OPTIONS", 405},
        {"OPTIONS", "/nowhere", "", 404},
        {"GET", "/api/v1", "", 404},
        {"GET", "/api/v1/sites/", "", 404},
        {"GET", "/api/v1/sites/a/b/c", "", 404},
        {"GET", "/api/v1/sites/.hidden", "", 404},
        {"GET", "/api/v1/sites/0123456789012345678901234567890123456789x", "", 404},
        {"GET", "/api/v1/sites/a%2Fb", "", 404},
        {"GET", "/api/v1/sites/a%00b", "", 404},
        {"GET", "//api/v1/sites", "", 404},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct answer answer;
        http_ask(served.base, &(struct ask){.method = rows[i].method, .path = rows[i].path},
                 &answer);
        if (answer.status != rows[i].status || !answer_header_is(&answer, "Allow", rows[i].allow))
            fail_msg("%s %s: %s", rows[i].method, rows[i].path, answer.headers.bytes);
        answer_release(&answer);
    }
}

static void data_are_no_page(void) {
    static const char *const paths[] = {"/api/v1/sites", "/api/v1/nothing", "/nowhere", "/metrics"};
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        struct answer answer;
        get(paths[i], NULL, &answer);
        assert_true(answer_header_is(&answer, "Content-Security-Policy",
                                     "default-src 'none'; frame-ancestors 'none'"));
        assert_true(answer_header_is(&answer, "X-Content-Type-Options", "nosniff"));
        answer_release(&answer);
    }
}

static void guards(void **state) {
    static const char *const paths[] = {"/", "/worker.js"};
    (void)state;
    data_are_no_page();
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        struct answer answer;
        char policy[1000];
        get(paths[i], NULL, &answer);
        answer_header(&answer, "Content-Security-Policy", policy, sizeof policy);
        assert_memory_equal(policy, "default-src 'none'; ", 20);
        assert_non_null(strstr(policy, "script-src 'self'"));
        assert_non_null(strstr(policy, "'wasm-unsafe-eval'"));
        assert_null(strstr(policy, "unsafe-inline"));
        assert_null(strstr(policy, "'unsafe-eval'"));
        assert_true(answer_header_is(&answer, "X-Content-Type-Options", "nosniff"));
        assert_true(answer_header_is(&answer, "Referrer-Policy", "no-referrer"));
        answer_release(&answer);
    }
    /* An answer that carries secrets is nobody's to keep. */
    struct answer answer;
    const struct ask ask = {.method = "POST",
                            .path = "/api/v1/sites",
                            .type = "application/json",
                            .body = "{\"name\":\"Secret School\",\"lat_deg\":1,\"lon_deg\":2}"};
    http_ask(served.base, &ask, &answer);
    assert_int_equal(answer.status, 201);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-store"));
    assert_true(answer_header_is(&answer, "Location", "/api/v1/sites/secret-school"));
    answer_release(&answer);
}

static void page_and_its_files(void **state) {
    static const struct {
        const char *path, *type;
        long status;
    } rows[] = {
        {"/", "text/html; charset=utf-8", 200},
        {"/?day=2027-03-20", "text/html; charset=utf-8", 200},
        {"/days/2027-03-20", "text/html; charset=utf-8", 200},
        {"/worker.js", "text/javascript; charset=utf-8", 200},
        {"/assets/", "application/problem+json", 404},
        {"/assets/nothing.js", "application/problem+json", 404},
        {"/assets/../main.c", "application/problem+json", 404},
        {"/assets/..%2Fmain.c", "application/problem+json", 404},
        {"/assets/%2e%2e%2fmain.c", "application/problem+json", 404},
        {"/assets/..", "application/problem+json", 404},
        {"/assets/%2Fetc%2Fpasswd", "application/problem+json", 404},
        {"/../../../../etc/passwd", "application/problem+json", 404},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct answer answer;
        get(rows[i].path, NULL, &answer);
        if (answer.status != rows[i].status ||
            !answer_header_is(&answer, "Content-Type", rows[i].type))
            fail_msg("%s: %s", rows[i].path, answer.headers.bytes);
        answer_release(&answer);
    }
}

/* What pages load is named by its content: kept for good, sent as it was packed when
 * it was built, and the same once unpacked. */
static void assets(void **state) {
    static const struct {
        const char *ending, *type;
    } rows[] = {
        {".css", "text/css; charset=utf-8"},
        {".js", "text/javascript; charset=utf-8"},
        {".svg", "image/svg+xml"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct answer plain, packed, again;
        char path[200], etag[80], line[120];
        http_asset(served.base, rows[i].ending, path, sizeof path);
        get(path, NULL, &plain);
        assert_int_equal(plain.status, 200);
        assert_true(answer_header_is(&plain, "Content-Type", rows[i].type));
        assert_true(answer_header_is(&plain, "Cache-Control", LASTING));
        assert_true(answer_header_is(&plain, "Vary", "Accept-Encoding"));
        get(path, "Accept-Encoding: gzip", &packed);
        assert_int_equal(packed.status, 200);
        if (answer_header_is(&packed, "Content-Encoding", "gzip")) {
            static char body[ASSET_MAX];
            unpack(&packed.body, body, sizeof body);
            assert_string_equal(body, plain.body.bytes);
        } else
            assert_string_equal(rows[i].ending, ".svg"); /* too small to gain by it */
        answer_header(&packed, "ETag", etag, sizeof etag);
        snprintf(line, sizeof line, "If-None-Match: %s", etag);
        const struct ask conditional = {.path = path, .header = {"Accept-Encoding: gzip", line}};
        http_ask(served.base, &conditional, &again);
        assert_int_equal(again.status, 304);
        assert_int_equal(again.body.length, 0);
        answer_release(&again);
        answer_release(&packed);
        answer_release(&plain);
    }
    /* A page's own address stays: it is asked about each time. */
    struct answer page;
    get("/", NULL, &page);
    assert_true(answer_header_is(&page, "Cache-Control", "no-cache"));
    answer_release(&page);
}

/* Every item once, in order, whatever the size of the pages. */
static void pages(void **state) {
    static const int limits[] = {1, 2, 7, SITES - 1, SITES, 500};
    (void)state;
    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        char path[200], last[64] = "";
        size_t seen = 0;
        snprintf(path, sizeof path, "/api/v1/sites?limit=%d", limits[i]);
        for (;;) {
            size_t k;
            const json_t *site;
            json_t *page = http_get(served.base, path, 200);
            const json_t *sites = json_object_get(page, "sites");
            assert_true(json_array_size(sites) <= (size_t)limits[i]);
            json_array_foreach(sites, k, site) {
                const char *id = json_string_value(json_object_get(site, "site"));
                assert_true(strcmp(last, id) < 0);
                snprintf(last, sizeof last, "%s", id);
                seen += strncmp(id, "page-", 5) == 0;
            }
            const char *next = json_string_value(json_object_get(page, "next_cursor"));
            if (next != NULL)
                snprintf(path, sizeof path, "/api/v1/sites?limit=%d&cursor=%s", limits[i], next);
            json_decref(page);
            if (next == NULL)
                break;
        }
        assert_int_equal(seen, SITES);
    }
}

static long metric(const char *name) {
    struct answer answer;
    get("/metrics", NULL, &answer);
    assert_true(answer_header_is(&answer, "Content-Type",
                                 "application/openmetrics-text; version=1.0.0; charset=utf-8"));
    assert_string_equal(answer.body.bytes + answer.body.length - 6, "# EOF\n");
    const char *line = strstr(answer.body.bytes, name);
    long value = line == NULL ? 0 : strtol(line + strlen(name), NULL, 10);
    answer_release(&answer);
    return value;
}

static void metrics(void **state) {
    static const char ready[] =
        "noonarc_http_requests_total{method=\"GET\",route=\"/health\",status=\"200\"} ";
    static const char lost[] =
        "noonarc_http_requests_total{method=\"\",route=\"none\",status=\"404\"} ";
    static const char refused[] = "noonarc_runs_refused_total{reason=\"wrong_key\"} ";
    (void)state;
    long before = metric(ready), before_lost = metric(lost), before_refused = metric(refused);
    json_t *health = http_get(served.base, "/health", 200);
    assert_string_equal(json_string_value(json_object_get(health, "status")), "ready");
    json_decref(health);
    json_decref(http_get(served.base, "/nowhere", 404));
    json_decref(http_send(served.base, "POST", "/api/v1/days/x/sites/y/runs", NULL, "{}", 401));
    assert_int_equal(metric(ready), before + 1);
    assert_int_equal(metric(lost), before_lost + 1);
    assert_int_equal(metric(refused), before_refused + 1);
    long batches = metric("noonarc_writer_commit_writes_count ");
    assert_true(batches > 0);
    json_decref(http_send(served.base, "POST", "/api/v1/sites", NULL,
                          "{\"name\":\"Counted School\",\"lat_deg\":1,\"lon_deg\":2}", 201));
    assert_int_equal(metric("noonarc_writer_commit_writes_count "), batches + 1);
    assert_int_equal(metric("noonarc_writer_waiting "), 0);
}

static int start(void **state) {
    char body[200];
    (void)state;
    served_init(&served);
    for (int i = 0; i < SITES; i++) {
        snprintf(body, sizeof body,
                 "{\"site\":\"page-%03d\",\"name\":\"Page School %d\",\"lat_deg\":%d,"
                 "\"lon_deg\":%d}",
                 i, i, i, 2 * i);
        json_decref(http_send(served.base, "POST", "/api/v1/sites", NULL, body, 201));
    }
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(conditional_get),
        cmocka_unit_test(compression),
        cmocka_unit_test(head),
        cmocka_unit_test(methods),
        cmocka_unit_test(guards),
        cmocka_unit_test(page_and_its_files),
        cmocka_unit_test(assets),
        cmocka_unit_test(pages),
        cmocka_unit_test(metrics),
    };
    return cmocka_run_group_tests_name("http protocol", tests, start, stop);
}
