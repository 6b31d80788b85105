/* SPDX-License-Identifier: MIT */
/* tzif, tz_rule: the example files and rules of RFC 8536 (kept in RFC 9636), and
 * every zone of the system beside what its C library says. */
#include "tests/unit/near.h"

#include <string.h>
#include <time.h>

#include "server/wire/tzif.h"
#include "server/wire/zone.h"

static double utc(const char *text) {
    return near_utc_s(text);
}

static void check_offset(const struct tzif *zone, const char *when, int32_t ahead_s, bool is_dst,
                         const char *abbreviation) {
    struct zone_offset offset;
    tzif_at(zone, utc(when), &offset);
    if (offset.ahead_s != ahead_s || offset.is_dst != is_dst ||
        strcmp(offset.abbreviation, abbreviation) != 0)
        fail_msg("%s: %d s ahead, dst %d, %s; not %d s, %d, %s", when, (int)offset.ahead_s,
                 offset.is_dst, offset.abbreviation, (int)ahead_s, is_dst, abbreviation);
}

#define HEADER(version, ut, standard, changes, kinds, characters)                                  \
    'T', 'Z', 'i', 'f', version, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, ut, 0, 0,   \
        0, standard, 0, 0, 0, 0, 0, 0, 0, changes, 0, 0, 0, kinds, 0, 0, 0, characters
#define KINDS_OF_HONOLULU                                                                          \
    1, 2, 1, 3, 4, 1, 5, 0xff, 0xff, 0x6c, 0x02, 0, 0, 0xff, 0xff, 0x6c, 0x58, 0, 4, 0xff, 0xff,   \
        0x7a, 0x68, 1, 8, 0xff, 0xff, 0x7a, 0x68, 1, 12, 0xff, 0xff, 0x7a, 0x68, 1, 16, 0xff,      \
        0xff, 0x73, 0x60, 0, 4, 'L', 'M', 'T', 0, 'H', 'S', 'T', 0, 'H', 'D', 'T', 0, 'H', 'W',    \
        'T', 0, 'H', 'P', 'T', 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0

/* RFC 8536 appendix B.2, Pacific/Honolulu, version 2. */
static const unsigned char honolulu[] = {HEADER('2', 6, 6, 7, 6, 20),
                                         0x80,
                                         0,
                                         0,
                                         0,
                                         0xbb,
                                         0x05,
                                         0x43,
                                         0x48,
                                         0xbb,
                                         0x21,
                                         0x71,
                                         0x58,
                                         0xcb,
                                         0x89,
                                         0x3d,
                                         0xc8,
                                         0xd2,
                                         0x23,
                                         0xf4,
                                         0x70,
                                         0xd2,
                                         0x61,
                                         0x49,
                                         0x38,
                                         0xd5,
                                         0x8d,
                                         0x73,
                                         0x48,
                                         KINDS_OF_HONOLULU,
                                         HEADER('2', 6, 6, 7, 6, 20),
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0x74,
                                         0xe0,
                                         0x70,
                                         0xbe,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xbb,
                                         0x05,
                                         0x43,
                                         0x48,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xbb,
                                         0x21,
                                         0x71,
                                         0x58,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xcb,
                                         0x89,
                                         0x3d,
                                         0xc8,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xd2,
                                         0x23,
                                         0xf4,
                                         0x70,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xd2,
                                         0x61,
                                         0x49,
                                         0x38,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xff,
                                         0xd5,
                                         0x8d,
                                         0x73,
                                         0x48,
                                         KINDS_OF_HONOLULU,
                                         '\n',
                                         'H',
                                         'S',
                                         'T',
                                         '1',
                                         '0',
                                         '\n'};

/* RFC 8536 appendix B.3, Asia/Jerusalem from 2038 on, version 3. */
static const unsigned char jerusalem[] = {HEADER('3', 0, 0, 0, 1, 1),
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          HEADER('3', 0, 0, 1, 2, 8),
                                          0,
                                          0,
                                          0,
                                          0,
                                          0x7f,
                                          0xe8,
                                          0x17,
                                          0x80,
                                          1,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0,
                                          0x1c,
                                          0x20,
                                          0,
                                          4,
                                          '-',
                                          '0',
                                          '0',
                                          0,
                                          'I',
                                          'S',
                                          'T',
                                          0,
                                          '\n',
                                          'I',
                                          'S',
                                          'T',
                                          '-',
                                          '2',
                                          'I',
                                          'D',
                                          'T',
                                          ',',
                                          'M',
                                          '3',
                                          '.',
                                          '4',
                                          '.',
                                          '4',
                                          '/',
                                          '2',
                                          '6',
                                          ',',
                                          'M',
                                          '1',
                                          '0',
                                          '.',
                                          '5',
                                          '.',
                                          '0',
                                          '\n'};

/* Offsets and designations as the tables of appendix B.2 spell them out. */
static void test_honolulu_of_the_rfc(void **state) {
    (void)state;
    struct tzif zone;
    assert_int_equal(sizeof honolulu, 329); /* B.2: the last octet is at offset 328 */
    assert_int_equal(tzif_read(honolulu, sizeof honolulu, &zone, NULL), 0);
    assert_int_equal(zone.changes, 7);
    assert_int_equal(zone.at_utc_s[0], -2334101314); /* 1896-01-13T22:31:26Z */
    struct zone_offset offset;
    tzif_at(&zone, -2334101315.0, &offset);
    assert_int_equal(offset.ahead_s, -37886);
    assert_string_equal(offset.abbreviation, "LMT");
    check_offset(&zone, "1933-04-30T12:29:59Z", -37800, false, "HST");
    check_offset(&zone, "1933-04-30T12:30:00Z", -34200, true, "HDT");
    check_offset(&zone, "1933-05-21T21:30:00Z", -37800, false, "HST");
    check_offset(&zone, "1942-02-09T12:30:00Z", -34200, true, "HWT");
    check_offset(&zone, "1945-08-14T23:00:00Z", -34200, true, "HPT");
    check_offset(&zone, "1947-06-08T12:29:59Z", -37800, false, "HST");
    check_offset(&zone, "1947-06-08T12:30:00Z", -36000, false, "HST");
    check_offset(&zone, "2099-07-01T00:00:00Z", -36000, false, "HST"); /* by the footer */
    tzif_release(&zone);
}

/* The rule of B.3: from the day after the fourth Thursday of March at 02:00, which
 * is the Friday before the last Sunday, to the last Sunday of October, 02:00. In 2040
 * those are 23 March and 28 October. */
static void test_jerusalem_of_the_rfc(void **state) {
    (void)state;
    struct tzif zone;
    assert_int_equal(tzif_read(jerusalem, sizeof jerusalem, &zone, NULL), 0);
    check_offset(&zone, "2037-12-31T23:59:59Z", 0, false, "-00");
    check_offset(&zone, "2038-01-01T00:00:00Z", 7200, false, "IST");
    check_offset(&zone, "2040-03-22T23:59:59Z", 7200, false, "IST");
    check_offset(&zone, "2040-03-23T00:00:00Z", 10800, true, "IDT");
    check_offset(&zone, "2040-10-27T22:59:59Z", 10800, true, "IDT");
    check_offset(&zone, "2040-10-27T23:00:00Z", 7200, false, "IST");
    tzif_release(&zone);
}

/* RFC 8536 section 3.3.1 gives both. The first is western Greenland's: 22:00 on the
 * day before the last Sunday. The second is daylight saving all year. */
static void test_rules_of_the_rfc(void **state) {
    (void)state;
    struct tz_rule rule;
    struct zone_offset offset;
    assert_true(tz_rule_parse("<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", &rule));
    tz_rule_at(&rule, (int64_t)utc("2023-03-26T00:59:59Z"), &offset);
    assert_int_equal(offset.ahead_s, -3 * 3600);
    assert_string_equal(offset.abbreviation, "-03");
    tz_rule_at(&rule, (int64_t)utc("2023-03-26T01:00:00Z"), &offset);
    assert_int_equal(offset.ahead_s, -2 * 3600);
    assert_true(offset.is_dst);
    tz_rule_at(&rule, (int64_t)utc("2023-10-29T01:00:00Z"), &offset);
    assert_int_equal(offset.ahead_s, -3 * 3600);
    assert_true(tz_rule_parse("EST5EDT,0/0,J365/25", &rule));
    for (int day = 0; day < 3 * 366; day++) {
        tz_rule_at(&rule, (int64_t)utc("2023-12-30T04:30:00Z") + day * (int64_t)86400, &offset);
        assert_int_equal(offset.ahead_s, -4 * 3600);
    }
    tz_rule_at(&rule, (int64_t)utc("2025-01-01T05:00:00Z"), &offset);
    assert_string_equal(offset.abbreviation, "EDT");
}

static void test_no_rules(void **state) {
    (void)state;
    static const char *const wrong[] = {"",
                                        "X",
                                        "CET",
                                        "CET-1CEST",
                                        "CET-1CEST,M3.5.0",
                                        "CET-25",
                                        "CE-1",
                                        "CET-1 ",
                                        "<CET-1",
                                        "CET-1CEST,M13.5.0,M10.5.0",
                                        "CET-1CEST,M3.6.0,M10.5.0",
                                        "CET-1CEST,M3.5.7,M10.5.0",
                                        "CET-1CEST,J0,J365",
                                        "CET-1CEST,366,J365",
                                        "CET-1CEST,M3.5.0/168,M10.5.0",
                                        "CET-1CEST,M3.5.0,M10.5.0/3x",
                                        "CET-1:60",
                                        "ABCDEFGHIJKLMNOPQ-1"};
    struct tz_rule rule;
    for (size_t i = 0; i < COUNT_OF(wrong); i++)
        if (tz_rule_parse(wrong[i], &rule))
            fail_msg("\"%s\" was taken", wrong[i]);
}

static void compare_at(const char *name, const struct tzif *zone, time_t t_utc_s) {
    struct tm here;
    struct zone_offset offset;
    tzif_at(zone, (double)t_utc_s, &offset);
    assert_non_null(localtime_r(&t_utc_s, &here));
    if (offset.ahead_s != here.tm_gmtoff || offset.is_dst != (here.tm_isdst > 0) ||
        strcmp(offset.abbreviation, here.tm_zone) != 0)
        fail_msg("%s at %lld: %d %d %s, the C library says %ld %d %s", name, (long long)t_utc_s,
                 (int)offset.ahead_s, offset.is_dst, offset.abbreviation, here.tm_gmtoff,
                 here.tm_isdst, here.tm_zone);
}

/* Every zone of the tables, 1972 to 2100, beside localtime_r of the C library: every
 * tenth day, and the seconds about each change found in between. */
static void test_all_zones_beside_the_c_library(void **state) {
    (void)state;
    struct zones zones;
    zones_init(&zones, NULL);
    char *kept = getenv("TZ") != NULL ? strdup(getenv("TZ")) : NULL;
    size_t changes = 0;
    for (size_t i = 0; i < zones.places; i++) {
        struct tzif zone;
        struct err err = {0};
        const char *name = zones.place[i].name;
        if (tzif_open(NULL, name, &zone, &err) != 0)
            fail_msg("%s: %s", name, err.text);
        setenv("TZ", name, 1);
        tzset();
        struct zone_offset before = {0}, now;
        const time_t first = (time_t)utc("1972-01-02T00:00:00Z"), step = 864000;
        for (time_t t = first; t < (time_t)utc("2100-12-30T00:00:00Z"); t += step) {
            compare_at(name, &zone, t);
            tzif_at(&zone, (double)t, &now);
            if (t > first && (now.ahead_s != before.ahead_s || now.is_dst != before.is_dst)) {
                time_t low = t - step, high = t; /* the change lies in (low, high] */
                while (high - low > 1) {
                    time_t middle = low + (high - low) / 2;
                    struct zone_offset there;
                    tzif_at(&zone, (double)middle, &there);
                    if (there.ahead_s == before.ahead_s && there.is_dst == before.is_dst)
                        low = middle;
                    else
                        high = middle;
                }
                compare_at(name, &zone, low);
                compare_at(name, &zone, high);
                changes++;
            }
            before = now;
        }
        tzif_release(&zone);
    }
    if (kept != NULL)
        setenv("TZ", kept, 1);
    else
        unsetenv("TZ");
    tzset();
    free(kept);
    zones_release(&zones);
    assert_true(changes > 10000); /* half a year each, where clocks are still set */
}

/* In 2027 Paris sets its clocks forward on 28 March at 02:00 and back on 31 October
 * at 03:00 (by zdump). */
static void test_times_by_the_clock(void **state) {
    (void)state;
    struct tzif zone;
    const int32_t spring = near_date("2027-03-28"), autumn = near_date("2027-10-31");
    assert_int_equal(tzif_open(NULL, "Europe/Paris", &zone, NULL), 0);
    check_near("noon", tzif_instant(&zone, spring, 43200), utc("2027-03-28T12:00:00+02:00"), 0,
               "s");
    check_near("before", tzif_instant(&zone, spring, 7199), utc("2027-03-28T01:59:59+01:00"), 0,
               "s");
    check_near("left out", tzif_instant(&zone, spring, 9000), utc("2027-03-28T02:30:00+01:00"), 0,
               "s");
    check_near("after", tzif_instant(&zone, spring, 10800), utc("2027-03-28T03:00:00+02:00"), 0,
               "s");
    check_near("twice", tzif_instant(&zone, autumn, 9000), utc("2027-10-31T02:30:00+02:00"), 0,
               "s");
    check_near("once", tzif_instant(&zone, autumn, 10800), utc("2027-10-31T03:00:00+01:00"), 0,
               "s");
    tzif_release(&zone);
}

/* Whatever is cut off or bent is refused or read, and never read beyond. */
static void test_damaged_files(void **state) {
    (void)state;
    struct tzif zone;
    struct err err = {0};
    for (size_t length = 0; length < sizeof honolulu; length++) {
        unsigned char *copy = malloc(length + 1);
        assert_non_null(copy);
        memcpy(copy, honolulu, length);
        unsigned char *exact = realloc(copy, length > 0 ? length : 1);
        if (tzif_read(exact, length, &zone, NULL) == 0)
            fail_msg("%zu bytes of %zu were enough", length, sizeof honolulu);
        tzif_release(&zone);
        free(exact);
    }
    for (size_t at = 0; at < sizeof honolulu; at++)
        for (int bit = 0; bit < 8; bit++) {
            unsigned char bent[sizeof honolulu];
            memcpy(bent, honolulu, sizeof bent);
            bent[at] ^= (unsigned char)(1 << bit);
            struct zone_offset offset;
            if (tzif_read(bent, sizeof bent, &zone, NULL) == 0)
                tzif_at(&zone, 1e9, &offset);
            tzif_release(&zone);
        }
    assert_int_equal(tzif_open(NULL, "../etc/passwd", &zone, &err), -1);
    assert_int_equal(err.code, ERR_UNKNOWN_ZONE);
    err_clear(&err);
    assert_int_equal(tzif_open(NULL, "Africa/Atlantis", &zone, &err), -1);
    assert_int_equal(err.code, ERR_UNKNOWN_ZONE);
    assert_int_equal(tzif_open(NULL, "Africa", &zone, NULL), -1); /* a directory */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_honolulu_of_the_rfc),
        cmocka_unit_test(test_jerusalem_of_the_rfc),
        cmocka_unit_test(test_rules_of_the_rfc),
        cmocka_unit_test(test_no_rules),
        cmocka_unit_test(test_all_zones_beside_the_c_library),
        cmocka_unit_test(test_times_by_the_clock),
        cmocka_unit_test(test_damaged_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
