/* SPDX-License-Identifier: MIT */
/* negotiate and routes: what the HTTP edge makes of header values and paths.
 * Rows of Accept-Encoding follow RFC 9110 section 12.5.3, those of If-None-Match
 * section 13.1.2 and its weak comparison 8.8.3.2. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/http/negotiate.h"
#include "server/http/routes.h"

static void accept_encoding(void **state) {
    static const struct {
        const char *header;
        bool takes;
    } rows[] = {
        {NULL, false},
        {"", false},
        {"compress, gzip", true},
        {"*", true},
        {"compress;q=0.5, gzip;q=1.0", true},
        {"gzip;q=1.0, identity; q=0.5, *;q=0", true},
        {"GZIP", true},
        {"gzip;q=0", false},
        {"gzip; q=0.000", false},
        {"gzip;q=0.001", true},
        {"gzip;q=0, *", false},
        {"*;q=0", false},
        {"x-gzip-not", false},
        {"gzipped", false},
        {" ,, gzip", true},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (negotiate_takes_gzip(rows[i].header) != rows[i].takes)
            fail_msg("\"%s\"", rows[i].header == NULL ? "(none)" : rows[i].header);
}

static void if_none_match(void **state) {
    static const struct {
        const char *header;
        bool matches;
    } rows[] = {
        {NULL, false},         {"", false},
        {"*", true},           {"\"xyzzy\"", true},
        {"W/\"xyzzy\"", true}, {"\"r2d2\", \"xyzzy\" , \"c3po\"", true},
        {"\"xyzz\"", false},   {"\"xyzzy-gz\"", false},
        {"xyzzy", false},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (negotiate_matches(rows[i].header, "\"xyzzy\"") != rows[i].matches)
            fail_msg("%s", rows[i].header == NULL ? "(none)" : rows[i].header);
}

static void validators_follow_the_bytes(void **state) {
    char one[NEGOTIATE_ETAG_SIZE], two[NEGOTIATE_ETAG_SIZE], packed[NEGOTIATE_ETAG_SIZE];
    struct text text;
    (void)state;
    text_init(&text, 100);
    text_put(&text, "the same bytes");
    negotiate_etag(&text, false, one);
    negotiate_etag(&text, false, two);
    negotiate_etag(&text, true, packed);
    assert_string_equal(one, two);
    assert_string_not_equal(one, packed);
    text_put(&text, "!");
    negotiate_etag(&text, false, two);
    assert_string_not_equal(one, two);
    text_release(&text);
}

/* What does not get smaller stays as it is. */
static void noise_is_not_packed(void **state) {
    struct text text;
    uint32_t noise = 1;
    (void)state;
    text_init(&text, 4096);
    for (int i = 0; i < 4096; i++) {
        noise = noise * 1664525u + 1013904223u;
        text_add(&text, &(char){(char)(noise >> 24)}, 1);
    }
    assert_false(negotiate_gzip(&text));
    assert_int_equal(text.length, 4096);
    text_release(&text);
}

static void paths(void **state) {
    static const struct {
        const char *method, *path, *pattern, *first, *second;
    } rows[] = {
        {"GET", "/api/v1/sites", "/api/v1/sites", "", ""},
        {"GET", "/api/v1/sites/a.b-c_d", "/api/v1/sites/{site}", "a.b-c_d", ""},
        {"GET", "/api/v1/days/x/sites/y/plan", "/api/v1/days/{day}/sites/{site}/plan", "x", "y"},
        {"DELETE", "/api/v1/runs/12", "/api/v1/runs/{id}", "12", ""},
        {"GET", "/api/v1/sites.csv", "/api/v1/sites.csv", "", ""},
        {"GET", "/api/v1/sitesXcsv", NULL, "", ""},
        {"GET", "/api/v1/sites/-a", NULL, "", ""},
        {"GET", "/api/v1/sites/a b", NULL, "", ""},
        {"GET", "/api/v1/sites/\xc3\xb1", NULL, "", ""},
        {"GET", "/api/v1/days/x/sites/y/plan/", NULL, "", ""},
        {"GET", "", NULL, "", ""},
        {"POST", "/api/v1/days/x/result", NULL, "", ""},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct request request = {.method = method_parse(rows[i].method), .path = rows[i].path};
        unsigned allowed;
        const struct route *route = routes_find(&request, &allowed);
        if (route == NULL ? rows[i].pattern != NULL
                          : rows[i].pattern == NULL || strcmp(route->pattern, rows[i].pattern) != 0)
            fail_msg("%s", rows[i].path);
        assert_string_equal(request.param[0], rows[i].first);
        assert_string_equal(request.param[1], rows[i].second);
    }
}

/* Each route has exactly one way to be answered, and no path is there twice. */
static void the_table_is_sound(void **state) {
    (void)state;
    for (int i = 0; i < routes_count; i++) {
        const struct route *route = &routes[i];
        assert_true((route->read != NULL) != (route->own != NULL));
        assert_true(route->write == NULL || route->read != NULL);
        assert_int_equal(route->write != NULL, route->method != METHOD_GET);
        assert_true(route->help != NULL && route->help[0] != '\0');
        for (int k = 0; k < i; k++)
            assert_false(routes[k].method == route->method &&
                         strcmp(routes[k].pattern, route->pattern) == 0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(accept_encoding),
        cmocka_unit_test(if_none_match),
        cmocka_unit_test(validators_follow_the_bytes),
        cmocka_unit_test(noise_is_not_packed),
        cmocka_unit_test(paths),
        cmocka_unit_test(the_table_is_sound),
    };
    return cmocka_run_group_tests_name("negotiate and routes", tests, NULL, NULL);
}
