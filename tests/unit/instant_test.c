/* SPDX-License-Identifier: MIT */
/* instant: the examples of RFC 3339, what it forbids, and every day of the years
 * understood against the C library's own calendar. */
#include "tests/unit/near.h"

#include <string.h>
#include <time.h>

#include "server/base/instant.h"

/* RFC 3339 (Klyne & Newman 2002), sec. 5.8, with what the text there says of each. */
static void test_examples_of_the_standard(void **state) {
    (void)state;
    static const struct {
        const char *text, *same_as;
        double fraction_s;
        int offset_min;
    } rows[] = {
        {"1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50Z", 0.52, 0},
        {"1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z", 0.0, -480},
        /* the leap second at the end of 1990, also in Pacific time: POSIX counts on */
        {"1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z", 0.0, 0},
        {"1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z", 0.0, -480},
        /* "noon, January 1, 1937, Netherlands time": 20 minutes ahead of UTC */
        {"1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27Z", 0.87, 20},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double t_utc_s = NAN;
        int offset_min = -1;
        struct err err = {0};
        assert_int_equal(instant_parse(rows[i].text, &t_utc_s, &offset_min, &err), 0);
        check_near(rows[i].text, t_utc_s, near_utc_s(rows[i].same_as) + rows[i].fraction_s, 3e-7,
                   "s");
        assert_int_equal(offset_min, rows[i].offset_min);
    }
    check_near("epoch", near_utc_s("1970-01-01T00:00:00Z"), 0.0, 0.0, "s");
}

static void test_other_spellings(void **state) {
    (void)state;
    static const char *const same[][2] = {
        /* sec. 5.6: T and Z may be lower case */
        {"2027-03-21t11:58:03z", "2027-03-21T11:58:03Z"},
        /* sec. 4.3: offset unknown, instant known */
        {"2027-03-21T11:58:03-00:00", "2027-03-21T11:58:03Z"},
        {"2027-03-21T11:58:03.000000000Z", "2027-03-21T11:58:03Z"},
        /* quarter-hour offsets of Nepal and the Chatham Islands (tz database) */
        {"2027-03-21T12:16:00+05:45", "2027-03-21T06:31:00Z"},
        {"2027-03-21T13:30:00+13:45", "2027-03-20T23:45:00Z"},
        {"2027-12-31T23:30:00-09:30", "2028-01-01T09:00:00Z"},
        {"2028-03-01T00:30:00+01:00", "2028-02-29T23:30:00Z"},
    };
    for (size_t i = 0; i < COUNT_OF(same); i++)
        check_near(same[i][0], near_utc_s(same[i][0]), near_utc_s(same[i][1]), 0.0, "s");
}

static void test_what_is_no_instant(void **state) {
    (void)state;
    static const char *const wrong[] = {
        "",
        "2027",
        "2027-03-21",
        "2027-03-21T11:58:03", /* no offset */
        "2027-03-21T11:58:03.5",
        "2027-03-21 11:58:03Z",   /* a blank */
        "2027-03-21T11:58Z",      /* no seconds */
        "2027-03-21T11:58:03,5Z", /* ISO 8601 would allow the comma */
        "2027-03-21T11:58:03.Z",
        "2027-03-21T11:58:03.1234567890Z",
        "2027-03-21T24:00:00Z",
        "2027-03-21T11:60:00Z",
        "2027-03-21T11:58:61Z",
        "2027-03-21T11:58:60Z", /* no leap second can be there */
        "2027-03-20T23:59:60Z", /* nor on a day that ends no month */
        "2027-06-30T23:59:60+01:00",
        "2027-03-21T11:58:03+0100",
        "2027-03-21T11:58:03+01",
        "2027-03-21T11:58:03+1:00",
        "2027-03-21T11:58:03+24:00",
        "2027-03-21T11:58:03+01:60",
        "2027-03-21T11:58:03ZZ",
        "2027-03-21T11:58:03Z ",
        " 2027-03-21T11:58:03Z",
        "2027-02-29T11:58:03Z",
        "2100-02-29T11:58:03Z", /* 2100 is no leap year */
        "2027-00-21T11:58:03Z",
        "2027-13-21T11:58:03Z",
        "2027-03-00T11:58:03Z",
        "2027-04-31T11:58:03Z",
        "1899-12-31T11:58:03Z",
        "2101-01-01T11:58:03Z",
        "+2027-03-21T11:58:03Z",
        "-027-03-21T11:58:03Z",
        "20270321T115803Z",
        "2027-W12-7T11:58:03Z",
        "21.03.2027 11:58",
        "2027-03-21T1e:58:03Z",
        "\xD9\xA2\xD9\xA0\xD9\xA2\xD9\xA7-03-21T11:58:03Z", /* Arabic-Indic digits */
    };
    for (size_t i = 0; i < COUNT_OF(wrong); i++) {
        double t_utc_s = 42.0;
        int offset_min = 42;
        struct err err = {0};
        if (instant_parse(wrong[i], &t_utc_s, &offset_min, &err) != -1)
            fail_msg("\"%s\" was taken", wrong[i]);
        assert_int_equal(err.code, ERR_BAD_TIME);
        assert_string_equal(err.field, "");
        assert_true(strlen(err.text) > 20);
        assert_true(t_utc_s == 42.0 && offset_min == 42);
    }
    struct err err = {0};
    double t_utc_s;
    assert_int_equal(instant_parse("2027-03-21T11:58:03", &t_utc_s, NULL, &err), -1);
    assert_non_null(strstr(err.text, "offset"));
    assert_int_equal(instant_parse("2027-03-21T11:58:03", &t_utc_s, NULL, NULL), -1);
}

/* Oracle: timegm and gmtime_r of the C library. */
static void test_every_day_against_the_c_library(void **state) {
    (void)state;
    const int32_t first = near_date("1900-01-01"), last = near_date("2100-12-31");
    assert_int_equal(last - first + 1, 201 * 365 + 49); /* 1904 to 2096 leap, without 1900, 2100 */
    for (int32_t day = first; day <= last; day++) {
        time_t t = (time_t)day * 86400 + 43200;
        struct tm civil;
        assert_non_null(gmtime_r(&t, &civil));
        char expected[16], text[DATE_TEXT], instant[INSTANT_TEXT], noon[INSTANT_TEXT];
        strftime(expected, sizeof expected, "%Y-%m-%d", &civil);
        date_format(day, text);
        assert_string_equal(text, expected);
        assert_int_equal(near_date(text), day);
        int year, month, date;
        date_civil(day, &year, &month, &date);
        assert_int_equal(date_number(year, month, date), day);
        strftime(noon, sizeof noon, "%Y-%m-%dT12:00:00Z", &civil);
        instant_format((double)t, 0, instant, sizeof instant);
        assert_string_equal(instant, noon);
        assert_true(near_utc_s(instant) == (double)t);
    }
}

static void test_dates_that_are_none(void **state) {
    (void)state;
    static const char *const wrong[] = {"",           "2027-3-21",   "2027-03-2",  "2027-03-211",
                                        "2027/03/21", "21-03-2027",  "2027-02-29", "1899-12-31",
                                        "2101-01-01", "2027-03-21Z", " 2027-03-21"};
    for (size_t i = 0; i < COUNT_OF(wrong); i++) {
        int32_t day = 42;
        if (date_parse(wrong[i], &day))
            fail_msg("\"%s\" was taken", wrong[i]);
        assert_int_equal(day, 42);
    }
}

static void test_writing(void **state) {
    (void)state;
    static const struct {
        double t_utc_s;
        int decimals;
        const char *text;
    } rows[] = {
        {0.0, INSTANT_SHORTEST, "1970-01-01T00:00:00Z"},
        {0.25, INSTANT_SHORTEST, "1970-01-01T00:00:00.25Z"},
        {0.25, 0, "1970-01-01T00:00:00Z"},
        {0.25, 3, "1970-01-01T00:00:00.250Z"},
        {-0.25, 2, "1969-12-31T23:59:59.75Z"},
        {-0.25, 0, "1970-01-01T00:00:00Z"},
        {-86400.5, 1, "1969-12-30T23:59:59.5Z"},
        {59.9996, 3, "1970-01-01T00:01:00.000Z"}, /* rounding carries on */
        {86399.9999999, INSTANT_SHORTEST, "1970-01-02T00:00:00Z"},
        {951782399.9999, 3, "2000-02-29T00:00:00.000Z"},
        {1e300, 0, ""},
        {-1e300, 0, ""},
        {NAN, 0, ""},
        {INFINITY, 6, ""},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char text[INSTANT_TEXT];
        instant_format(rows[i].t_utc_s, rows[i].decimals, text, sizeof text);
        assert_string_equal(text, rows[i].text);
    }
}

static void test_microseconds_there_and_back(void **state) {
    (void)state;
    for (int i = 0; i < 20000; i++) {
        double t_utc_s = -2.2e9 + i * 310000.0 + (i * 7919 % 1000000) / 1e6;
        char text[INSTANT_TEXT], again[INSTANT_TEXT];
        instant_format(t_utc_s, INSTANT_SHORTEST, text, sizeof text);
        check_near(text, near_utc_s(text), t_utc_s, 6e-7, "s");
        instant_format(near_utc_s(text), INSTANT_SHORTEST, again, sizeof again);
        assert_string_equal(text, again);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_examples_of_the_standard),
        cmocka_unit_test(test_other_spellings),
        cmocka_unit_test(test_what_is_no_instant),
        cmocka_unit_test(test_every_day_against_the_c_library),
        cmocka_unit_test(test_dates_that_are_none),
        cmocka_unit_test(test_writing),
        cmocka_unit_test(test_microseconds_there_and_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
