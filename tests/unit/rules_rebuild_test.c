/* SPDX-License-Identifier: MIT */
/* rebuild: the derived tables follow from the recorded ones and from nothing
 * else: not from the way they grew, not from the order in which people came. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/derive.h"
#include "server/rules/pairs.h"
#include "server/rules/rebuild.h"
#include "server/science/angle.h"
#include "server/store/day_rows.h"
#include "server/store/reduction_rows.h"
#include "server/wire/board.h"
#include "server/wire/noons.h"
#include "tests/support/simulate.h"
#include "tests/support/store_fixture.h"

/* Two meridians, one of them at the date line, a lone site, both hemispheres. */
static const struct {
    const char *site;
    double lat_deg, lon_deg;
} sites[] = {
    {"alba", 36.5, 3.0},     {"brea", 38.9, 3.4},     {"cima", 42.2, 2.7},   {"duna", 45.0, 3.9},
    {"eria", 48.3, 2.2},     {"faro", 50.1, 3.1},     {"gama", -12.0, 29.3}, {"hoya", -18.0, 179.6},
    {"isla", -28.4, -179.7}, {"jara", -35.6, -179.9}, {"kama", 38.95, 3.3},  {"lago", 43.0, 3.0},
};
#define SITES (sizeof sites / sizeof *sites)

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

static int64_t send(struct fixture *f, size_t i, const char *day, uint64_t seed,
                    int64_t supersedes) {
    struct fixture_body body;
    const struct place place = {sites[i].lat_deg, sites[i].lon_deg, 200.0};
    char key[65];
    /* one sweep of noon: west of the date line it is still the day before */
    const char *date = sites[i].lon_deg < -170.0 ? "2027-03-20" : FIXTURE_DATE;
    fixture_body(&body, sites[i].site, day, &place, date, seed, supersedes);
    snprintf(key, sizeof key, "%s-%s-%llu", sites[i].site, day, (unsigned long long)seed);
    int64_t run = fixture_send(f, &f->organiser, &body, key, NULL);
    if (run == 0)
        fail_msg("%s: %s", sites[i].site, f->err.text);
    fixture_body_release(&body);
    return run;
}

static void withdraw(struct fixture *f, int64_t run) {
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, accept_withdraw(f->change, &f->organiser, run, "", FIXTURE_NOW_UTC_S, err)),
        0);
}

static void move_site(struct fixture *f, size_t i, double north_deg) {
    struct site_record record =
        fixture_site_record(sites[i].site, sites[i].lat_deg + north_deg, sites[i].lon_deg);
    struct site_record kept;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_revise(f->change, &f->organiser, &record,
                                                FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
}

/* In an order given by step (coprime to SITES): registers and joins, and in
 * another sends. One run is
 * corrected, one withdrawn, one site moved. */
static void fill(struct fixture *f, size_t first, size_t step) {
    int64_t runs[SITES];
    fixture_day(f, "spring", FIXTURE_DATE);
    for (size_t n = 0; n < SITES; n++) {
        size_t i = (first + n * step) % SITES;
        fixture_site(f, sites[i].site, sites[i].lat_deg, sites[i].lon_deg);
        fixture_join(f, "spring", sites[i].site);
    }
    for (size_t n = 0; n < SITES; n++) {
        size_t i = (first + n * step * 5) % SITES;
        runs[i] = send(f, i, "spring", i == 2 ? 99 : 10 + i, 0);
        if (i == 2)
            runs[i] = send(f, i, "spring", 10 + i, runs[i]);
        if (i == 11)
            withdraw(f, runs[i]);
        if (i == 5)
            move_site(f, i, 0.004);
    }
}

static void rebuild(struct fixture *f, struct rebuild_counts *counts) {
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, rebuild_all(f->change, counts, err)), 0);
}

static void rebuild_gives_the_same_bytes(void **state) {
    struct fixture *f = *state;
    struct text before, after;
    struct rebuild_counts counts;
    text_init(&before, 1u << 22);
    text_init(&after, 1u << 22);
    fill(f, 0, 1);
    fixture_day(f, "empty", "2027-06-21");
    fixture_day(f, "again", FIXTURE_DATE);
    fixture_join(f, "again", "alba");
    fixture_join(f, "again", "cima");
    send(f, 0, "again", 51, 0);
    send(f, 2, "again", 52, 0);
    fixture_dump_derived(f, &before);
    rebuild(f, &counts);
    fixture_dump_derived(f, &after);
    assert_string_equal(before.bytes, after.bytes);
    assert_int_equal(counts.runs, SITES + 3);
    assert_int_equal(counts.days, 2);
    after.length = 0;
    assert_int_equal(db_script(f->db, "DELETE FROM reduction", &f->err), 0);
    rebuild(f, &counts);
    fixture_dump_derived(f, &after);
    assert_string_equal(before.bytes, after.bytes);
    text_release(&after);
    text_release(&before);
}

/* More runs than are taken at once: sites, and the runs that count, many times over under
 * other numbers. */
#define COPIES 120
static void multiply(struct fixture *f) {
    static const char *const copies[] = {
        "INSERT INTO site (id, site, created_utc_s) SELECT id + $1 * 1000, site || '-' || $1, "
        "created_utc_s FROM site WHERE id < 1000",
        "INSERT INTO site_version SELECT site + $1 * 1000, version, name, lat_deg, lon_deg, "
        "elev_m, zone, gnomon_mm, edge, contact, recorded_utc_s, recorded_by, position_decimals "
        "FROM site_version WHERE site < 1000",
        "INSERT INTO run (id, day, site, supersedes, body, submitted_utc_s, submitted_by, "
        "idempotency_key, answer) SELECT id + $1 * 1000, day, site + $1 * 1000, NULL, "
        "body, submitted_utc_s, submitted_by, NULL, '' FROM run WHERE id < 1000 AND "
        "id IN (SELECT run FROM reduction WHERE is_current = 1)",
    };
    struct err *err = fixture_begin(f);
    int result = 0;
    for (int copy = 1; copy <= COPIES && result == 0; copy++)
        for (size_t i = 0; i < sizeof copies / sizeof *copies && result == 0; i++) {
            struct statement *statement;
            assert_int_equal(db_prepare(f->db, copies[i], &statement, err), 0);
            bind_int(statement, 1, copy);
            result = statement_run(statement, err);
        }
    assert_int_equal(fixture_end(f, result), 0);
}

/* One run after the other, as they come in. */
static void derive_one_by_one(struct fixture *f) {
    struct run_row *runs;
    size_t count;
    struct err *err = fixture_begin(f);
    assert_int_equal(run_rows_list(f->db, 0, 0, 1000000, &runs, &count, err), 0);
    for (size_t i = 0; i < count; i++) {
        struct site_row site;
        assert_int_equal(site_rows_get(f->db, runs[i].site, &site, err), FOUND_ONE);
        assert_int_equal(derive_run(f->db, f->almanac, &runs[i], &site, err), 0);
    }
    run_rows_release(runs, count);
    assert_int_equal(fixture_end(f, 0), 0);
}

static void many_runs_on_all_processors_come_to_the_same(void **state) {
    struct fixture *f = *state;
    struct text grown, rebuilt;
    struct rebuild_counts counts;
    fill(f, 0, 1);
    multiply(f);
    derive_one_by_one(f);
    text_init(&grown, 1u << 26);
    text_init(&rebuilt, 1u << 26);
    fixture_dump_derived(f, &grown);
    rebuild(f, &counts);
    assert_true(counts.runs > 1000);
    fixture_dump_derived(f, &rebuilt);
    assert_false(grown.failed || rebuilt.failed);
    assert_string_equal(rebuilt.bytes, grown.bytes);
    text_release(&rebuilt);

    /* One of them that cannot be read: it is named, and nothing is changed. */
    const int64_t broken = (COPIES / 2) * 1000 + 1;
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM run WHERE id = 60001"), 1);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, db_script(f->db, "UPDATE run SET body = '{' WHERE id = 60001", err)), 0);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, rebuild_all(f->change, &counts, err)), -1);
    char named[32];
    snprintf(named, sizeof named, "run %lld ", (long long)broken);
    assert_non_null(strstr(f->err.text, named));
    text_init(&rebuilt, 1u << 26);
    fixture_dump_derived(f, &rebuilt);
    assert_string_equal(rebuilt.bytes, grown.bytes);
    text_release(&rebuilt);
    text_release(&grown);
}

static void pairs_reach_across_the_date_line(void **state) {
    struct fixture *f = *state;
    struct pair_page page;
    fill(f, 0, 1);
    assert_int_equal(fixture_pairs_of_site(f, "spring", "hoya", 10, &page), 0);
    assert_int_equal(page.count, 2);
    for (size_t i = 0; i < page.count; i++) {
        assert_string_equal(page.items[i].site1, "hoya");
        assert_int_equal(page.items[i].pair.status, PAIR_OK);
    }
    assert_string_equal(page.items[0].site2, "jara"); /* farther, so more certain */
    pair_page_release(&page);
    assert_int_equal(fixture_pairs_of_site(f, "spring", "gama", 10, &page), 0);
    assert_int_equal(page.count, 0);
    pair_page_release(&page);
}

static void check_finds_what_does_not_follow(void **state) {
    struct fixture *f = *state;
    static const struct {
        const char *sql;
        size_t differences;
    } rows[] = {
        {"UPDATE reduction SET sigma_deg = sigma_deg + 1e-12 WHERE run = 2", 2},
        {"DELETE FROM reduction WHERE run = 3", 1},
        {"UPDATE reduction SET estimator = 'free' WHERE run = 1", 2},
    };
    struct rebuild_counts counts;
    size_t differences = 99;
    fill(f, 0, 1);
    assert_int_equal(rebuild_check(f->change, &counts, &differences, &f->err), 0);
    assert_int_equal(differences, 0);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct text before, after;
        text_init(&before, 1u << 22);
        text_init(&after, 1u << 22);
        assert_int_equal(db_script(f->db, rows[i].sql, &f->err), 0);
        fixture_dump_derived(f, &before);
        assert_int_equal(rebuild_check(f->change, &counts, &differences, &f->err), 0);
        assert_int_equal(differences, rows[i].differences);
        fixture_dump_derived(f, &after);
        assert_string_equal(before.bytes, after.bytes); /* it only looked */
        text_release(&after);
        text_release(&before);
        rebuild(f, &counts);
    }
}

/* The list walks a ring of longitudes; noons_pair_up sweeps along the transits. */
static void pairs_agree_with_another_way_to_find_them(void **state) {
    struct fixture *f = *state;
    struct chance chance = chance_seeded(5);
    struct day_noon *rows;
    struct noon_result *noons;
    struct noons_pairs swept;
    struct day_row day;
    struct pair_page page;
    size_t count;
    fixture_day(f, "spring", FIXTURE_DATE);
    for (int i = 0; i < 60; i++) {
        char site[ID_MAX + 1], key[65];
        struct fixture_body body;
        struct place place = {20.0 + 30.0 * chance_even(&chance), 0.0, 200.0};
        place.lon_deg = i % 3 == 0 ? 2.0 + 3.0 * chance_even(&chance)
                                   : angle_wrap(178.5 + 3.0 * chance_even(&chance));
        if (i % 10 == 9)
            place.lon_deg = 180.0;
        snprintf(site, sizeof site, "s%02d", i * 7 % 60);
        snprintf(key, sizeof key, "key-of-%s", site);
        fixture_site(f, site, place.lat_deg, place.lon_deg);
        fixture_join(f, "spring", site);
        fixture_body(&body, site, "spring", &place,
                     place.lon_deg < -170.0 ? "2027-03-20" : FIXTURE_DATE, (uint64_t)i + 1, 0);
        assert_true(fixture_send(f, &f->organiser, &body, key, NULL) > 0);
        fixture_body_release(&body);
    }
    assert_int_equal(day_rows_find(f->db, "spring", &day, &f->err), FOUND_ONE);
    assert_int_equal(reduction_rows_of_day(f->db, day.id, &rows, &count, &f->err), 0);
    assert_int_equal(count, 60);
    noons = calloc(count, sizeof *noons);
    assert_non_null(noons);
    for (size_t i = 0; i < count; i++) {
        noons[i] = rows[i].noon;
        noons[i].key = (int64_t)i;
    }
    struct pair_rules rules = day_noons_rules(&day.record);
    assert_int_equal(noons_pair_up(noons, count, &rules, SIZE_MAX, &swept, &f->err), 0);
    assert_int_equal(fixture_pairs(f, "spring", "", LIST_LIMIT_ALL, &page), 0);
    assert_true(page.count > 100);
    assert_int_equal(page.count, swept.pairs);
    for (size_t i = 0; i < page.count; i++) {
        assert_string_equal(page.items[i].site1, rows[swept.pair[i].key1].site);
        assert_string_equal(page.items[i].site2, rows[swept.pair[i].key2].site);
        assert_int_equal(page.items[i].pair.status, swept.pair[i].pair.status);
        assert_true(page.items[i].pair.angle_deg == swept.pair[i].pair.angle_deg);
    }
    /* and each site's own list, found along the index of the store */
    size_t sum = 0;
    for (size_t i = 0; i < count; i++) {
        struct pair_page own;
        assert_int_equal(fixture_pairs_of_site(f, "spring", rows[i].site, LIST_LIMIT_ALL, &own), 0);
        sum += own.count;
        pair_page_release(&own);
    }
    assert_int_equal(sum, 2 * page.count);
    pair_page_release(&page);
    noons_pairs_release(&swept);
    free(noons);
    free(rows);
}

/* What the world sees of a day, reals in full. */
static void dump_public(struct fixture *f, struct text *out) {
    struct pair_page pairs;
    struct board board;
    struct left_out_counts left_out;
    char *result;
    assert_int_equal(fixture_result(f, "spring", &result), 0);
    text_put(out, result);
    free(result);
    assert_int_equal(fixture_pairs(f, "spring", "", LIST_LIMIT_ALL, &pairs), 0);
    for (size_t i = 0; i < pairs.count; i++) {
        const struct pair *pair = &pairs.items[i].pair;
        text_format(out, "\n%s %s %d %a %a %a %a %a %a %a", pairs.items[i].site1,
                    pairs.items[i].site2, pair->status, pair->separation_km, pair->angle_deg,
                    pair->angle_sigma_deg, pair->circumference_km, pair->sigma_km, pair->low_km,
                    pair->high_km);
    }
    pair_page_release(&pairs);
    assert_int_equal(fixture_board(f, "spring", 100, &board, &left_out), 0);
    for (size_t i = 0; i < board.sites_count; i++)
        text_format(out, "\n%d %s %a %a %d", board.sites[i].place, board.sites[i].site,
                    board.sites[i].circumference_km, board.sites[i].sigma_km,
                    board.sites[i].partners);
    for (size_t i = 0; i < board.honesty_count; i++)
        text_format(out, "\n%d %s %a", board.honesty[i].place, board.honesty[i].site,
                    board.honesty[i].score);
    for (size_t i = 0; i < board.pairs_count; i++)
        text_format(out, "\n%d %s %s", board.pairs[i].place, board.pairs[i].site1,
                    board.pairs[i].site2);
    board_release(&board);
    assert_false(out->failed);
}

static void order_of_arrival_does_not_show(void **state) {
    struct fixture *f = *state;
    static const size_t orders[][2] = {{7, 5}, {11, 11}, {3, 7}};
    struct text first, other;
    text_init(&first, 1u << 22);
    text_init(&other, 1u << 22);
    fill(f, 0, 1);
    dump_public(f, &first);
    assert_true(first.length > 2000);
    for (size_t i = 0; i < sizeof orders / sizeof *orders; i++) {
        static struct fixture another;
        fixture_open(&another);
        fill(&another, orders[i][0], orders[i][1]);
        other.length = 0;
        dump_public(&another, &other);
        assert_string_equal(first.bytes, other.bytes);
        fixture_close(&another);
    }
    text_release(&other);
    text_release(&first);
}

int main(void) {
#define REBUILD_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        REBUILD_TEST(rebuild_gives_the_same_bytes),
        REBUILD_TEST(many_runs_on_all_processors_come_to_the_same),
        REBUILD_TEST(pairs_reach_across_the_date_line),
        REBUILD_TEST(pairs_agree_with_another_way_to_find_them),
        REBUILD_TEST(check_finds_what_does_not_follow),
        REBUILD_TEST(order_of_arrival_does_not_show),
    };
    return cmocka_run_group_tests_name("rules_rebuild", tests, NULL, NULL);
}
