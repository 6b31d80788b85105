/* SPDX-License-Identifier: MIT */
/* `noonarc noon` and `noonarc reduce`: readings made from the true Sun (plumbing:
 * the science has its own tests against published values), by every way in. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>
#include <math.h>

#include "server/base/instant.h"
#include "server/base/text.h"
#include "server/science/meridian.h"
#include "tests/support/desk.h"
#include "tests/support/simulate.h"

static const struct errors small = {.height_m = 0.0005,
                                    .tilt_deg = 0.01,
                                    .edge_deg = 0.005,
                                    .clock_s = 3.0,
                                    .mark_m = 0.001,
                                    .fuzzy_share = 0.05};
static const struct session clear_noon = {.readings = 13, .start_s = -2400.0, .step_s = 400.0};

static struct run measured(double lat_deg, double lon_deg, const char *date, uint64_t seed) {
    const struct place place = {lat_deg, lon_deg, 0.0};
    struct chance chance = chance_seeded(seed);
    struct run run = simulate_run_of(3.180, EDGE_UMBRA);
    struct sun_day day;
    int32_t number = 0;
    assert_true(date_parse(date, &number));
    assert_true(sun_day_build(number, &day));
    simulate_readings(&chance, &place, &day, &small, &clear_noon, &run);
    return run;
}

/* Rows "site,utc,shadow"; without a site when that is NULL. */
static void write_rows(struct text *csv, const char *site, const struct run *run) {
    for (int i = 0; i < run->readings; i++) {
        char utc[INSTANT_TEXT];
        instant_format(run->reading[i].t_utc_s, INSTANT_SHORTEST, utc, sizeof utc);
        if (site != NULL)
            text_format(csv, "%s,", site);
        text_format(csv, "%s,%.10g\r\n", utc, run->reading[i].shadow_m * 1000.0);
    }
}

static void three_ways_in_give_one_angle(void **state) {
    (void)state;
    struct desk desk;
    struct text csv, json;
    struct run run = measured(44.5, 3.2, "2027-03-20", 11);
    char given[32][64];
    const char *words[80] = {"noon", "--lat",    "44.5",     "--lon",
                             "3.2",  "--gnomon", "2880+300", "--json"};
    int count = 8;
    desk_init(&desk);
    text_init(&csv, 65536);
    text_init(&json, 65536);
    text_put(&csv, "utc,shadow_mm\n");
    write_rows(&csv, NULL, &run);
    text_put(&json, "{\"gnomon\":{\"parts\":[{\"length_mm\":2880},{\"length_mm\":300}],"
                    "\"edge\":\"umbra\"},\"readings\":[");
    for (int i = 0; i < run.readings; i++) {
        char utc[INSTANT_TEXT];
        instant_format(run.reading[i].t_utc_s, INSTANT_SHORTEST, utc, sizeof utc);
        snprintf(given[i], sizeof given[i], "%s=%.10g", utc, run.reading[i].shadow_m * 1000.0);
        words[count++] = "--reading";
        words[count++] = given[i];
        text_format(&json, "%s{\"time\":\"%s\",\"shadow_mm\":%.10g}", i > 0 ? "," : "", utc,
                    run.reading[i].shadow_m * 1000.0);
    }
    text_put(&json, "]}");
    struct outcome flags, sheet, document;
    desk_run_words(&desk, "", &flags, words);
    outcome_assert_code(&flags, 0);
    desk_run(&desk, csv.bytes, &sheet, "noon", "--lat", "44.5", "--lon", "3.2", "--gnomon",
             "2880+300", "--json", NULL);
    outcome_assert_code(&sheet, 0);
    desk_run(&desk, "", &document, "noon", "--lat", "44.5", "--lon", "3.2", "--file",
             desk_file(&desk, json.bytes), "--json", NULL);
    outcome_assert_code(&document, 0);
    assert_string_equal(flags.out, sheet.out);
    assert_string_equal(flags.out, document.out);
    assert_string_equal(outcome_text(&flags, "status"), "ok");
    /* The Sun's own noon angle is latitude less declination. */
    double true_deg = 44.5 - outcome_number(&flags, "declination_deg");
    double sigma_deg = outcome_number(&flags, "sigma_deg");
    assert_true(sigma_deg > 0.0 && sigma_deg < 0.1);
    outcome_assert_near("angle", outcome_number(&flags, "noon_angle_deg"), true_deg,
                        3.0 * sigma_deg);
    outcome_release(&flags);
    outcome_release(&sheet);
    outcome_release(&document);
    text_release(&csv);
    text_release(&json);
    desk_release(&desk);
}

static void tells_a_mistaken_unit_and_leaves_with_one(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    struct text csv;
    struct run run = measured(44.5, 3.2, "2027-03-20", 12);
    desk_init(&desk);
    text_init(&csv, 65536);
    text_put(&csv, "utc,shadow_mm\n");
    write_rows(&csv, NULL, &run);
    desk_run(&desk, csv.bytes, &outcome, "noon", "--lat", "44.5", "--lon", "3.2", "--gnomon", "318",
             "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "run_slip"), "run_tenfold");
    assert_true(json_is_null(outcome_at(&outcome, "noon_angle_deg")));
    outcome_release(&outcome);
    text_release(&csv);
    desk_release(&desk);
}

static void names_what_is_wrong_in_a_run(void **state) {
    static const struct {
        const char *input, *gnomon, *code, *field;
        int exit_code;
    } rows[] = {
        {"utc,shadow_mm\n2027-03-20T11:50:00,1780\n", "3180", "bad_time", "row 2, utc", 1},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,0\n", "3180", "out_of_range", "row 2, shadow_mm", 1},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,long\n", "3180", "wrong_type", "row 2, shadow_mm", 1},
        {"utc,shadow_mm,colour\n", "3180", "bad_csv", "row 1", 1},
        {"utc\n", "3180", "bad_csv", "row 1", 1},
        {"", "3180", "bad_csv", "", 1},
        {"{\"readings\":[{\"time\":\"2027-03-20T11:50:00Z\",\"shadow_mm\":1780}]}", "3180",
         "missing_field", "/gnomon", 1},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,1780\n", "2880+", "wrong_type", "--gnomon", 2},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,1780\n", "3180~x", "wrong_type", "--gnomon", 2},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,1780\n", "1+1+1+1+1+1+1", "out_of_range", "--gnomon",
         2},
        {"utc,shadow_mm\n2027-03-20T11:50:00Z,1780\n", "9", "out_of_range", "--gnomon", 2},
    };
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct outcome outcome;
        desk_run(&desk, rows[i].input, &outcome, "noon", "--lat", "44.5", "--lon", "3.2",
                 "--gnomon", rows[i].gnomon, "--json", NULL);
        outcome_assert_code(&outcome, rows[i].exit_code);
        assert_string_equal(outcome_text(&outcome, "code"), rows[i].code);
        assert_string_equal(outcome_text(&outcome, "field"), rows[i].field);
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

/* Three schools on one meridian and one far off it, one reading a metre too long. */
static void reduces_a_day_of_two_spreadsheets(void **state) {
    static const struct {
        const char *site;
        double lat_deg, lon_deg;
    } sites[] = {
        {"acacia", 14.5, 3.1}, {"baobab", 22.75, 3.3}, {"cedar", 36.5, 3.2}, {"dune", 22.0, 40.0}};
    (void)state;
    struct desk desk;
    struct text site_csv, reading_csv;
    struct outcome outcome;
    desk_init(&desk);
    text_init(&site_csv, 65536);
    text_init(&reading_csv, 65536);
    text_put(&site_csv, "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\n");
    text_put(&reading_csv, "site,utc,shadow_mm\n");
    for (size_t i = 0; i < 4; i++) {
        struct run run = measured(sites[i].lat_deg, sites[i].lon_deg, "2027-03-20", 21 + i);
        text_format(&site_csv, "%s,%.4f,%.4f,0,3180,umbra\n", sites[i].site, sites[i].lat_deg,
                    sites[i].lon_deg);
        if (i == 1)
            run.reading[4].shadow_m += 1.0;
        write_rows(&reading_csv, sites[i].site, &run);
    }
    const char *site_path = desk_file(&desk, site_csv.bytes);
    const char *reading_path = desk_file(&desk, reading_csv.bytes);
    desk_run(&desk, "", &outcome, "reduce", site_path, reading_path, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "sites")), 4);
    assert_int_equal(json_array_size(outcome_at(&outcome, "pairs")), 3);
    assert_string_equal(outcome_text(&outcome, "sites/1/site"), "baobab");
    assert_int_equal(json_array_size(outcome_at(&outcome, "sites/1/left_out")), 1);
    assert_true(strlen(outcome_text(&outcome, "sites/1/left_out/0/reason")) > 0);
    assert_int_equal(strlen(outcome_text(&outcome, "sites/1/left_out/0/utc")) >= 20, 1);
    assert_string_equal(outcome_text(&outcome, "pairs/0/site1"), "acacia");
    assert_string_equal(outcome_text(&outcome, "pairs/0/site2"), "baobab");
    double sigma_km = outcome_number(&outcome, "combined/sigma_km");
    assert_true(sigma_km > 0.0 && sigma_km < 1000.0);
    outcome_assert_near("circumference", outcome_number(&outcome, "combined/circumference_km"),
                        MERIDIAN_CIRCUMFERENCE_KM, 3.0 * sigma_km + 200.0);
    assert_true(isfinite(outcome_number(&outcome, "combined/chi2")));
    assert_true(isfinite(outcome_number(&outcome, "combined/dof")));
    assert_true(outcome_number(&outcome, "combined/sites") >= 3.0);
    assert_true(outcome_number(&outcome, "combined/days") >= 1.0);
    outcome_release(&outcome);

    desk_run(&desk, "", &outcome, "reduce", site_path, reading_path, "--min-separation", "2000",
             "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "pairs")), 1);
    outcome_release(&outcome);

    desk_run(&desk, "", &outcome, "reduce", site_path, reading_path, NULL);
    outcome_assert_code(&outcome, 0);
    assert_ptr_equal(strstr(outcome.out, "circumference  "), outcome.out);
    assert_non_null(strstr(outcome.out, " ± "));
    assert_non_null(strstr(outcome.out, "\tacacia\t") != NULL ? outcome.out
                                                              : strstr(outcome.out, "acacia\t"));
    outcome_release(&outcome);
    text_release(&site_csv);
    text_release(&reading_csv);
    desk_release(&desk);
}

static void names_row_and_column_of_a_spreadsheet(void **state) {
    static const struct {
        const char *sites, *readings, *code, *field;
    } rows[] = {
        {"site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\na,91,3,0,3180,umbra\n",
         "site,utc,shadow_mm\n", NULL, "row 2, lat_deg"},
        {"site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\na,44,3,0,3180,edge\n", "site,utc,shadow_mm\n",
         "out_of_range", "row 2, edge"},
        {"site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\na,44,3,0,3180,umbra\n",
         "site,utc,shadow_mm\na,2027-03-20T12:00:00Z,3000\na,noon,3000\n", "bad_time",
         "row 3, utc"},
        {"site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\na,44,3,0,3180,umbra\n",
         "site,utc,shadow_mm\nb,2027-03-20T12:00:00Z,3000\n", "not_found", "row 2, site"},
    };
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct outcome outcome;
        desk_run(&desk, "", &outcome, "reduce", desk_file(&desk, rows[i].sites),
                 desk_file(&desk, rows[i].readings), "--json", NULL);
        outcome_assert_code(&outcome, 1);
        if (rows[i].code != NULL)
            assert_string_equal(outcome_text(&outcome, "code"), rows[i].code);
        assert_string_equal(outcome_text(&outcome, "field"), rows[i].field);
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_ways_in_give_one_angle),
        cmocka_unit_test(tells_a_mistaken_unit_and_leaves_with_one),
        cmocka_unit_test(names_what_is_wrong_in_a_run),
        cmocka_unit_test(reduces_a_day_of_two_spreadsheets),
        cmocka_unit_test(names_row_and_column_of_a_spreadsheet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
