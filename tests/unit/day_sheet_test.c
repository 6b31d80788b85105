/* SPDX-License-Identifier: MIT */
/* day_sheet: held against the plainest way to do the same: a list that is searched from
 * end to end. Invented noons: plumbing, no figure of the science. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/day_sheet.h"
#include "tests/support/simulate.h"

#define SITES 300
#define STEPS 4000
#define REACH_DEG 2.0

static struct day_noon list[SITES]; /* by site; key 0: it has no noon */

static struct day_noon noon_of(struct chance *chance, int64_t site) {
    struct day_noon noon = {.noon = {.key = site}};
    double lon_deg = 360.0 * chance_even(chance) - 180.0;
    /* Identifiers in another order than the keys. */
    snprintf(noon.site, sizeof noon.site, "s%03d", (int)(site * 7919 % 1000));
    noon.noon.lon_deg = lon_deg;
    noon.noon.lat_deg = 120.0 * chance_even(chance) - 60.0;
    noon.noon.meridian_m = 111000.0 * noon.noon.lat_deg;
    noon.noon.transit_utc_s = 1805630000.0 - 240.0 * lon_deg;
    noon.noon.sigma_deg = 0.03 + 0.05 * chance_even(chance);
    return noon;
}

static int by_identifier(const void *left, const void *right) {
    return strcmp(((const struct day_noon *)left)->site, ((const struct day_noon *)right)->site);
}

static void assert_as_the_list(struct day_sheet *sheet) {
    static struct day_noon wanted[SITES];
    size_t count = 0;
    for (int i = 0; i < SITES; i++)
        if (list[i].noon.key != 0)
            wanted[count++] = list[i];
    qsort(wanted, count, sizeof wanted[0], by_identifier);
    assert_int_equal(day_sheet_count(sheet), count);
    for (size_t i = 0; i < count; i++) {
        assert_memory_equal(day_sheet_at(sheet, i), &wanted[i], sizeof wanted[i]);
        assert_int_equal(day_sheet_rank(sheet, wanted[i].site), i);
    }
    assert_int_equal(day_sheet_rank(sheet, ""), 0);
    assert_int_equal(day_sheet_rank(sheet, "z"), count);
}

/* Slots as they were told so far. */
static struct day_noon told[4 * SITES];

static void assert_told(struct day_sheet *sheet, bool all) {
    static struct day_sheet_change changes[4 * SITES];
    size_t count = day_sheet_changes(sheet, all), there = 0;
    assert_true(count <= sizeof changes / sizeof *changes);
    day_sheet_tell(sheet, changes);
    for (size_t i = 0; i < count; i++) {
        assert_true(changes[i].slot < sizeof told / sizeof *told);
        told[changes[i].slot] = changes[i].noon;
        if (!changes[i].is_there)
            told[changes[i].slot].noon.key = 0;
    }
    assert_int_equal(day_sheet_changes(sheet, false), 0);
    for (size_t slot = 0; slot < sizeof told / sizeof *told; slot++) {
        int64_t site = told[slot].noon.key;
        if (site == 0)
            continue;
        assert_memory_equal(&told[slot], &list[site - 1], sizeof told[slot]);
        there++;
    }
    assert_int_equal(there, day_sheet_count(sheet));
    assert_true(!all || count >= there); /* and slots that were emptied */
}

static double doubt(const struct day_noon *one, const struct day_noon *two) {
    double apart_m = one->noon.meridian_m - two->noon.meridian_m;
    double variance =
        two->noon.sigma_deg * two->noon.sigma_deg + one->noon.sigma_deg * one->noon.sigma_deg;
    return variance / (apart_m * apart_m);
}

/* How many of the list are within reach, and how many of those are surer than `than`. */
static size_t within_reach(const struct day_noon *noon, double than, size_t *surer) {
    size_t count = 0;
    *surer = 0;
    for (int i = 0; i < SITES; i++) {
        const struct day_noon *other = &list[i];
        if (other->noon.key == 0 || other->noon.key == noon->noon.key ||
            pair_lon_difference_deg(other->noon.lon_deg, noon->noon.lon_deg) > REACH_DEG ||
            !pair_same_noon(&other->noon, &noon->noon))
            continue;
        count++;
        *surer += doubt(noon, other) < than;
    }
    return count;
}

static void assert_neighbours(const struct day_sheet *sheet, const struct day_noon *noon,
                              size_t most) {
    const struct day_noon *near[SITES];
    size_t found = day_sheet_near(sheet, noon, REACH_DEG, most, near), surer;
    size_t all = within_reach(noon, 0.0, &surer);
    assert_int_equal(found, all < most ? all : most);
    for (size_t i = 0; i < found; i++) {
        within_reach(noon, doubt(noon, near[i]), &surer);
        assert_int_equal(surer, i);
    }
}

/* By identifier, those behind the noon's own and another. */
static void assert_later(struct day_sheet *sheet, const struct day_noon *noon, const char *after) {
    const struct day_noon *const *later;
    size_t found = day_sheet_later(sheet, noon, REACH_DEG, after, &later), count = 0;
    for (int i = 0; i < SITES; i++)
        count += list[i].noon.key != 0 &&
                 pair_lon_difference_deg(list[i].noon.lon_deg, noon->noon.lon_deg) <= REACH_DEG &&
                 strcmp(list[i].site, noon->site) > 0 && strcmp(list[i].site, after) > 0;
    assert_int_equal(found, count);
    for (size_t i = 0; i < found; i++) {
        assert_true(pair_lon_difference_deg(later[i]->noon.lon_deg, noon->noon.lon_deg) <=
                    REACH_DEG + 1e-5);
        assert_true(strcmp(later[i]->site, i > 0 ? later[i - 1]->site : noon->site) > 0);
        assert_true(strcmp(later[i]->site, after) > 0);
    }
}

static void it_is_what_a_list_is(void **state) {
    struct chance chance = chance_seeded(20270321);
    struct day_sheet *sheet = day_sheet_new(NULL, 0);
    (void)state;
    assert_non_null(sheet);
    for (int step = 0; step < STEPS; step++) {
        int64_t site = 1 + (int64_t)(chance_even(&chance) * SITES);
        struct day_noon *own = &list[site - 1];
        if (chance_even(&chance) < 0.35) {
            day_sheet_drop(sheet, site);
            own->noon.key = 0;
        } else {
            *own = noon_of(&chance, site);
            assert_true(day_sheet_put(sheet, own));
        }
        const struct day_noon *found = day_sheet_find(sheet, site);
        assert_int_equal(found != NULL, own->noon.key != 0);
        if (found)
            assert_memory_equal(found, own, sizeof *own);
        if (step % 50 == 0)
            assert_as_the_list(sheet);
        if (found && step % 7 == 0)
            assert_neighbours(sheet, found, step % 2 ? 3 : DAY_SHEET_NEAR_MAX);
        if (found && step % 11 == 0)
            assert_later(sheet, found, step % 2 ? "" : "s5");
        if (step % 37 == 0)
            assert_told(sheet, step % 5 == 0);
    }
    assert_as_the_list(sheet);
    day_sheet_free(sheet);
}

/* On either side of 180 degrees. */
static void it_is_a_circle(void **state) {
    (void)state;
    struct day_noon east = {.site = "east", .noon = {.key = 1, .lon_deg = 179.6}};
    struct day_noon west = {.site = "west", .noon = {.key = 2, .lon_deg = -179.9}};
    east.noon.transit_utc_s = 240.0 * 0.5; /* the same sweep of the Sun */
    east.noon.sigma_deg = west.noon.sigma_deg = 0.05;
    west.noon.meridian_m = 1e6;
    west.noon.transit_utc_s = 0.0;
    struct day_sheet *sheet = day_sheet_new(&west, 1);
    const struct day_noon *near[2];
    assert_non_null(sheet);
    assert_int_equal(day_sheet_near(sheet, &east, 0.6, 2, near), 1);
    assert_string_equal(near[0]->site, "west");
    assert_int_equal(day_sheet_near(sheet, &east, 0.4, 2, near), 0);
    day_sheet_free(sheet);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_is_what_a_list_is),
        cmocka_unit_test(it_is_a_circle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
