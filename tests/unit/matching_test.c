/* SPDX-License-Identifier: MIT */
/* Partners: the exact matching against every possible one, and against values of a
 * general-purpose library (networkx 3.6.1, max_weight_matching); the built and
 * improved one against the exact one; and what follows from it for the schools. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>
#include <time.h>

#include "server/rules/blossom.h"
#include "server/rules/extremes.h"
#include "server/rules/matching.h"
#include "server/science/meridian.h"
#include "tests/data/matching_sums.h"

/* Knuth's MMIX generator: the same everywhere, and easy to write again elsewhere. */
static uint64_t state_of_chance;
static double chance(void) {
    state_of_chance = state_of_chance * 6364136223846793005ULL + 1442695040888963407ULL;
    return (double)(state_of_chance >> 11) / 9007199254740992.0;
}
static int64_t whole(int64_t below) {
    return (int64_t)(chance() * (double)below);
}

#define FEW 12

/* The greatest weight over all sets of vertices, one after another. */
static int64_t by_force(const int64_t *weight, int n) {
    static int64_t best[1 << FEW];
    best[0] = 0;
    for (int set = 1; set < 1 << n; set++) {
        int last = 0;
        while (set >> (last + 1) != 0)
            last++;
        best[set] = best[set ^ (1 << last)];
        for (int other = 0; other < last; other++)
            if ((set >> other & 1) && weight[last * n + other] > 0) {
                int64_t with = weight[last * n + other] + best[set ^ (1 << last) ^ (1 << other)];
                best[set] = with > best[set] ? with : best[set];
            }
    }
    return best[(1 << n) - 1];
}

/* The weight of what was found, which must be a matching. */
static int64_t weight_of(const int64_t *weight, int n, const int *mate) {
    int64_t sum = 0;
    for (int i = 0; i < n; i++) {
        if (mate[i] == BLOSSOM_FREE)
            continue;
        assert_in_range(mate[i], 0, n - 1);
        assert_int_equal(mate[mate[i]], i);
        assert_true(weight[i * n + mate[i]] > 0);
        sum += i < mate[i] ? weight[i * n + mate[i]] : 0;
    }
    return sum;
}

static void exact_is_exact(void **state) {
    int64_t weight[FEW * FEW];
    int mate[FEW];
    struct err err = {0};
    (void)state;
    state_of_chance = 1;
    for (int trial = 0; trial < 3000; trial++) {
        int n = (int)whole(FEW) + 1;
        double dense = 0.2 + 0.8 * chance();
        int64_t heaviest = whole(3) == 0 ? 4 : 1000000000;
        int64_t more = whole(2) == 0 ? 0 : heaviest * n;
        for (int i = 0; i < n; i++)
            for (int k = 0; k <= i; k++)
                weight[i * n + k] = weight[k * n + i] =
                    k == i || chance() > dense ? 0 : more + 1 + whole(heaviest);
        assert_int_equal(blossom_match(weight, n, mate, &err), 0);
        assert_true(weight_of(weight, n, mate) == by_force(weight, n));
    }
}

/* Graphs of n vertices, an edge where a draw is below the density, its weight from 1
 * to the heaviest, drawn for (1,0), (2,0), (2,1) ...; the sums are networkx's. */
static void exact_as_a_library(void **state) {
    struct err err = {0};
    (void)state;
    for (size_t row = 0; row < sizeof matching_sums / sizeof matching_sums[0]; row++) {
        int n = matching_sums[row].n;
        int64_t *weight = calloc((size_t)n * (size_t)n, sizeof *weight);
        int *mate = calloc((size_t)n, sizeof *mate);
        assert_non_null(weight);
        assert_non_null(mate);
        state_of_chance = row + 1;
        for (int i = 0; i < n; i++)
            for (int k = 0; k < i; k++)
                if (chance() < matching_sums[row].dense)
                    weight[i * n + k] = weight[k * n + i] = 1 + whole(matching_sums[row].heaviest);
        assert_int_equal(blossom_match(weight, n, mate, &err), 0);
        assert_true(weight_of(weight, n, mate) == matching_sums[row].sum);
        free(weight);
        free(mate);
    }
}

static void extremes_are_the_extremes(void **state) {
    enum { COUNT = 37 };
    bool in[COUNT] = {false};
    struct extremes extremes;
    struct err err = {0};
    (void)state;
    state_of_chance = 3;
    assert_int_equal(extremes_init(&extremes, COUNT, &err), 0);
    double *value = extremes.value;
    for (int i = 0; i < COUNT; i++)
        value[i] = (double)whole(10);
    for (int trial = 0; trial < 5000; trial++) {
        size_t place = (size_t)whole(COUNT), from = (size_t)whole(COUNT);
        size_t to = from + (size_t)whole((int64_t)(COUNT - from) + 1), least, greatest;
        in[place] = whole(2) == 0;
        extremes_set(&extremes, place, in[place]);
        extremes_find(&extremes, from, to, &least, &greatest);
        double low = INFINITY, high = -INFINITY;
        for (size_t i = from; i < to; i++)
            if (in[i]) {
                low = fmin(low, value[i]);
                high = fmax(high, value[i]);
            }
        assert_true(isinf(low) == (least == EXTREMES_NONE));
        if (!isinf(low))
            assert_true(in[least] && in[greatest] && value[least] == low &&
                        value[greatest] == high);
    }
    extremes_release(&extremes);
}

/* ---- schools ---- */

enum land { COUNTRY, CITY, ONE_LINE, WORLD };

static struct match_site *settle(enum land land, size_t count, uint64_t seed) {
    struct match_site *sites = calloc(count, sizeof *sites);
    assert_non_null(sites);
    state_of_chance = seed;
    for (size_t i = 0; i < count; i++) {
        bool city = land == CITY && chance() < 0.6;
        sites[i].measurable = true;
        /* Gnomons of 0.3 to 2 m, as plans take them: 1 mm, 0.03 and 0.02 degrees. */
        sites[i].sigma_deg = hypot(0.036, 0.0573 / (0.3 + 1.7 * chance()));
        sites[i].lon_deg = city ? 5.0 + 0.5 * chance() : 12.0 * chance();
        sites[i].meridian_km = city ? 4500.0 + 40.0 * chance() : 4000.0 + 1100.0 * chance();
        if (land == ONE_LINE) {
            sites[i].lon_deg /= 12.0;
            sites[i].sigma_deg = 0.07;
        }
        if (land == WORLD) {
            sites[i].lon_deg = 360.0 * chance() - 180.0;
            sites[i].meridian_km = 9000.0 * (chance() - 0.3);
        }
    }
    return sites;
}

static struct match_rules rules_with(size_t exact_max) {
    return (struct match_rules){.lon_tolerance_deg = 1.0,
                                .min_separation_km = 100.0,
                                .max_sigma_km = INFINITY,
                                .exact_max = exact_max};
}

static void match(const struct match_site *sites, size_t count, const struct match_rules *rules,
                  struct matching *out) {
    struct err err = {0};
    assert_int_equal(matching_make(sites, count, rules, out, &err), 0);
}

/* Most pairs, then least sum: by trying all. */
struct best {
    size_t pairs;
    double sigma_km;
};

static void try_all(const struct match_site *sites, size_t count, const struct match_rules *rules,
                    size_t from, bool *taken, struct best now, struct best *best) {
    while (from < count && taken[from])
        from++;
    if (from == count) {
        if (now.pairs > best->pairs || (now.pairs == best->pairs && now.sigma_km < best->sigma_km))
            *best = now;
        return;
    }
    taken[from] = true;
    try_all(sites, count, rules, from + 1, taken, now, best);
    for (size_t other = from + 1; other < count; other++) {
        double sigma_km;
        if (taken[other] || !match_allowed(&sites[from], &sites[other], rules, &sigma_km))
            continue;
        taken[other] = true;
        try_all(sites, count, rules, from + 1, taken,
                (struct best){now.pairs + 1, now.sigma_km + sigma_km}, best);
        taken[other] = false;
    }
    taken[from] = false;
}

static void few_schools_get_the_best(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 120; seed++) {
        size_t count = 2 + seed % 10;
        struct match_site *sites = settle(seed % 2 ? CITY : COUNTRY, count, seed);
        struct match_rules rules = rules_with(MATCHING_EXACT_MAX);
        rules.lon_tolerance_deg = 1.0 + (double)(seed % 5);
        rules.max_sigma_km = seed % 3 ? INFINITY : 1500.0;
        struct matching matching;
        struct best best = {0};
        bool taken[16] = {false};
        match(sites, count, &rules, &matching);
        try_all(sites, count, &rules, 0, taken, (struct best){0}, &best);
        assert_true(matching.exact);
        assert_int_equal(matching.pairs, best.pairs);
        assert_true(fabs(matching.sigma_km - best.sigma_km) < 0.001 * (double)count);
        matching_release(&matching);
        free(sites);
    }
}

/* What holds of every answer. */
static void check(const struct match_site *sites, size_t count, const struct match_rules *rules,
                  const struct matching *matching) {
    size_t *partners = calloc(count, sizeof *partners);
    size_t alone = 0;
    assert_non_null(partners);
    for (size_t i = 0; i < matching->links; i++) {
        const struct match_link *link = &matching->link[i];
        double sigma_km;
        bool back = false;
        assert_true(link->site != link->partner);
        assert_true(match_allowed(&sites[link->site], &sites[link->partner], rules, &sigma_km));
        assert_true(sigma_km == link->sigma_km);
        assert_true(i == 0 || matching->link[i - 1].site <= link->site);
        partners[link->site]++;
        for (size_t k = 0; k < matching->links && !back; k++)
            back =
                matching->link[k].site == link->partner && matching->link[k].partner == link->site;
        assert_true(back);
    }
    for (size_t i = 0; i < count; i++) {
        assert_in_range(partners[i], 0, 2);
        alone += partners[i] == 0;
    }
    assert_int_equal(alone, matching->alone);
    assert_int_equal(2 * matching->pairs + matching->threes + matching->alone, count);
    free(partners);
}

/* The other way is near the exact one, with as many pairs where the land is even. */
static void many_schools_come_near(void **state) {
    static const enum land lands[] = {COUNTRY, CITY, ONE_LINE};
    enum { COUNT = 601 };
    const struct match_rules exactly = rules_with(BLOSSOM_VERTICES_MAX), built = rules_with(10);
    (void)state;
    for (size_t i = 0; i < sizeof lands / sizeof lands[0]; i++)
        for (uint64_t seed = 1; seed <= 3; seed++) {
            struct match_site *sites = settle(lands[i], COUNT, seed);
            struct matching best, near;
            match(sites, COUNT, &exactly, &best);
            match(sites, COUNT, &built, &near);
            assert_true(best.exact && !near.exact);
            check(sites, COUNT, &exactly, &best);
            check(sites, COUNT, &built, &near);
            print_message(
                "seed %d: land %zu: %zu of %zu pairs, mean sigma %+.2f %%\n", (int)seed, i,
                near.pairs, best.pairs,
                100.0 * (near.sigma_km / (double)near.pairs * (double)best.pairs / best.sigma_km -
                         1.0));
            /* A city has far more schools than there are partners for them. */
            assert_true(near.pairs <= best.pairs);
            assert_true(100 * near.pairs >= (lands[i] == CITY ? 97 : 100) * best.pairs);
            if (near.pairs == best.pairs)
                assert_true(near.sigma_km <=
                            best.sigma_km * (lands[i] == CITY ? 1.05 : 1.015) + 1.0);
            matching_release(&best);
            matching_release(&near);
            free(sites);
        }
}

/* In one strip, with equal gnomons, the construction is the best (see matching.h). */
static void one_strip_is_the_best_there_is(void **state) {
    (void)state;
    struct match_site *sites = settle(ONE_LINE, 400, 9);
    const struct match_rules exactly = rules_with(400), built = rules_with(10);
    struct matching best, near;
    match(sites, 400, &exactly, &best);
    match(sites, 400, &built, &near);
    assert_int_equal(best.pairs, near.pairs);
    assert_true(fabs(best.sigma_km - near.sigma_km) < 0.001 * 400);
    matching_release(&best);
    matching_release(&near);
    free(sites);
}

static void everybody_has_one_where_it_can_be(void **state) {
    (void)state;
    struct match_site *sites = settle(COUNTRY, 5001, 4);
    const struct match_rules rules = rules_with(MATCHING_EXACT_MAX);
    struct matching matching, again;
    match(sites, 5001, &rules, &matching);
    assert_int_equal(matching.pairs, 2500);
    assert_int_equal(matching.threes, 1);
    assert_int_equal(matching.alone, 0);
    match(sites, 5001, &rules, &again);
    assert_int_equal(matching.links, again.links);
    for (size_t i = 0; i < again.links; i++) {
        assert_int_equal(matching.link[i].site, again.link[i].site);
        assert_int_equal(matching.link[i].partner, again.link[i].partner);
    }
    matching_release(&matching);
    matching_release(&again);
    free(sites);
}

/* The date line is no border, here or there; nor is the band's own beginning. */
static void the_ring_of_longitudes(void **state) {
    static const double lon_deg[][2] = {
        {179.7, -179.6}, {-180.0, 180.0}, {-0.3, 0.4}, {179.9, 179.1}};
    (void)state;
    for (size_t i = 0; i < sizeof lon_deg / sizeof lon_deg[0]; i++) {
        const struct match_site sites[] = {{lon_deg[i][0], 1000.0, 0.05, true},
                                           {lon_deg[i][1], 2000.0, 0.05, true},
                                           {lon_deg[i][0], 2000.0, 0.05, false}};
        const struct match_rules rules = rules_with(MATCHING_EXACT_MAX);
        struct matching matching;
        match(sites, 3, &rules, &matching);
        assert_int_equal(matching.pairs, 1);
        assert_int_equal(matching.alone, 1);
        /* 40 008 km hypot(0.05, 0.05) / 8.998 degrees */
        assert_true(fabs(matching.link[0].sigma_km - 314.4) < 0.2);
        matching_release(&matching);
    }
}

static void none_and_one(void **state) {
    const struct match_site one = {3.0, 1000.0, 0.05, true};
    const struct match_rules rules = rules_with(MATCHING_EXACT_MAX);
    struct matching matching;
    (void)state;
    match(&one, 0, &rules, &matching);
    assert_int_equal(matching.links, 0);
    matching_release(&matching);
    match(&one, 1, &rules, &matching);
    assert_int_equal(matching.alone, 1);
    matching_release(&matching);
}

/* 100 000 in seconds; here a tenth of that, so that sanitized builds keep pace. */
static void in_seconds(void **state) {
    static const enum land lands[] = {COUNTRY, CITY, WORLD};
    (void)state;
    for (size_t i = 0; i < sizeof lands / sizeof lands[0]; i++) {
        struct match_site *sites = settle(lands[i], 10000, 5);
        const struct match_rules rules = rules_with(MATCHING_EXACT_MAX);
        struct matching matching;
        clock_t began = clock();
        match(sites, 10000, &rules, &matching);
        double took_s = (double)(clock() - began) / CLOCKS_PER_SEC;
        print_message("seed 5: 10 000 schools, land %d: %.2f s of processor, %zu pairs, %zu "
                      "threes, %zu alone\n",
                      (int)lands[i], took_s, matching.pairs, matching.threes, matching.alone);
        assert_true(took_s < 30.0);
        assert_true(lands[i] == CITY || matching.alone == 0);
        matching_release(&matching);
        free(sites);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact_is_exact),
        cmocka_unit_test(exact_as_a_library),
        cmocka_unit_test(extremes_are_the_extremes),
        cmocka_unit_test(few_schools_get_the_best),
        cmocka_unit_test(many_schools_come_near),
        cmocka_unit_test(one_strip_is_the_best_there_is),
        cmocka_unit_test(everybody_has_one_where_it_can_be),
        cmocka_unit_test(the_ring_of_longitudes),
        cmocka_unit_test(none_and_one),
        cmocka_unit_test(in_seconds),
    };
    return cmocka_run_group_tests_name("matching", tests, NULL, NULL);
}
