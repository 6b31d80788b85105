/* SPDX-License-Identifier: MIT */
/* zone: the system's own tz database, whose table gives positions in ISO 6709. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/wire/zone.h"

static void test_shapes_of_names(void **state) {
    (void)state;
    static const char *const right[] = {"UTC",        "Africa/Nairobi", "America/Argentina/Ushuaia",
                                        "Etc/GMT+12", "Asia/Ust-Nera",  "America/St_Johns"};
    static const char *const wrong[] = {
        "",
        "africa/Nairobi",
        "/etc/passwd",
        "../passwd",
        "Africa/../../passwd",
        "Africa//Nairobi",
        "Africa/",
        "Africa/Nairobi\n",
        "Africa Nairobi",
        "posix/Africa/Nairobi",
        "right/UTC",
        "localtime",
        "Africa/Na\xC3\xAFrobi",
        "A23456789_123456789_123456789_123456789_123456789_123456789_1234"};
    for (size_t i = 0; i < COUNT_OF(right); i++)
        if (!zone_name_is_valid(right[i]))
            fail_msg("\"%s\" was refused", right[i]);
    for (size_t i = 0; i < COUNT_OF(wrong); i++)
        if (zone_name_is_valid(wrong[i]))
            fail_msg("\"%s\" was taken", wrong[i]);
}

static void test_zones_of_the_system(void **state) {
    (void)state;
    struct zones zones;
    zones_init(&zones, NULL);
    assert_true(zones.places > 300);
    for (size_t i = 0; i < zones.places; i++) {
        assert_true(fabs(zones.place[i].lat_deg) <= 90.0);
        assert_true(fabs(zones.place[i].lon_deg) <= 180.0);
        assert_true(zones_has(&zones, zones.place[i].name));
    }
    assert_true(zones_has(&zones, "UTC"));
    assert_null(zones_place(&zones, "UTC"));
    assert_false(zones_has(&zones, "Africa/Atlantis"));
    assert_false(zones_has(&zones, "Africa")); /* a directory */
    assert_false(zones_has(&zones, "../zoneinfo/UTC"));
    assert_false(zones_has(&zones, ""));
    assert_null(zones_place(&zones, ""));
    zones_release(&zones);
}

/* Rows of the tz database's zone.tab, as they stand there behind each. */
static void test_places(void **state) {
    (void)state;
    static const struct {
        const char *name;
        double lat_deg, lon_deg;
    } rows[] = {
        {"Africa/Nairobi", -(1 + 17 / 60.), 36 + 49 / 60.},                   /* -0117+03649 */
        {"Asia/Kathmandu", 27 + 43 / 60., 85 + 19 / 60.},                     /* +2743+08519 */
        {"America/New_York", 40 + 42 / 60. + 51 / 3600., -(74 + 23 / 3600.)}, /* +404251-0740023 */
        {"Pacific/Kiritimati", 1 + 52 / 60., -(157 + 20 / 60.)},              /* +0152-15720 */
        {"Europe/Oslo", 59 + 55 / 60., 10 + 45 / 60.}, /* only zone.tab has it: +5955+01045 */
    };
    struct zones zones;
    zones_init(&zones, NULL);
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        const struct zone_place *place = zones_place(&zones, rows[i].name);
        assert_non_null(place);
        check_near(rows[i].name, place->lat_deg, rows[i].lat_deg, 1e-9, "deg");
        check_near(rows[i].name, place->lon_deg, rows[i].lon_deg, 1e-9, "deg");
    }
    zones_release(&zones);
}

static void test_a_system_without_zones(void **state) {
    (void)state;
    struct zones zones;
    zones_init(&zones, "/nowhere");
    assert_int_equal(zones.places, 0);
    assert_false(zones_has(&zones, "UTC"));
    assert_null(zones_place(&zones, "Africa/Nairobi"));
    zones_release(&zones);
}

/* Tables that are damaged give fewer places, and nothing else. */
static void test_damaged_tables(void **state) {
    (void)state;
    char directory[] = "/tmp/noonarc-zones-XXXXXX", path[64];
    assert_non_null(mkdtemp(directory));
    snprintf(path, sizeof path, "%s/zone.tab", directory);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs("# comment\n\nXX\nXX\t\nXX\t+\nXX\t+0117\nXX\t+0117+03649\nXX\t+0117+03649\t\n"
          "XX\t+011+03649\tAfrica/Short\nXX\t+0117+0364\tAfrica/Shorter\n"
          "XX\t0117+03649\tAfrica/Unsigned\nXX\t+01x7+03649\tAfrica/Letters\n"
          "XX\t+0117+03649\t../../escape\n"
          "XX\t+0117+03649\tAfrica/A_name_that_is_longer_than_any_name_of_a_zone_may_be_at_all_x\n"
          "XX\t-0117+03649\tAfrica/Right\tcomment\nXX\t+0117+03649",
          file);
    fclose(file);
    struct zones zones;
    zones_init(&zones, directory);
    assert_int_equal(zones.places, 1);
    assert_string_equal(zones.place[0].name, "Africa/Right");
    zones_release(&zones);
    assert_int_equal(remove(path), 0);
    assert_int_equal(remove(directory), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shapes_of_names), cmocka_unit_test(test_zones_of_the_system),
        cmocka_unit_test(test_places),          cmocka_unit_test(test_a_system_without_zones),
        cmocka_unit_test(test_damaged_tables),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
