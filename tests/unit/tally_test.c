/* SPDX-License-Identifier: MIT */
/* tally: noons that come, change and go in random order, against a tally that is made of
 * what is left at once, to the last bit; and against the plainest way to come to the same,
 * a look at every pair. Seeded, invented noons: the figures of the science have tests of
 * their own. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/science/meridian.h"
#include "server/wire/board.h"
#include "server/wire/day_noons.h"
#include "server/wire/tally.h"
#include "tests/support/simulate.h"

#define SLOTS_MAX 2600
#define BOARD_LINES 40

/* Where the sites of a day are, and how they measure. */
struct land {
    const char *name;
    uint32_t slots;
    double west_deg, wide_deg, south_deg, tall_deg;
    double steps_deg; /* positions come in steps of so much; 0: anywhere */
    double tolerance_deg, min_separation_km, max_sigma_km;
    double strays;     /* share of sites that are degrees off */
    double other_days; /* share of sites that measured on another date */
    double sigma_deg;
};

static const struct land lands[] = {
    {"a country", 300, 10.0, 8.0, 40.0, 9.0, 0.0, 0.5, 100.0, INFINITY, 0.03, 0.0, 0.05},
    {"about the date line", 400, 176.0, 9.0, -20.0, 12.0, 0.0, 1.0, 50.0, 2000.0, 0.02, 0.1, 0.1},
    {"the whole globe", 1500, -180.0, 360.0, -60.0, 120.0, 0.0, 2.0, 200.0, 500.0, 0.02, 0.1, 0.08},
    {"one town", 300, 3.0, 0.3, 44.0, 0.3, 0.0, 0.5, 5.0, INFINITY, 0.02, 0.0, 0.05},
    {"a grid of twins", 500, -180.0, 360.0, -30.0, 60.0, 5.0, 5.0, 1.0, INFINITY, 0.0, 0.2, 0.05},
    {"at their limits", 500, -3.0, 6.0, 40.0, 3.0, 0.25, 0.5, 111.0, 1000.0, 0.02, 0.0, 0.05},
    {"thick", 2500, 10.0, 3.0, 35.0, 20.0, 0.0, 0.5, 100.0, 900.0, 0.01, 0.05, 0.05},
    {"coarse", 800, 100.0, 6.0, -40.0, 30.0, 0.0, 15.0, 1.0, INFINITY, 0.1, 0.3, 3.0},
};
#define LANDS (sizeof lands / sizeof lands[0])

static double stepped(double value, double step) {
    return step > 0.0 ? step * round(value / step) : value;
}

static struct day_noon noon_of(struct chance *chance, const struct land *land, uint32_t slot) {
    double lon_deg =
        stepped(land->west_deg + land->wide_deg * chance_even(chance), land->steps_deg);
    double lat_deg =
        stepped(land->south_deg + land->tall_deg * chance_even(chance), land->steps_deg);
    lon_deg -= lon_deg > 180.0 ? 360.0 : 0.0;
    double day =
        chance_even(chance) < land->other_days ? 1.0 + floor(3.0 * chance_even(chance)) : 0.0;
    double later_s = 86400.0 * day + 43200.0 - 240.0 * lon_deg;
    double declination_deg = -1.0 + 0.39 * later_s / 86400.0;
    double sigma_deg = land->sigma_deg * (0.5 + chance_even(chance));
    bool is_twin = land->steps_deg > 0.0 && chance_even(chance) < 0.5;
    double error_deg = is_twin ? 0.0 : sigma_deg * chance_normal(chance);
    if (chance_even(chance) < land->strays)
        error_deg += 20.0 * (chance_even(chance) - 0.5);
    struct day_noon noon = {
        .expected_deg = lat_deg - declination_deg,
        .readings_left_out = (int)(3.0 * chance_even(chance)),
        .noon = {.key = slot + 1,
                 .lat_deg = lat_deg,
                 .lon_deg = lon_deg,
                 .meridian_m = meridian_distance_m(lat_deg),
                 .transit_utc_s = 1805328000.0 + later_s + 2.0 * chance_even(chance),
                 .declination_deg = declination_deg,
                 .noon_angle_deg = lat_deg - declination_deg + error_deg,
                 .sigma_deg = is_twin ? 0.05 : sigma_deg,
                 .habit_sigma_deg = 0.3 * sigma_deg,
                 .edge = (int)(3.0 * chance_even(chance))},
    };
    /* Identifiers in another order than the slots. */
    snprintf(noon.site, sizeof noon.site, "s%05u", (unsigned)(slot * 7919u % 99991u));
    return noon;
}

/* A day: what is in the slots, and what was made of it. */
struct day {
    const struct land *land;
    struct pair_rules rules;
    struct day_noon noon[SLOTS_MAX];
    bool is_there[SLOTS_MAX];
};

static struct day *day_new(const struct land *land) {
    struct day *day = calloc(1, sizeof *day);
    assert_non_null(day);
    assert_true(land->slots <= SLOTS_MAX);
    day->land = land;
    day->rules = (struct pair_rules){land->tolerance_deg, 1000.0 * land->min_separation_km,
                                     land->max_sigma_km};
    return day;
}

static struct tally *tally_of(const struct day *day) {
    struct tally *tally = tally_new(&day->rules, BOARD_LINES);
    assert_non_null(tally);
    return tally;
}

struct told {
    struct combination combination;
    struct combine_point *point; /* the combination's, which outlive the tally here */
    struct board board;
    int64_t pairs;
};

static struct told tell(struct tally *tally) {
    struct told told;
    struct err err = {0};
    assert_int_equal(tally_combine(tally, &told.combination, &err), 0);
    told.point = calloc(told.combination.points + 1, sizeof *told.point);
    assert_non_null(told.point);
    memcpy(told.point, told.combination.point, told.combination.points * sizeof *told.point);
    told.combination.point = told.point;
    assert_int_equal(board_make(tally, BOARD_LINES, &told.board, &err), 0);
    told.pairs = tally_pairs(tally);
    return told;
}

static void told_release(struct told *told) {
    combination_release(&told->combination);
    free(told->point);
    board_release(&told->board);
}

/* Records are zero between their members. */
static void assert_same(const struct told *one, const struct told *two) {
    const struct board *a = &one->board, *b = &two->board;
    assert_int_equal(one->pairs, two->pairs);
    assert_memory_equal(&one->combination.combined, &two->combination.combined,
                        sizeof one->combination.combined);
    assert_int_equal(one->combination.points, two->combination.points);
    for (size_t i = 0; i < one->combination.points; i++) {
        const struct combine_point *p = &one->combination.point[i], *q = &two->combination.point[i];
        assert_int_equal(p->key, q->key);
        assert_int_equal(p->left_out, q->left_out);
        assert_memory_equal(&p->residual_deg, &q->residual_deg, sizeof p->residual_deg);
        assert_memory_equal(&p->influence_km, &q->influence_km, sizeof p->influence_km);
    }
    assert_int_equal(a->pairs_count, b->pairs_count);
    assert_int_equal(a->sites_count, b->sites_count);
    assert_int_equal(a->honesty_count, b->honesty_count);
    assert_memory_equal(a->pairs, b->pairs, a->pairs_count * sizeof *a->pairs);
    assert_memory_equal(a->sites, b->sites, a->sites_count * sizeof *a->sites);
    assert_memory_equal(a->honesty, b->honesty, a->honesty_count * sizeof *a->honesty);
}

/* ---- every pair looked at ---- */

struct plain {
    size_t sites;
    const struct day_noon *noon[SLOTS_MAX]; /* by identifier */
    bool off_line[SLOTS_MAX];
    int64_t pairs;
    size_t counts; /* of them */
    struct pair_record *pair;
    long double wds[SLOTS_MAX], wss[SLOTS_MAX], ws[SLOTS_MAX];
    int partners[SLOTS_MAX];
};

static int by_site(const void *left, const void *right) {
    return strcmp((*(const struct day_noon *const *)left)->site,
                  (*(const struct day_noon *const *)right)->site);
}

static double error_km(double circumference_km) {
    return fabs(circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
}

static int by_pair_error(const void *left, const void *right) {
    const struct pair_record *a = left, *b = right;
    double one = error_km(a->pair.circumference_km), two = error_km(b->pair.circumference_km);
    if (one != two)
        return one < two ? -1 : 1;
    int order = strcmp(a->site1, b->site1);
    return order != 0 ? order : strcmp(a->site2, b->site2);
}

static void lend(struct plain *plain, size_t to, size_t from) {
    const struct noon_result *own = &plain->noon[to]->noon, *other = &plain->noon[from]->noon;
    if (plain->off_line[from])
        return;
    long double z = (long double)own->noon_angle_deg + own->declination_deg -
                    other->noon_angle_deg - other->declination_deg;
    long double s = ((long double)own->meridian_m - other->meridian_m) / 1000.0L;
    long double w = 1.0L / ((long double)other->sigma_deg * other->sigma_deg);
    plain->wds[to] += w * z * s;
    plain->wss[to] += w * s * s;
    plain->ws[to] += w * s;
    plain->partners[to]++;
}

static struct plain *look_at_all(const struct day *day, const struct combination *combination) {
    struct plain *plain = calloc(1, sizeof *plain);
    assert_non_null(plain);
    size_t room = 0;
    for (uint32_t slot = 0; slot < day->land->slots; slot++)
        if (day->is_there[slot])
            plain->noon[plain->sites++] = &day->noon[slot];
    qsort(plain->noon, plain->sites, sizeof plain->noon[0], by_site);
    assert_int_equal(combination->points, plain->sites);
    for (size_t i = 0; i < combination->points; i++)
        plain->off_line[combination->point[i].key] = combination->point[i].left_out;
    for (size_t i = 0; i < plain->sites; i++)
        for (size_t k = i + 1; k < plain->sites; k++) {
            struct pair_record pair;
            if (!day_noons_pair(plain->noon[i], plain->noon[k], &day->rules, &pair))
                continue;
            plain->pairs++;
            if (pair.pair.status != PAIR_OK)
                continue;
            lend(plain, i, k);
            lend(plain, k, i);
            if (plain->counts == room) {
                room = room ? 2 * room : 1024;
                plain->pair = realloc(plain->pair, room * sizeof *plain->pair);
                assert_non_null(plain->pair);
            }
            plain->pair[plain->counts++] = pair;
        }
    if (plain->counts > 0)
        qsort(plain->pair, plain->counts, sizeof *plain->pair, by_pair_error);
    return plain;
}

static size_t less(size_t a, size_t b) {
    return a < b ? a : b;
}

static void assert_near(double one, double two) {
    if (fabs(one - two) > 1e-10 * fabs(two)) /* weights of sites some degrees unsure */
        fail_msg("%.17g is not %.17g", one, two);
}

/* Every line of the sites' table stands where its figure belongs, with the figure. */
static void assert_sites(const struct plain *plain, const struct board *board) {
    size_t with_figure = 0, nearer = 0;
    const struct leader_site_record *last =
        board->sites_count > 0 ? &board->sites[board->sites_count - 1] : NULL;
    for (size_t i = 0; i < plain->sites; i++) {
        if (plain->partners[i] == 0 || plain->wds[i] <= 0)
            continue;
        double slope = (double)(plain->wds[i] / plain->wss[i]);
        with_figure++;
        nearer += last && error_km(360.0 / slope) < error_km(last->circumference_km) - 1e-6;
        for (size_t k = 0; k < board->sites_count; k++) {
            const struct leader_site_record *row = &board->sites[k];
            if (strcmp(row->site, plain->noon[i]->site) != 0)
                continue;
            double own = plain->noon[i]->noon.sigma_deg * (double)plain->ws[i];
            double wss = (double)plain->wss[i];
            assert_near(row->circumference_km, 360.0 / slope);
            assert_near(row->sigma_km, 360.0 / slope * sqrt(wss + own * own) / wss / slope);
            assert_int_equal(row->partners, plain->partners[i]);
        }
    }
    assert_int_equal(board->sites_count, less(with_figure, BOARD_LINES));
    assert_true(nearer < BOARD_LINES);
    for (size_t k = 1; k < board->sites_count; k++)
        assert_true(error_km(board->sites[k].circumference_km) >=
                    error_km(board->sites[k - 1].circumference_km));
}

static int by_value(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static void assert_honesty(const struct plain *plain, const struct board *board) {
    static double score[SLOTS_MAX];
    for (size_t i = 0; i < plain->sites; i++) {
        const struct noon_result *noon = &plain->noon[i]->noon;
        score[i] =
            standing_score(noon->noon_angle_deg - plain->noon[i]->expected_deg, noon->sigma_deg);
    }
    qsort(score, plain->sites, sizeof score[0], by_value);
    assert_int_equal(board->honesty_count, less(plain->sites, BOARD_LINES));
    for (size_t k = 0; k < board->honesty_count; k++)
        assert_true(board->honesty[k].score == score[k]);
}

static void assert_as_plain(const struct day *day, const struct told *told) {
    struct plain *plain = look_at_all(day, &told->combination);
    const struct board *board = &told->board;
    assert_int_equal(told->pairs, plain->pairs);
    assert_int_equal(board->pairs_count, less(plain->counts, BOARD_LINES));
    for (size_t k = 0; k < board->pairs_count; k++) {
        const struct leader_pair_record *row = &board->pairs[k];
        const struct pair_record *pair = &plain->pair[k];
        assert_string_equal(row->site1, pair->site1);
        assert_string_equal(row->site2, pair->site2);
        assert_true(row->circumference_km == pair->pair.circumference_km);
        assert_true(row->sigma_km == pair->pair.sigma_km);
    }
    assert_sites(plain, board);
    assert_honesty(plain, board);
    free(plain->pair);
    free(plain);
}

/* ---- the tests ---- */

static struct told tell_at_once(const struct day *day, bool backwards) {
    struct tally *tally = tally_of(day);
    const uint32_t slots = day->land->slots;
    for (uint32_t i = 0; i < slots; i++) {
        uint32_t slot = backwards ? slots - 1 - i : i;
        if (day->is_there[slot])
            assert_true(tally_put(tally, slot, &day->noon[slot]));
    }
    struct told told = tell(tally);
    tally_free(tally);
    return told;
}

static void move(struct day *day, struct tally *tally, struct chance *chance, double drops) {
    uint32_t slot = (uint32_t)(day->land->slots * chance_even(chance));
    if (chance_even(chance) < drops) {
        tally_drop(tally, slot);
        day->is_there[slot] = false;
    } else {
        day->noon[slot] = noon_of(chance, day->land, slot);
        day->is_there[slot] = true;
        assert_true(tally_put(tally, slot, &day->noon[slot]));
    }
}

/* Few changes between two looks, so that they are entered one by one; now and then many;
 * towards the end more noons go than come. */
static void steps_come_to_the_same_as_all_at_once(void **state) {
    (void)state;
    for (size_t l = 0; l < LANDS; l++) {
        struct chance chance = chance_seeded(2000 + l);
        struct day *day = day_new(&lands[l]);
        struct tally *tally = tally_of(day);
        for (uint32_t slot = 0; slot < day->land->slots; slot++)
            move(day, tally, &chance, 0.0);
        for (int look = 0; look < 30; look++) {
            int moves = look % 7 == 6 ? (int)day->land->slots / 2 : 1 + look;
            for (int i = 0; i < moves; i++)
                move(day, tally, &chance, look < 20 ? 0.3 : 0.8);
            struct told told = tell(tally), anew = tell_at_once(day, look % 2 == 0);
            assert_same(&told, &anew);
            if (look % 10 == 5)
                assert_as_plain(day, &told);
            told_release(&told);
            told_release(&anew);
        }
        tally_free(tally);
        free(day);
    }
}

static void it_is_what_a_look_at_every_pair_says(void **state) {
    (void)state;
    for (size_t l = 0; l < LANDS; l++)
        for (uint64_t seed = 0; seed < 3; seed++) {
            struct chance chance = chance_seeded(100 * l + seed);
            struct day *day = day_new(&lands[l]);
            for (uint32_t slot = 0; slot < day->land->slots; slot++) {
                day->noon[slot] = noon_of(&chance, day->land, slot);
                day->is_there[slot] = chance_even(&chance) < 0.9;
            }
            struct told told = tell_at_once(day, false);
            assert_as_plain(day, &told);
            told_release(&told);
            free(day);
        }
}

/* The best pairs go, again and again, until those kept do not suffice. */
static void the_next_best_come_up(void **state) {
    (void)state;
    struct chance chance = chance_seeded(7);
    struct day *day = day_new(&lands[0]);
    struct tally *tally = tally_of(day);
    for (uint32_t slot = 0; slot < day->land->slots; slot++)
        move(day, tally, &chance, 0.0);
    for (int round = 0; round < 40; round++) {
        struct told told = tell(tally);
        assert_as_plain(day, &told);
        for (size_t k = 0; k < less(told.board.pairs_count, 4); k++)
            for (uint32_t slot = 0; slot < day->land->slots; slot++)
                if (day->is_there[slot] &&
                    strcmp(day->noon[slot].site, told.board.pairs[k].site1) == 0) {
                    tally_drop(tally, slot);
                    day->is_there[slot] = false;
                }
        told_release(&told);
    }
    tally_free(tally);
    free(day);
}

static void none_one_and_two(void **state) {
    (void)state;
    struct chance chance = chance_seeded(1);
    struct day *day = day_new(&lands[0]);
    struct tally *tally = tally_of(day);
    struct told told = tell(tally);
    assert_int_equal(told.board.pairs_count + told.board.sites_count + told.board.honesty_count, 0);
    told_release(&told);
    tally_drop(tally, 5);
    for (uint32_t slot = 0; slot < 2; slot++) {
        day->noon[slot] = noon_of(&chance, day->land, slot);
        day->is_there[slot] = true;
        assert_true(tally_put(tally, slot, &day->noon[slot]));
        assert_int_equal(tally_count(tally), slot + 1);
        told = tell(tally);
        assert_as_plain(day, &told);
        told_release(&told);
    }
    tally_free(tally);
    free(day);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(none_one_and_two),
        cmocka_unit_test(it_is_what_a_look_at_every_pair_says),
        cmocka_unit_test(steps_come_to_the_same_as_all_at_once),
        cmocka_unit_test(the_next_best_come_up),
    };
    return cmocka_run_group_tests_name("tally", tests, NULL, NULL);
}
