/* SPDX-License-Identifier: MIT */
/* land: the principal places of all time zones are on land (tz database, zone.tab and
 * zone1970.tab); points of the high seas are not. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/rules/land.h"
#include "server/wire/zone.h"

static void where_people_live(void **state) {
    (void)state;
    struct zones zones;
    zones_init(&zones, NULL);
    assert_true(zones.places > 300);
    for (size_t i = 0; i < zones.places; i++)
        if (strcmp(zones.place[i].name, "Pacific/Kwajalein") != 0 && /* not on that map */
            !land_is_near(zones.place[i].lat_deg, zones.place[i].lon_deg))
            fail_msg("%s (%g, %g) lies in the sea", zones.place[i].name, zones.place[i].lat_deg,
                     zones.place[i].lon_deg);
    zones_release(&zones);
}

/* Positions from memory, each hundreds of kilometres from any coast: the pole of
 * inaccessibility of the oceans is 48 52.6 S, 123 23.6 W. */
static void the_high_seas(void **state) {
    (void)state;
    static const struct {
        const char *name;
        double lat_deg, lon_deg;
    } rows[] = {{"farthest from land", -48.88, -123.39},
                {"Gulf of Guinea", 0.0, 0.0},
                {"Sargasso Sea", 28.0, -60.0},
                {"North Pacific", 40.0, -150.0},
                {"Bay of Bengal", 14.0, 88.0},
                {"Tasman Sea", -37.0, 160.0},
                {"South Indian Ocean", -30.0, 85.0},
                {"middle of the Mediterranean", 34.5, 18.0},
                {"Southern Ocean by the date line", -60.0, 180.0},
                {"the same from the other side", -60.0, -180.0},
                {"North Pole", 90.0, 0.0}};
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        if (land_is_near(rows[i].lat_deg, rows[i].lon_deg))
            fail_msg("%s is land", rows[i].name);
}

static void inland_and_rims(void **state) {
    (void)state;
    assert_true(land_is_near(23.0, 10.0)); /* Sahara */
    assert_true(land_is_near(60.0, 100.0));
    assert_true(land_is_near(-25.0, 135.0));
    assert_true(land_is_near(-90.0, 0.0)); /* Antarctica at the pole and at both rims */
    assert_true(land_is_near(-85.0, 180.0));
    assert_true(land_is_near(-85.0, -180.0));
    assert_true(land_is_near(67.0, -180.0)); /* Chukotka, which lies across the rim */
    assert_true(land_is_near(67.0, 180.0));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(where_people_live),
        cmocka_unit_test(the_high_seas),
        cmocka_unit_test(inland_and_rims),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
