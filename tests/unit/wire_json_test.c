/* SPDX-License-Identifier: MIT */
/* json_write and geojson: what is written is what jansson reads, number by
 * number and byte by byte. */
#include "tests/unit/near.h"

#include <float.h>
#include <jansson.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/geojson.h"
#include "server/wire/json_write.h"
#include "server/wire/real.h"
#include "tests/support/simulate.h"

static json_t *parsed(const struct text *text) {
    json_error_t error;
    assert_false(text->failed);
    json_t *root = json_loadb(text->bytes, text->length, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        fail_msg("not JSON: %s at %d: %s", error.text, error.position, text->bytes);
    return root;
}

static void test_shortest_numbers(void **state) {
    (void)state;
    static const struct {
        double value;
        const char *text;
    } rows[] = {
        {0.0, "0"},
        {1.0, "1"},
        {-33.4012, "-33.4012"},
        {0.1, "0.1"},
        {0.1 + 0.2, "0.30000000000000004"}, /* not the double of 0.3 */
        {1.0 / 3.0, "0.3333333333333333"},  /* the nearest double of fifteen threes is another */
        {178.3, "178.3"},
        {8.001, "8.001"}, /* sixteen digits would print 8.000999999999999 */
        {40007.862917, "40007.862917"},
        {1e21, "1e+21"},
        {DBL_MAX, "1.7976931348623157e+308"},
        {DBL_MIN, "2.2250738585072014e-308"},
    };
    char text[REAL_TEXT];
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        real_format(rows[i].value, text, sizeof text);
        assert_string_equal(text, rows[i].text);
    }
}

/* The C library is the yardstick: printf rounds right, strtod reads right. */
static void assert_as_printf(double value) {
    char wanted[REAL_TEXT], text[REAL_TEXT];
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(wanted, sizeof wanted, "%.*g", digits, value);
        if (strtod(wanted, NULL) == value)
            break;
    }
    real_format(value, text, sizeof text);
    assert_string_equal(text, wanted);
}

static void reals_are_those_of_printf(void **state) {
    (void)state;
    uint64_t bits = 88172645463325252u; /* xorshift: any seed but 0 */
    for (int i = 0; i < 60000; i++) {
        bits ^= bits << 13;
        bits ^= bits >> 7;
        bits ^= bits << 17;
        assert_as_printf((double)(int64_t)bits / 1e13);
        assert_as_printf((double)(bits % 1000000) / 1000.0);
        assert_as_printf(ldexp((double)(bits >> 11), -(int)(bits % 75)));
        const double ten = pow(10.0, (int)(bits % 19) - 4), two = ldexp(1.0, (int)(bits % 70) - 15);
        assert_as_printf(ten);
        assert_as_printf(nextafter(ten, 0.0));
        assert_as_printf(nextafter(ten, INFINITY));
        assert_as_printf(two);
        assert_as_printf(nextafter(two, 0.0));
        assert_as_printf(-nextafter(two, INFINITY));
    }
}

static void check_there_and_back(double value) {
    struct text text;
    struct json_writer json;
    text_init(&text, 4096);
    json_write_init(&json, &text);
    json_write_array(&json, NULL);
    json_write_real(&json, NULL, value);
    json_write_end(&json);
    json_t *root = parsed(&text);
    if (json_number_value(json_array_get(root, 0)) != value)
        fail_msg("%a became %s", value, text.bytes);
    json_decref(root);
    text_release(&text);
}

/* Any bits that are a finite number, and the edges of what a double can hold. */
static void test_numbers_there_and_back(void **state) {
    (void)state;
    static const double edges[] = {DBL_MAX,
                                   DBL_MIN,
                                   DBL_TRUE_MIN,
                                   DBL_MIN - DBL_TRUE_MIN, /* the largest denormal */
                                   1.0 + DBL_EPSILON,
                                   1.0 - DBL_EPSILON / 2.0,
                                   9007199254740991.0,
                                   9007199254740993.0,
                                   5e-324,
                                   1e22,
                                   1e23,
                                   -0.0};
    for (size_t i = 0; i < COUNT_OF(edges); i++) {
        check_there_and_back(edges[i]);
        check_there_and_back(-edges[i]);
    }
    struct chance chance = chance_seeded(11);
    for (int i = 0; i < 20000; i++) {
        uint64_t bits = (uint64_t)(chance_even(&chance) * 4294967296.0) << 32 |
                        (uint64_t)(chance_even(&chance) * 4294967296.0);
        if (i % 8 == 0)
            bits &= 0x800FFFFFFFFFFFFF; /* denormals, which chance would hardly meet */
        double value;
        memcpy(&value, &bits, sizeof value);
        if (isfinite(value))
            check_there_and_back(value);
    }
}

static void test_every_kind_of_value(void **state) {
    (void)state;
    struct text text;
    struct json_writer json;
    text_init(&text, 4096);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    json_write_text(&json, "text", "a\"b\\c/\n\x01\x7F\xC3\xA9");
    json_write_text(&json, "none", NULL);
    json_write_text_or_null(&json, "empty", "");
    json_write_text(&json, "\"key\"", "");
    json_write_real(&json, "nan", NAN);
    json_write_real(&json, "infinite", -INFINITY);
    json_write_integer(&json, "least", INT64_MIN);
    json_write_integer(&json, "most", INT64_MAX);
    json_write_bool(&json, "yes", true);
    json_write_bool(&json, "no", false);
    json_write_null(&json, "null");
    json_write_instant(&json, "noon", 1805630400.25, 3);
    json_write_instant(&json, "never", NAN, 3);
    json_write_date(&json, "date", 0);
    json_write_raw(&json, "raw", "[1,2]", 5);
    json_write_array(&json, "list");
    json_write_object(&json, NULL);
    json_write_end(&json);
    json_write_array(&json, NULL);
    json_write_end(&json);
    json_write_text(&json, NULL, "x");
    json_write_end(&json);
    json_write_end(&json);
    assert_string_equal(
        text.bytes,
        "{\"text\":\"a\\\"b\\\\c/\\u000a\\u0001\\u007f\xC3\xA9\",\"none\":null,\"empty\":null,"
        "\"\\\"key\\\"\":\"\",\"nan\":null,\"infinite\":null,\"least\":-9223372036854775808,"
        "\"most\":9223372036854775807,\"yes\":true,\"no\":false,\"null\":null,"
        "\"noon\":\"2027-03-21T12:00:00.250Z\",\"never\":null,\"date\":\"1970-01-01\","
        "\"raw\":[1,2],\"list\":[{},[],\"x\"]}");
    json_t *root = parsed(&text);
    assert_string_equal(json_string_value(json_object_get(root, "text")),
                        "a\"b\\c/\n\x01\x7F\xC3\xA9");
    json_decref(root);
    text_release(&text);
}

/* A buffer that is full says so, and what it holds stays terminated. */
static void test_a_full_buffer_fails(void **state) {
    (void)state;
    for (size_t maximum = 0; maximum < 60; maximum++) {
        struct text text;
        struct json_writer json;
        text_init(&text, maximum);
        json_write_init(&json, &text);
        json_write_object(&json, NULL);
        json_write_real(&json, "a", 1.5);
        json_write_text(&json, "b", "twenty letters and so");
        json_write_end(&json);
        assert_int_equal(text.failed,
                         maximum < strlen("{\"a\":1.5,\"b\":\"twenty letters and so\"}"));
        assert_int_equal(strlen(text.bytes), text.length);
        text_release(&text);
    }
}

/* RFC 7946 (Butler et al. 2016): sec. 3.3 FeatureCollection, 3.2 Feature with id,
 * geometry and properties, 3.1.2 Point, 3.1.1 longitude, latitude, then height. */
static void test_geojson(void **state) {
    (void)state;
    struct site_record sites[2];
    for (int i = 0; i < 2; i++)
        site_record_init(&sites[i]);
    memcpy(sites[0].site, "aromos", 7);
    memcpy(sites[0].name, "Los Aromos", 11);
    memcpy(sites[0].contact, "secret", 7);
    sites[0].place = (struct place){-33.4, -70.6, 520.0};
    sites[0].gnomon_mm = 1178.3;
    memcpy(sites[1].site, "b", 2);
    for (size_t count = 0; count <= 2; count++) {
        struct text text;
        text_init(&text, 65536);
        geojson_write_sites(&text, sites, count);
        json_t *root = parsed(&text);
        assert_null(strstr(text.bytes, "secret"));
        assert_string_equal(json_string_value(json_object_get(root, "type")), "FeatureCollection");
        json_t *features = json_object_get(root, "features");
        assert_int_equal(json_array_size(features), count);
        if (count > 0) {
            json_t *feature = json_array_get(features, 0);
            assert_string_equal(json_string_value(json_object_get(feature, "type")), "Feature");
            assert_string_equal(json_string_value(json_object_get(feature, "id")), "aromos");
            json_t *geometry = json_object_get(feature, "geometry");
            assert_string_equal(json_string_value(json_object_get(geometry, "type")), "Point");
            json_t *position = json_object_get(geometry, "coordinates");
            assert_int_equal(json_array_size(position), 3);
            static const double expected[] = {-70.6, -33.4, 520.0};
            for (size_t i = 0; i < 3; i++)
                assert_true(json_number_value(json_array_get(position, i)) == expected[i]);
            json_t *properties = json_object_get(feature, "properties");
            assert_string_equal(json_string_value(json_object_get(properties, "name")),
                                "Los Aromos");
            assert_true(json_is_null(json_object_get(properties, "zone")));
        }
        json_decref(root);
        text_release(&text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reals_are_those_of_printf),   cmocka_unit_test(test_shortest_numbers),
        cmocka_unit_test(test_numbers_there_and_back), cmocka_unit_test(test_every_kind_of_value),
        cmocka_unit_test(test_a_full_buffer_fails),    cmocka_unit_test(test_geojson),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
