/* SPDX-License-Identifier: MIT */
/* analysis and noons: which noons are paired and combined, and that the order of
 * the rows, the date line and strangers in the spreadsheet change nothing they
 * should not. Readings come from the true Sun (simulate.h); that the answers are
 * right is for the tests of reduce, pair and combine. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/wire/analysis.h"
#include "server/wire/noons.h"
#include "tests/support/simulate.h"

#define SITES_MAX 200

/* A programme as two lists of spreadsheet rows, which a test may shuffle. */
struct sheets {
    char site_row[SITES_MAX][128];
    size_t sites;
    char reading_row[SITES_MAX * 20][96];
    size_t readings;
};

static struct sheets sheets;

static void begin(void) {
    sheets = (struct sheets){0};
}

static void add_site(const char *site, double lat_deg, double lon_deg) {
    assert_true(sheets.sites < SITES_MAX);
    snprintf(sheets.site_row[sheets.sites++], sizeof sheets.site_row[0],
             "%s,%.6f,%.6f,100,2000,umbra\n", site, lat_deg, lon_deg);
}

static void add_reading(const char *site, double t_utc_s, double shadow_mm) {
    char utc[INSTANT_TEXT];
    instant_format(t_utc_s, 0, utc, sizeof utc);
    snprintf(sheets.reading_row[sheets.readings++], sizeof sheets.reading_row[0], "%s,%s,%.1f\n",
             site, utc, shadow_mm);
}

/* Eleven careful readings about the noon of a date by the site's meridian. */
static void measure(const char *site, double lat_deg, double lon_deg, const char *date) {
    static uint64_t seed;
    static const struct session session = {.readings = 11, .start_s = -1500.0, .step_s = 300.0};
    struct place place = {lat_deg, lon_deg, 100.0};
    struct chance chance = chance_seeded(++seed);
    struct run run = simulate_run_of(2.0, EDGE_UMBRA);
    struct sun_day day;
    assert_true(sun_day_build(near_date(date), &day));
    simulate_readings(&chance, &place, &day, &simulate_careful, &session, &run);
    for (int i = 0; i < run.readings; i++)
        add_reading(site, run.reading[i].t_utc_s, run.reading[i].shadow_m * 1000.0);
}

static void add(const char *site, double lat_deg, double lon_deg, const char *date) {
    add_site(site, lat_deg, lon_deg);
    measure(site, lat_deg, lon_deg, date);
}

static void shuffle(void *rows, size_t count, size_t size, struct chance *chance) {
    char *row = rows, kept[128];
    assert_true(size <= sizeof kept);
    for (size_t i = count; i > 1; i--) {
        size_t j = (size_t)(chance_even(chance) * (double)i);
        memcpy(kept, row + (i - 1) * size, size);
        memcpy(row + (i - 1) * size, row + j * size, size);
        memcpy(row + j * size, kept, size);
    }
}

static void shuffle_noons(struct noon_result *noons, size_t count, struct chance *chance) {
    shuffle(noons, count, sizeof *noons, chance);
}

static void shuffle_rows(uint64_t seed) {
    struct chance chance = chance_seeded(seed);
    shuffle(sheets.site_row, sheets.sites, sizeof sheets.site_row[0], &chance);
    shuffle(sheets.reading_row, sheets.readings, sizeof sheets.reading_row[0], &chance);
}

static int analyse(struct analysis *out, struct err *err) {
    struct text sites_csv, readings_csv;
    struct site_record *sites;
    struct sheet_readings readings;
    size_t count;
    *err = (struct err){0};
    text_init(&sites_csv, 1 << 20);
    text_init(&readings_csv, 1 << 20);
    text_put(&sites_csv, "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\n");
    for (size_t i = 0; i < sheets.sites; i++)
        text_put(&sites_csv, sheets.site_row[i]);
    text_put(&readings_csv, "site,utc,shadow_mm\n");
    for (size_t i = 0; i < sheets.readings; i++)
        text_put(&readings_csv, sheets.reading_row[i]);
    assert_int_equal(sheet_read_sites(sites_csv.bytes, sites_csv.length, &sites, &count, err), 0);
    assert_int_equal(sheet_read_readings(readings_csv.bytes, readings_csv.length, &readings, err),
                     0);
    int outcome = analysis_make(sites, count, &readings, &analysis_default_rules, out, err);
    free(sites);
    sheet_readings_release(&readings);
    text_release(&sites_csv);
    text_release(&readings_csv);
    return outcome;
}

static struct analysis analysis_of_sheets(void) {
    struct analysis analysis;
    struct err err;
    if (analyse(&analysis, &err) != 0)
        fail_msg("%s", err.text);
    return analysis;
}

/* Three bands of longitude, one across the date line, and a lone site. */
static void add_programme(void) {
    add("acacia", 14.5, 3.1, "2027-03-20");
    add("baobab", 22.75, 3.3, "2027-03-20");
    add("cedar", 36.5, 3.2, "2027-03-20");
    add("dune", 22.0, 40.0, "2027-03-20");
    add("east", -17.0, 179.8, "2027-03-21");
    add("fern", -41.0, -179.9, "2027-03-20"); /* the same noon under another date */
    add("gum", 50.0, 3.9, "2027-03-20");
    add("hazel", 50.1, 3.9, "2027-03-20");
}

static bool has_pair(const struct pair_record *pairs, size_t count, const char *site1,
                     const char *site2) {
    for (size_t i = 0; i < count; i++)
        if (strcmp(pairs[i].site1, site1) == 0 && strcmp(pairs[i].site2, site2) == 0)
            return true;
    return false;
}

static void test_pairs_of_a_programme(void **state) {
    (void)state;
    begin();
    add_programme();
    struct analysis analysis = analysis_of_sheets();
    assert_int_equal(analysis.rows, 8);
    assert_true(analysis.pairs_complete);
    static const char *const expected[][2] = {
        {"acacia", "baobab"}, {"acacia", "cedar"}, {"acacia", "gum"},   {"acacia", "hazel"},
        {"baobab", "cedar"},  {"baobab", "gum"},   {"baobab", "hazel"}, {"cedar", "gum"},
        {"cedar", "hazel"},   {"east", "fern"},
    };
    assert_int_equal(analysis.pairs, COUNT_OF(expected));
    for (size_t i = 0; i < COUNT_OF(expected); i++) {
        assert_string_equal(analysis.pair[i].site1, expected[i][0]);
        assert_string_equal(analysis.pair[i].site2, expected[i][1]);
    }
    assert_int_equal(analysis.refusals, 1);
    assert_true(has_pair(analysis.refused, 1, "gum", "hazel"));
    assert_int_equal(analysis.refused[0].pair.status, PAIR_TOO_CLOSE);
    assert_int_equal(analysis.combined.status, COMBINE_OK);
    assert_int_equal(analysis.combined.sites + (int)analysis.off_lines, 8);
    check_near("circumference", analysis.combined.circumference_km, analysis.combined.local_km,
               4.0 * analysis.combined.sigma_km, "km");
    analysis_release(&analysis);
}

static void test_order_of_rows_changes_nothing(void **state) {
    (void)state;
    struct text first, again;
    text_init(&first, 1 << 20);
    text_init(&again, 1 << 20);
    begin();
    add_programme();
    measure("baobab", 22.75, 3.3, "2027-03-22"); /* a spare day */
    measure("acacia", 14.5, 3.1, "2027-03-22");
    add_site("silent", 33.0, 3.0);
    add_site("brief", 34.0, 3.0); /* too few, and two readings of one instant */
    add_reading("brief", near_utc_s("2027-03-20T11:50:00Z"), 1200.0);
    add_reading("brief", near_utc_s("2027-03-20T11:50:00Z"), 1300.0);
    char *comma = strrchr(sheets.reading_row[4], ',');
    snprintf(comma, 16, ",%.1f\n", 10.0 * strtod(comma + 1, NULL)); /* one that is left out */
    struct analysis analysis = analysis_of_sheets();
    assert_int_equal(analysis.rows, 12);
    assert_true(analysis.left_outs > 0);
    analysis_write(&analysis, &first);
    assert_false(first.failed);
    analysis_release(&analysis);
    for (uint64_t seed = 1; seed <= 10; seed++) {
        shuffle_rows(seed);
        analysis = analysis_of_sheets();
        analysis_write(&analysis, &again);
        assert_string_equal(again.bytes, first.bytes);
        analysis_release(&analysis);
        text_release(&again);
    }
    text_release(&first);
}

/* Where the map is cut must not matter: the same programme turned round the globe,
 * with exact readings, gives the same pairs wherever it comes to lie. */
static void test_turned_round_the_globe(void **state) {
    (void)state;
    for (double turn_deg = -180.0; turn_deg < 180.0; turn_deg += 12.0) {
        static const double lats_deg[] = {10.0, 20.0, 30.0, 45.0};
        begin();
        for (size_t i = 0; i < 4; i++) {
            char site[8];
            snprintf(site, sizeof site, "s%zu", i);
            add(site, lats_deg[i], angle_wrap(turn_deg + 0.3 * (double)i - 0.5), "2027-03-21");
        }
        /* measured by the sites' own dates, which differ where the date line lies between */
        struct analysis analysis = analysis_of_sheets();
        bool torn = turn_deg == -180.0;
        assert_int_equal(analysis.pairs, torn ? 2 : 6);
        analysis_release(&analysis);
    }
}

static void test_noons_of_several_days(void **state) {
    (void)state;
    begin();
    add("a", 10.0, 20.0, "2027-03-20");
    measure("a", 10.0, 20.0, "2027-03-21");
    add("b", 30.0, 20.0, "2027-03-21");
    measure("b", 30.0, 20.0, "2027-03-23");
    shuffle_rows(3);
    struct analysis analysis = analysis_of_sheets();
    assert_int_equal(analysis.rows, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_string_equal(analysis.row[i].site, i < 2 ? "a" : "b");
        assert_int_equal(analysis.row[i].readings, 11);
        assert_int_equal(analysis.row[i].status, REDUCE_OK);
    }
    assert_true(analysis.row[0].transit_utc_s < analysis.row[1].transit_utc_s);
    assert_int_equal(analysis.pairs, 1); /* the one noon they share */
    assert_int_equal(analysis.combined.groups, 1);
    analysis_release(&analysis);
}

static void test_what_was_left_out_is_told(void **state) {
    (void)state;
    begin();
    add("a", 10.0, 20.0, "2027-03-20");
    double shadow_mm = 0.0;
    char *comma = strrchr(sheets.reading_row[4], ',');
    assert_int_equal(sscanf(comma, ",%lf", &shadow_mm), 1);
    snprintf(comma, 16, ",%.1f\n", shadow_mm * 10.0);
    add("b", 30.0, 20.0, "2027-03-20");
    comma = strrchr(sheets.reading_row[13], ',');
    assert_int_equal(sscanf(comma, ",%lf", &shadow_mm), 1);
    snprintf(comma, 16, ",%.1f\n", shadow_mm + 300.0);
    struct analysis analysis = analysis_of_sheets();
    assert_int_equal(analysis.left_outs, 2);
    assert_int_equal(analysis.row[0].left_outs, 1);
    assert_int_equal(analysis.row[0].left_out[0].reading, 4);
    assert_int_equal(analysis.row[0].left_out[0].slip, SLIP_TENFOLD);
    assert_int_equal(analysis.row[1].left_out[0].reading, 2);
    assert_true(analysis.row[1].left_out[0].shadow_m == (shadow_mm + 300.0) / 1000.0);
    assert_int_equal(analysis.row[0].used, 10);
    analysis_release(&analysis);
}

static double sheet_shadow_mm(size_t reading) {
    return strtod(strrchr(sheets.reading_row[reading], ',') + 1, NULL);
}

/* Left-out readings of many rows, gathered while their array grows: each row's are
 * its own. Two slips and one in turn (and a few the dice add), so that a row's begin
 * within one size of the array and end within the next. */
static void test_left_outs_of_many_rows(void **state) {
    (void)state;
    enum { ROWS = 180, READINGS = 11 };
    begin();
    for (size_t i = 0; i < ROWS; i++) {
        char site[8];
        snprintf(site, sizeof site, "s%03zu", i);
        add(site, 10.0 + (double)i / 5.0, 20.0, "2027-03-20");
        assert_int_equal(sheets.readings, READINGS * (i + 1));
        for (size_t slip = 0; slip < 2 - i % 2; slip++) {
            size_t reading = READINGS * i + 3 + 4 * slip;
            double wrong_mm = 10.0 * sheet_shadow_mm(reading);
            snprintf(strrchr(sheets.reading_row[reading], ','), 16, ",%.1f\n", wrong_mm);
        }
    }
    struct analysis analysis = analysis_of_sheets();
    assert_int_equal(analysis.rows, ROWS);
    size_t told = 0;
    for (size_t i = 0; i < ROWS; i++) {
        const struct reduction_record *row = &analysis.row[i];
        int slips = 0;
        for (int k = 0; k < row->left_outs; k++) {
            const struct left_out_record *left_out = &row->left_out[k];
            double shadow_mm = sheet_shadow_mm(READINGS * i + (size_t)left_out->reading);
            assert_true(record_mm(left_out->shadow_m) == shadow_mm);
            slips += left_out->reading == 3 || (i % 2 == 0 && left_out->reading == 7);
        }
        assert_int_equal(slips, 2 - i % 2);
        told += (size_t)row->left_outs;
    }
    assert_int_equal(analysis.left_outs, told);
    analysis_release(&analysis);
}

static void test_rows_that_say_nothing(void **state) {
    (void)state;
    begin();
    struct analysis analysis = analysis_of_sheets(); /* nothing at all */
    assert_int_equal(analysis.rows + analysis.pairs + analysis.refusals, 0);
    assert_int_equal(analysis.combined.status, COMBINE_TOO_FEW);
    struct text text;
    text_init(&text, 65536);
    analysis_write(&analysis, &text);
    assert_non_null(strstr(text.bytes, "\"sites\":[],\"pairs\":[]"));
    text_release(&text);
    analysis_release(&analysis);

    add("a", 10.0, 20.0, "2027-03-20");
    add_site("b", 30.0, 20.0);
    add_site("c", 40.0, 20.0);
    add_reading("c", near_utc_s("2027-03-20T10:40:00Z"), 2000.0);
    add_site("d", 80.0, 20.0); /* the polar night */
    for (int i = 0; i < 5; i++)
        add_reading("d", near_utc_s("2027-12-21T10:40:00Z") + i * 60.0, 2000.0);
    size_t first = sheets.readings;
    add("e", 30.0, 20.0, "2027-03-20"); /* every shadow in the wrong unit */
    for (size_t i = first; i < sheets.readings; i++) {
        char *comma = strrchr(sheets.reading_row[i], ',');
        snprintf(comma, 16, ",%.1f\n", 10.0 * strtod(comma + 1, NULL));
    }
    analysis = analysis_of_sheets();
    assert_int_equal(analysis.rows, 5);
    assert_int_equal(analysis.row[4].status, REDUCE_IMPLAUSIBLE);
    assert_int_equal(analysis.row[0].status, REDUCE_OK);
    assert_int_equal(analysis.row[1].readings, 0);
    assert_true(isnan(analysis.row[1].noon_angle_deg));
    assert_int_equal(analysis.row[2].status, REDUCE_TOO_FEW);
    assert_int_equal(analysis.row[3].status, REDUCE_NOON_UNUSABLE);
    assert_int_equal(analysis.pairs + analysis.refusals, 0);
    assert_true(analysis.pairs_complete);
    analysis.pairs_complete = false;
    analysis_write(&analysis, &text);
    assert_non_null(strstr(text.bytes, "no_readings"));
    assert_non_null(strstr(text.bytes, "\"pairs_complete\":false"));
    text_release(&text);
    analysis_release(&analysis);
}

static void check_error(enum err_code code, const char *field) {
    struct analysis analysis;
    struct err err;
    assert_int_equal(analyse(&analysis, &err), -1);
    assert_int_equal(err.code, code);
    assert_string_equal(err.field, field);
}

static void test_errors_name_the_row(void **state) {
    (void)state;
    const double noon_utc_s = near_utc_s("2027-03-20T10:40:00Z");
    begin();
    add("b", 10.0, 20.0, "2027-03-20");
    add_reading("zebra", noon_utc_s, 500.0); /* row 13: first in the sheet, not by name */
    add_reading("aloe", noon_utc_s, 500.0);
    check_error(ERR_NOT_FOUND, "row 13, site");

    begin();
    add_site("b", 10.0, 20.0);
    add_reading("b", near_utc_s("1971-06-01T10:40:00Z"), 500.0);
    check_error(ERR_OUT_OF_RANGE, "row 2, utc");

    begin();
    add_site("b", 10.0, 170.0); /* the next year by its meridian */
    add_reading("b", near_utc_s("2100-12-31T23:50:00Z"), 500.0);
    check_error(ERR_OUT_OF_RANGE, "row 2, utc");

    begin();
    snprintf(sheets.site_row[sheets.sites++], sizeof sheets.site_row[0], "b,10,20,0,,\n");
    struct analysis analysis = analysis_of_sheets(); /* no gnomon, and none needed */
    assert_int_equal(analysis.rows, 1);
    analysis_release(&analysis);
    add_reading("b", noon_utc_s, 500.0);
    check_error(ERR_MISSING_FIELD, "row 2, site");

    begin();
    add_site("b", 10.0, 20.0);
    for (int i = 0; i <= RUN_READINGS_MAX; i++)
        add_reading("b", noon_utc_s + i, 500.0);
    check_error(ERR_OUT_OF_RANGE, "row 2, site");
}

static struct noon_result exact_noon(int64_t key, double lat_deg, double lon_deg,
                                     const struct sun_day *day) {
    struct noon_result noon = {
        .key = key,
        .lat_deg = lat_deg,
        .lon_deg = lon_deg,
        .meridian_m = meridian_distance_m(lat_deg),
        .transit_utc_s = sun_transit_utc_s(day, lon_deg),
        .sigma_deg = 0.01,
    };
    struct sun_place sun;
    sun_at(day, noon.transit_utc_s, &sun);
    noon.declination_deg = sun.declination_deg;
    noon.noon_angle_deg = lat_deg - sun.declination_deg;
    return noon;
}

static bool same_double(double a, double b) {
    return a == b || (isnan(a) && isnan(b));
}

static void assert_same_pair(const struct pair *a, const struct pair *b) {
    assert_int_equal(a->status, b->status);
    assert_true(same_double(a->separation_km, b->separation_km));
    assert_true(same_double(a->angle_deg, b->angle_deg));
    assert_true(same_double(a->angle_sigma_deg, b->angle_sigma_deg));
    assert_true(same_double(a->circumference_km, b->circumference_km));
    assert_true(same_double(a->sigma_km, b->sigma_km));
    assert_true(same_double(a->low_km, b->low_km));
    assert_true(same_double(a->high_km, b->high_km));
}

/* The sweep against all with all: when the equation of time stands (November) and when
 * it runs fastest, 30 s a day (December), on whole degrees, which differ by exactly the
 * tolerance, and on both names of the date line. */
static void test_sweep_finds_every_pair(void **state) {
    (void)state;
    enum { NOONS = 600 };
    static struct noon_result noons[NOONS];
    static const struct {
        const char *date;
        double tolerance_deg;
    } rows[] = {
        {"2027-11-02", 0.0},  {"2027-11-02", 0.01}, {"2027-11-02", 1.0},   {"2027-11-02", 15.0},
        {"2027-12-22", 15.0}, {"2027-12-22", 90.0}, {"2027-12-22", 180.0}, {"2027-09-16", 90.0},
    };
    struct chance chance = chance_seeded(5);
    for (size_t t = 0; t < COUNT_OF(rows); t++) {
        struct sun_day days[2];
        for (int i = 0; i < 2; i++)
            assert_true(sun_day_build(near_date(rows[t].date) + i, &days[i]));
        for (int i = 0; i < NOONS; i++)
            noons[i] = exact_noon(i, 120.0 * chance_even(&chance) - 60.0,
                                  round(360.0 * chance_even(&chance) - 180.0),
                                  &days[chance_even(&chance) < 0.5]);
        noons[0] = exact_noon(0, 10.0, 180.0, &days[1]);
        noons[1] = exact_noon(1, 30.0, -180.0, &days[0]);
        struct pair_rules rules = analysis_default_rules;
        rules.lon_tolerance_deg = rows[t].tolerance_deg;
        struct noons_pairs found;
        struct err err = {0};
        assert_int_equal(noons_pair_up(noons, NOONS, &rules, NOONS * NOONS, &found, &err), 0);
        assert_true(found.complete);
        size_t next = 0;
        for (int i = 0; i < NOONS; i++)
            for (int j = i + 1; j < NOONS; j++) {
                struct pair pair;
                pair_make(&noons[i], &noons[j], &rules, NAN, NAN, &pair);
                if (pair.status == PAIR_OFF_MERIDIAN || pair.status == PAIR_OTHER_NOON)
                    continue;
                assert_true(next < found.pairs);
                assert_int_equal(found.pair[next].key1, i);
                assert_int_equal(found.pair[next].key2, j);
                assert_same_pair(&found.pair[next].pair, &pair);
                next++;
            }
        assert_int_equal(next, found.pairs);
        assert_true(next > 0);
        noons_pairs_release(&found);
    }
}

/* Everyone is everyone's neighbour: the list ends at its maximum, in no time. */
static void test_a_crowd_is_cut_short(void **state) {
    (void)state;
    enum { NOONS = 100000, MOST = 1000 };
    struct noon_result *noons = calloc(NOONS, sizeof *noons);
    struct sun_day day;
    assert_non_null(noons);
    assert_true(sun_day_build(near_date("2027-03-20"), &day));
    struct noon_result one = exact_noon(0, 10.0, 20.0, &day);
    for (int i = 0; i < NOONS; i++) {
        noons[i] = one;
        noons[i].key = i;
        noons[i].lat_deg = 10.0 + i * 1e-5;
        noons[i].meridian_m = one.meridian_m + i;
    }
    struct noons_pairs found;
    struct err err = {0};
    assert_int_equal(noons_pair_up(noons, NOONS, &analysis_default_rules, MOST, &found, &err), 0);
    assert_false(found.complete);
    assert_int_equal(found.pairs, MOST);
    noons_pairs_release(&found);
    assert_int_equal(noons_pair_up(noons, 2, &analysis_default_rules, 1, &found, &err), 0);
    assert_true(found.complete); /* exactly the maximum is all of them */
    noons_pairs_release(&found);
    assert_int_equal(noons_pair_up(noons, 0, &analysis_default_rules, 1, &found, &err), 0);
    assert_int_equal(found.pairs, 0);
    noons_pairs_release(&found);
    free(noons);
}

/* What is listed when not all can be must not depend on the order of the noons. */
static void test_a_cut_list_is_the_same_in_any_order(void **state) {
    (void)state;
    enum { NOONS = 60, MOST = 100 };
    struct noon_result noons[NOONS];
    struct sun_day day;
    struct noons_pairs first = {0};
    struct chance chance = chance_seeded(9);
    struct err err = {0};
    assert_true(sun_day_build(near_date("2027-03-20"), &day));
    for (int i = 0; i < NOONS; i++) /* ten a meridian: equal instants of transit */
        noons[i] = exact_noon(i, 60.0 * chance_even(&chance), 20.0 + 0.1 * (i % 6), &day);
    for (int round = 0; round < 20; round++) {
        struct noons_pairs found;
        assert_int_equal(noons_pair_up(noons, NOONS, &analysis_default_rules, MOST, &found, &err),
                         0);
        assert_false(found.complete);
        assert_int_equal(found.pairs, MOST);
        if (round == 0) {
            first = found;
        } else {
            for (size_t i = 0; i < MOST; i++) {
                assert_int_equal(found.pair[i].key1, first.pair[i].key1);
                assert_int_equal(found.pair[i].key2, first.pair[i].key2);
                assert_same_pair(&found.pair[i].pair, &first.pair[i].pair);
            }
            noons_pairs_release(&found);
        }
        shuffle_noons(noons, NOONS, &chance);
    }
    noons_pairs_release(&first);
}

/* The combination of noons in any order, to the last bit. */
static void test_a_combination_is_the_same_in_any_order(void **state) {
    (void)state;
    enum { NOONS = 40 };
    struct noon_result noons[NOONS];
    struct combine_point first[NOONS], points[NOONS];
    double scratch[NOONS * COMBINE_SCRATCH];
    struct combined once, again;
    struct chance chance = chance_seeded(10);
    struct err err = {0};
    struct sun_day days[2];
    for (int i = 0; i < 2; i++)
        assert_true(sun_day_build(near_date("2027-03-20") + i, &days[i]));
    for (int i = 0; i < NOONS; i++) {
        double lat_deg = 120.0 * chance_even(&chance) - 60.0;
        noons[i] = exact_noon(i, lat_deg, angle_wrap(170.0 + 0.5 * i), &days[i % 2]);
        noons[i].noon_angle_deg += 0.05 * chance_normal(&chance);
        noons[i].sigma_deg = 0.02 + 0.1 * chance_even(&chance);
    }
    assert_int_equal(noons_combine(noons, NOONS, NULL, scratch, first, &once, &err), 0);
    assert_int_equal(once.status, COMBINE_OK);
    for (int round = 0; round < 20; round++) {
        shuffle_noons(noons, NOONS, &chance);
        assert_int_equal(noons_combine(noons, NOONS, NULL, scratch, points, &again, &err), 0);
        assert_true(same_double(again.circumference_km, once.circumference_km));
        assert_true(same_double(again.sigma_km, once.sigma_km));
        assert_true(same_double(again.chi2, once.chi2));
        assert_true(same_double(again.median_km, once.median_km));
        assert_true(same_double(again.median_low_km, once.median_low_km));
        for (int i = 0; i < NOONS; i++) {
            assert_int_equal(points[i].key, first[i].key);
            assert_true(same_double(points[i].noon_angle_deg, first[i].noon_angle_deg));
            assert_true(same_double(points[i].residual_deg, first[i].residual_deg));
            assert_true(same_double(points[i].influence_km, first[i].influence_km));
        }
    }
}

/* Perfect angles of one noon swept over 60 degrees of longitude, during which the
 * declination moves by 4': moved to one declination they lie on one line. */
static void test_combination_moves_the_declination(void **state) {
    (void)state;
    enum { NOONS = 12 };
    struct noon_result noons[NOONS];
    struct combine_point points[NOONS];
    double scratch[NOONS * COMBINE_SCRATCH];
    struct combined combined;
    struct err err = {0};
    struct sun_day days[2];
    for (int i = 0; i < 2; i++)
        assert_true(sun_day_build(near_date("2027-03-20") + i, &days[i]));
    for (int i = 0; i < NOONS; i++) {
        double lon_deg = angle_wrap(150.0 + 5.0 * i); /* one noon, two dates */
        noons[i] = exact_noon(i, 10.0 + 2.0 * (i * 5 % NOONS), lon_deg, &days[lon_deg > 0.0]);
    }
    assert_int_equal(noons_combine(noons, NOONS, NULL, scratch, points, &combined, &err), 0);
    assert_int_equal(combined.status, COMBINE_OK);
    assert_int_equal(combined.groups, 1);
    assert_int_equal(combined.sites, NOONS);
    check_near("circumference", combined.circumference_km, combined.local_km, 0.5, "km");
    /* 2 pi M of WGS 84 at 15 and at 30 degrees (GeodSolve 2.1.2): the middle lies between */
    assert_true(combined.circumference_km > 39833.531 && combined.circumference_km < 39906.879);
    assert_true(combined.chi2 < 2.0); /* the meridian is no circle: 0.003 degrees */
    for (int i = 0; i < NOONS; i++)
        assert_int_equal(points[i].key, i);
}

/* Three noons of the same two sites are two sites, and what gnomon, plumb line and eye
 * get wrong they get wrong three times: sigma stays near that of one noon, and above
 * the systematic part that no number of noons can take away. */
static void test_noons_of_one_site_repeat_its_errors(void **state) {
    (void)state;
    enum { DAYS = 3 };
    struct noon_result noons[2 * DAYS];
    struct combine_point points[2 * DAYS];
    double scratch[2 * DAYS * COMBINE_SCRATCH];
    struct combined one, three;
    struct err err = {0};
    for (int day = 0; day < DAYS; day++) {
        struct sun_day sun;
        assert_true(sun_day_build(near_date("2027-03-20") + day, &sun));
        for (int site = 0; site < 2; site++) {
            struct noon_result *noon = &noons[2 * day + site];
            *noon = exact_noon(2 * day + site, 40.0 + 4.0 * site, 3.0, &sun);
            noon->site = site + 1;
            noon->sigma_deg = 0.05;
            noon->systematic_sigma_deg = 0.04;
        }
    }
    assert_int_equal(noons_combine(noons, 2, NULL, scratch, points, &one, &err), 0);
    assert_int_equal(noons_combine(noons, 2 * DAYS, NULL, scratch, points, &three, &err), 0);
    assert_int_equal(three.sites, 2);
    assert_int_equal(three.groups, DAYS);
    /* sigma^2 of a site: 0.04^2 + (0.05^2 - 0.04^2) / 3 against 0.05^2 */
    double expected = sqrt((0.0016 + 0.0009 / 3.0) / 0.0025);
    check_near("sigma of three noons over that of one",
               three.internal_sigma_km / one.internal_sigma_km, expected, 1e-3, "");
}

/* The most moving first, as a sort of all would have them; ties by key; points that
 * move nothing (left out, alone) are passed over. */
static void test_influential_points(void **state) {
    (void)state;
    enum { POINTS = 40, MOST = 7 };
    struct chance chance = chance_seeded(12);
    struct combine_point points[POINTS];
    for (size_t i = 0; i < POINTS; i++)
        points[i] = (struct combine_point){
            .key = (int64_t)i,
            .influence_km = i % 9 == 0 ? (double)NAN : round(6.0 * chance_normal(&chance))};
    size_t out[MOST];
    assert_int_equal(noons_influential(points, POINTS, MOST, out), MOST);
    for (size_t k = 0; k < MOST; k++) {
        const struct combine_point *here = &points[out[k]];
        assert_true(isfinite(here->influence_km));
        size_t before = 0; /* points that must stand before it */
        for (size_t i = 0; i < POINTS; i++)
            before += fabs(points[i].influence_km) > fabs(here->influence_km) ||
                      (fabs(points[i].influence_km) == fabs(here->influence_km) &&
                       points[i].key < here->key);
        assert_int_equal(before, k);
    }
    assert_int_equal(noons_influential(points, 3, MOST, out), 2);
    assert_int_equal(noons_influential(points, 1, MOST, out), 0);
    assert_int_equal(noons_influential(points, 0, MOST, out), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pairs_of_a_programme),
        cmocka_unit_test(test_order_of_rows_changes_nothing),
        cmocka_unit_test(test_turned_round_the_globe),
        cmocka_unit_test(test_noons_of_several_days),
        cmocka_unit_test(test_what_was_left_out_is_told),
        cmocka_unit_test(test_left_outs_of_many_rows),
        cmocka_unit_test(test_rows_that_say_nothing),
        cmocka_unit_test(test_errors_name_the_row),
        cmocka_unit_test(test_sweep_finds_every_pair),
        cmocka_unit_test(test_a_crowd_is_cut_short),
        cmocka_unit_test(test_a_cut_list_is_the_same_in_any_order),
        cmocka_unit_test(test_a_combination_is_the_same_in_any_order),
        cmocka_unit_test(test_combination_moves_the_declination),
        cmocka_unit_test(test_influential_points),
        cmocka_unit_test(test_noons_of_one_site_repeat_its_errors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
