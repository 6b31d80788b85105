/* SPDX-License-Identifier: MIT */
/* figures_bench: what a day's figures cost, in processor time, and how that grows with its
 * sites: all anew, and again when some of them have changed. */
#include <malloc.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "server/science/meridian.h"
#include "server/wire/board.h"
#include "server/wire/tally.h"
#include "tests/support/simulate.h"

#define BOARD_LINES 500
#define ROUNDS 5

static double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* On land, as the sites of the intake bench. */
static const struct box {
    double south_deg, north_deg, west_deg, east_deg;
} boxes[] = {
    {-38.0, -12.0, -69.0, -57.0}, {-30.0, -14.0, 15.0, 33.0}, {12.0, 30.0, 0.0, 30.0},
    {33.0, 48.0, -118.0, -85.0},  {30.0, 60.0, 62.0, 118.0},  {-32.0, -18.0, 118.0, 145.0},
};
#define BOXES (sizeof boxes / sizeof boxes[0])

static struct day_noon noon_of(struct chance *chance, uint32_t site) {
    const struct box *box = &boxes[(size_t)((double)BOXES * chance_even(chance))];
    const double lat_deg = box->south_deg + (box->north_deg - box->south_deg) * chance_even(chance);
    const double lon_deg = box->west_deg + (box->east_deg - box->west_deg) * chance_even(chance);
    const double sigma_deg = 0.03 + 0.05 * chance_even(chance);
    const double later_s = 43200.0 - 240.0 * lon_deg, declination_deg = -0.9 + 4.6e-6 * later_s;
    const double stray_deg = chance_even(chance) < 0.002 ? 3.0 : 0.0;
    struct day_noon noon = {
        .expected_deg = lat_deg - declination_deg,
        .noon = {.key = site + 1,
                 .lat_deg = lat_deg,
                 .lon_deg = lon_deg,
                 .meridian_m = meridian_distance_m(lat_deg),
                 .transit_utc_s = 1805328000.0 + 480.0 + later_s,
                 .declination_deg = declination_deg,
                 .noon_angle_deg =
                     lat_deg - declination_deg + stray_deg + sigma_deg * chance_normal(chance),
                 .sigma_deg = sigma_deg,
                 .habit_sigma_deg = 0.014},
    };
    snprintf(noon.site, sizeof noon.site, "s%07u", (unsigned)site);
    return noon;
}

static void need(bool well) {
    if (!well) {
        fprintf(stderr, "figures_bench: memory is short\n");
        exit(EXIT_FAILURE);
    }
}

struct took {
    double put_s, line_s, tables_s;
};

/* Figures after so many sites have changed; changes are drawn in turn. */
static struct took remake(struct tally *tally, struct chance *chance, uint32_t sites,
                          uint32_t changed) {
    struct combination combination;
    struct board board;
    struct err err = {0};
    const double before_s = clock_s();
    for (uint32_t i = 0; i < changed; i++) {
        uint32_t site = changed == sites ? i : (uint32_t)(chance_even(chance) * sites);
        struct day_noon noon = noon_of(chance, site);
        need(tally_put(tally, site, &noon));
    }
    const double put_s = clock_s();
    need(tally_combine(tally, &combination, &err) == 0);
    const double combined_s = clock_s();
    need(board_make(tally, BOARD_LINES, &board, &err) == 0);
    const double made_s = clock_s();
    board_release(&board);
    combination_release(&combination);
    return (struct took){put_s - before_s, combined_s - put_s, made_s - combined_s};
}

static int by_sum(const void *left, const void *right) {
    const struct took *a = left, *b = right;
    double one = a->put_s + a->line_s + a->tables_s, two = b->put_s + b->line_s + b->tables_s;
    return (one > two) - (one < two);
}

static struct took median(struct tally *tally, struct chance *chance, uint32_t sites,
                          uint32_t changed) {
    struct took took[ROUNDS];
    for (int i = 0; i < ROUNDS; i++)
        took[i] = remake(tally, chance, sites, changed);
    qsort(took, ROUNDS, sizeof took[0], by_sum);
    return took[ROUNDS / 2];
}

static void print(const char *what, struct took took) {
    printf("  %-16s %10.2f ms = noons %10.2f + line %9.2f + tables %8.2f\n", what,
           1e3 * (took.put_s + took.line_s + took.tables_s), 1e3 * took.put_s, 1e3 * took.line_s,
           1e3 * took.tables_s);
}

/* figures_bench [LAST]: up to so many sites, 100 000 unless told. */
int main(int count, char **argument) {
    const uint32_t last = count > 1 ? (uint32_t)strtoul(argument[1], NULL, 10) : 100000;
    struct pair_rules rules = {0.5, 100000.0, INFINITY};
    printf("a day's figures, processor time; medians of %d rounds but for the first\n", ROUNDS);
    for (uint32_t sites = 1000; sites <= last; sites *= 10) {
        struct chance chance = chance_seeded(7);
        const struct mallinfo2 before = mallinfo2();
        struct tally *tally = tally_new(&rules, BOARD_LINES);
        need(tally != NULL);
        struct took anew = remake(tally, &chance, sites, sites);
        const struct mallinfo2 after = mallinfo2();
        const double bytes =
            (double)(after.uordblks + after.hblkhd) - (double)(before.uordblks + before.hblkhd);
        printf("%u sites, %lld pairs, %.0f MB\n", (unsigned)sites, (long long)tally_pairs(tally),
               bytes / 1e6);
        print("anew", anew);
        print("1 changed", median(tally, &chance, sites, 1));
        print("500 changed", median(tally, &chance, sites, 500));
        tally_free(tally);
    }
    return EXIT_SUCCESS;
}
