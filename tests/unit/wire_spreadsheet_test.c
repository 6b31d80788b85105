/* SPDX-License-Identifier: MIT */
/* spreadsheet: columns in any order, errors by row and column, all or nothing,
 * and rows there and back. Invented rows: this is plumbing. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/base/instant.h"
#include "server/wire/field.h"
#include "server/wire/spreadsheet.h"

#define SITES "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge"
#define READINGS "site,utc,shadow_mm\n"

static struct site_record *sites_of(const char *csv, size_t *count) {
    struct site_record *sites = NULL;
    struct err err = {0};
    if (sheet_read_sites(csv, strlen(csv), &sites, count, &err) != 0)
        fail_msg("%s: %s", csv, err.text);
    return sites;
}

static void test_sites(void **state) {
    (void)state;
    size_t count = 9;
    assert_null(sites_of(SITES "\n", &count));
    assert_int_equal(count, 0);
    struct site_record *sites =
        sites_of("\xEF\xBB\xBF"
                 "edge,name,gnomon_mm,site,lon_deg,lat_deg,elev_m,zone,contact\r\n"
                 "centre,\"Aromos, Los\",1178.3,aromos,-70.6,-33.4,520,America/Santiago,office\r\n"
                 "\r\n"
                 ",,,b,1.5e1,+7,,,\r\n",
                 &count);
    assert_int_equal(count, 2);
    assert_string_equal(sites[0].site, "aromos");
    assert_string_equal(sites[0].name, "Aromos, Los");
    assert_string_equal(sites[0].zone, "America/Santiago");
    assert_string_equal(sites[0].contact, "office");
    assert_true(sites[0].place.lat_deg == -33.4 && sites[0].place.lon_deg == -70.6);
    assert_true(sites[0].place.elevation_m == 520.0 && sites[0].gnomon_mm == 1178.3);
    assert_int_equal(sites[0].edge, EDGE_CENTRE);
    assert_string_equal(sites[1].site, "b");
    assert_string_equal(sites[1].name, "b");
    assert_true(sites[1].place.lat_deg == 7.0 && sites[1].place.lon_deg == 15.0);
    assert_true(sites[1].place.elevation_m == 0.0 && isnan(sites[1].gnomon_mm));
    assert_int_equal(sites[1].edge, EDGE_UMBRA);
    free(sites);
}

struct refusal {
    const char *csv;
    enum err_code code;
    const char *field;
};

static void check_refused(const struct refusal *row, int outcome, const struct err *err) {
    if (outcome != -1 || err->code != row->code || strcmp(err->field, row->field) != 0)
        fail_msg("%s\ngave %s at \"%s\" (%s), not %s at \"%s\"", row->csv, err_name(err->code),
                 err->field, err->text, err_name(row->code), row->field);
    assert_true(field_text_is_clean(err->text, strlen(err->text), false));
    assert_true(field_text_is_clean(err->field, strlen(err->field), false));
}

/* As spreadsheets are saved: semicolons or tabs with decimal commas, blanks about the
 * values, headers with capitals, empty columns left behind. All say the same. */
static void test_as_spreadsheets_are_saved(void **state) {
    (void)state;
    static const char *const sheets[] = {
        SITES "\na,44.5,3.25,10,1000,penumbra\n",
        SITES ",,\na,44.5,3.25,10,1000,penumbra,,\n",
        "Site, Lat_deg ,LON_DEG,elev_m,gnomon_mm,Edge\n a , 44.5,3.25 ,10,1000, Penumbra \n",
        "site;lat_deg;lon_deg;elev_m;gnomon_mm;edge\r\na;44,5;3,25;10;1000;penumbra\r\n",
        "\xEF\xBB\xBFsite\tlat_deg\tlon_deg\telev_m\tgnomon_mm\tedge\t\n"
        "a\t44,5\t3.25\t10\t1000\tPENUMBRA\t\n",
    };
    for (size_t i = 0; i < COUNT_OF(sheets); i++) {
        struct site_record *sites = NULL;
        size_t count = 0;
        struct err err = {0};
        if (sheet_read_sites(sheets[i], strlen(sheets[i]), &sites, &count, &err) != 0)
            fail_msg("%s\n%s", sheets[i], err.text);
        assert_int_equal(count, 1);
        assert_string_equal(sites->site, "a");
        assert_true(sites->place.lat_deg == 44.5 && sites->place.lon_deg == 3.25);
        assert_true(sites->gnomon_mm == 1000.0);
        assert_int_equal(sites->edge, EDGE_PENUMBRA);
        free(sites);
    }
}

static void test_sites_refused(void **state) {
    (void)state;
    static const struct refusal rows[] = {
        {"", ERR_BAD_CSV, "row 1"},
        {"site,lat_deg,lon_deg,elev_m,edge\n", ERR_MISSING_FIELD, "row 1, gnomon_mm"},
        {SITES ",site\n", ERR_BAD_CSV, "row 1, site"},
        {SITES ",Titel\n", ERR_UNKNOWN_FIELD, "row 1, titel"},
        {SITES ",Site\n", ERR_BAD_CSV, "row 1, site"},
        {SITES ",\na,1,2,3,1000,umbra,x\n", ERR_UNKNOWN_FIELD, "row 2, column 7"},
        {"site;lat_deg;lon_deg\n", ERR_MISSING_FIELD, "row 1, elev_m"},
        {"site|lat_deg|lon_deg\n", ERR_UNKNOWN_FIELD, "row 1, site|lat_deg|lon_deg"},
        {SITES ",\xFF\n", ERR_UNKNOWN_FIELD, "row 1, ?"},
        {SITES ","
               "\"two\nlines\"\n",
         ERR_UNKNOWN_FIELD, "row 1, two?lines"},
        {"a,1,2,3,1000,umbra\n", ERR_UNKNOWN_FIELD, "row 1, a"}, /* no header at all */
        {SITES "\n,1,2,3,1000,umbra\n", ERR_MISSING_FIELD, "row 2, site"},
        {SITES "\na,,2,3,1000,umbra\n", ERR_MISSING_FIELD, "row 2, lat_deg"},
        {SITES "\na,x,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,\xFF\xFE\x01,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,\"4,5\",2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,4 4,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,0x10,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,nan,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,inf,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,1e999,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,--1,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,.,2,3,1000,umbra\n", ERR_WRONG_TYPE, "row 2, lat_deg"},
        {SITES "\na,1,2,3,1000,umbra\nb,91,100,3,1000,umbra\n", ERR_OUT_OF_RANGE, "row 3, lat_deg"},
        {SITES "\n\n\na,120,-30,3,1000,umbra\n", ERR_POSITION_SWAPPED, "row 4, lat_deg"},
        {SITES "\na,1,2,3,10,umbra\n", ERR_OUT_OF_RANGE, "row 2, gnomon_mm"},
        {SITES "\na,1,2,3,1000,shadow\n", ERR_OUT_OF_RANGE, "row 2, edge"},
        {SITES "\na b,1,2,3,1000,umbra\n", ERR_BAD_TEXT, "row 2, site"},
        {SITES ",name\na,1,2,3,1000,umbra,\"=HYPERLINK(\"\"x\"\")\"\n", ERR_BAD_TEXT,
         "row 2, name"},
        {SITES ",name\na,1,2,3,1000,umbra,Caf\xE9\n", ERR_BAD_TEXT, "row 2, name"},
        {SITES ",zone\na,1,2,3,1000,umbra,Africa/Atlantis\n", ERR_UNKNOWN_ZONE, "row 2, zone"},
        {SITES "\na,1,2,3,1000,umbra\nb,1,2,3,1000,umbra\na,5,2,3,1000,umbra\nb,1,2,3,1000,umbra\n",
         ERR_BAD_CSV, "row 4, site"},
        {SITES "\na,1,2,3,1000,umbra\nb,1,2,3\n", ERR_BAD_CSV, "row 3"},
        {SITES "\na,1,2,3,1000,\"umbra\n", ERR_BAD_CSV, "row 2"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct site_record untouched, *sites = &untouched;
        size_t count = 42;
        struct err err = {0};
        int outcome = sheet_read_sites(rows[i].csv, strlen(rows[i].csv), &sites, &count, &err);
        check_refused(&rows[i], outcome, &err);
        assert_ptr_equal(sites, &untouched);
        assert_int_equal(count, 42);
    }
}

static void test_readings_refused(void **state) {
    (void)state;
    static const struct refusal rows[] = {
        {"site,utc\n", ERR_MISSING_FIELD, "row 1, shadow_mm"},
        {"site,time,shadow_mm\n", ERR_UNKNOWN_FIELD, "row 1, time"},
        {READINGS "a,2027-03-21T12:00:00,880\n", ERR_BAD_TIME, "row 2, utc"},
        {READINGS "a,2027-03-21T12:00:00Z,880\na,21/03/2027 12:01,880\n", ERR_BAD_TIME,
         "row 3, utc"},
        {READINGS "a,2027-03-21T12:00:00Z,\n", ERR_MISSING_FIELD, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,0\n", ERR_OUT_OF_RANGE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,1e-320\n", ERR_OUT_OF_RANGE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,0.009\n", ERR_OUT_OF_RANGE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,1.2.3\n", ERR_WRONG_TYPE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,8 80\n", ERR_WRONG_TYPE, "row 2, shadow_mm"},
        {"site,utc,shadow_mm,utc\n", ERR_BAD_CSV, "row 1, utc"},
        {READINGS "a,2027-03-21T12:00:00Z,-880\n", ERR_OUT_OF_RANGE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,600000.1\n", ERR_OUT_OF_RANGE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,880 mm\n", ERR_WRONG_TYPE, "row 2, shadow_mm"},
        {READINGS "a,2027-03-21T12:00:00Z,\"880,5\"\n", ERR_WRONG_TYPE, "row 2, shadow_mm"},
        {READINGS ",2027-03-21T12:00:00Z,880\n", ERR_MISSING_FIELD, "row 2, site"},
        {READINGS "-a,2027-03-21T12:00:00Z,880\n", ERR_BAD_TEXT, "row 2, site"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct sheet_readings readings = {.sites = 42};
        struct err err = {0};
        int outcome = sheet_read_readings(rows[i].csv, strlen(rows[i].csv), &readings, &err);
        check_refused(&rows[i], outcome, &err);
        assert_int_equal(readings.sites, 42);
    }
}

static void test_readings_are_gathered(void **state) {
    (void)state;
    static const char csv[] = READINGS "b,2027-03-21T12:02:00Z,882\n"
                                       "a,2027-03-21T13:00:00+01:00,900\n"
                                       "b,2027-03-21T12:01:00Z,881\n"
                                       "a,2027-03-21T11:59:00Z,901.5\n"
                                       "b,2027-03-21T12:01:00Z,880\n";
    struct sheet_readings readings;
    struct err err = {0};
    assert_int_equal(sheet_read_readings(csv, strlen(csv), &readings, &err), 0);
    assert_int_equal(readings.sites, 2);
    assert_int_equal(readings.readings, 5);
    assert_string_equal(readings.site[0].site, "a");
    assert_int_equal(readings.site[0].first_row, 3);
    assert_int_equal(readings.site[0].first, 0);
    assert_int_equal(readings.site[0].readings, 2);
    assert_string_equal(readings.site[1].site, "b");
    assert_int_equal(readings.site[1].first_row, 2);
    assert_int_equal(readings.site[1].first, 2);
    assert_int_equal(readings.site[1].readings, 3);
    static const uint32_t rows[] = {5, 3, 6, 4, 2};
    for (size_t i = 0; i < 5; i++) {
        assert_int_equal(readings.reading[i].row, rows[i]);
        assert_int_equal(readings.reading[i].site, i >= 2);
        assert_true(isnan(readings.reading[i].reading.shadow_sigma_m));
    }
    assert_true(readings.reading[0].reading.shadow_m == 0.9015);
    check_near("offset", readings.reading[1].reading.t_utc_s, near_utc_s("2027-03-21T12:00:00Z"),
               0.0, "s");
    sheet_readings_release(&readings);
    assert_int_equal(sheet_read_readings(READINGS, strlen(READINGS), &readings, &err), 0);
    assert_int_equal(readings.sites + readings.readings, 0);
    sheet_readings_release(&readings);
}

/* A whole continent's spreadsheets, in the worst order and with the error at the very
 * end: what compares all rows with all does not end within the suite's time. */
static void test_long_spreadsheets(void **state) {
    (void)state;
    enum { SITES_ROWS = 50000, READINGS_ROWS = 200000 };
    struct text sites_csv, readings_csv;
    struct err err = {0};
    text_init(&sites_csv, (size_t)16 << 20);
    text_init(&readings_csv, (size_t)16 << 20);
    text_put(&sites_csv, SITES "\n");
    text_put(&readings_csv, READINGS);
    for (int i = SITES_ROWS; i > 0; i--)
        text_format(&sites_csv, "s%d,1,2,3,1000,umbra\n", i);
    for (int i = READINGS_ROWS; i > 0; i--)
        text_format(&readings_csv, "s%d,2027-03-21T12:%02d:00Z,880\n", i % SITES_ROWS, i % 60);
    size_t count = 0;
    struct site_record *sites = sites_of(sites_csv.bytes, &count);
    assert_int_equal(count, SITES_ROWS);
    assert_string_equal(sites[0].site, "s50000");
    free(sites);
    text_put(&sites_csv, "s7,1,2,3,1000,umbra\n");
    assert_int_equal(sheet_read_sites(sites_csv.bytes, sites_csv.length, &sites, &count, &err), -1);
    assert_string_equal(err.field, "row 50002, site");
    assert_non_null(strstr(err.text, "row 49995 already"));
    err_clear(&err);
    struct sheet_readings readings;
    assert_int_equal(sheet_read_readings(readings_csv.bytes, readings_csv.length, &readings, &err),
                     0);
    assert_int_equal(readings.sites, SITES_ROWS);
    for (size_t i = 0; i < readings.sites; i++) {
        const struct sheet_site *site = &readings.site[i];
        assert_int_equal(site->readings, READINGS_ROWS / SITES_ROWS);
        assert_true(i == 0 || strcmp(site[-1].site, site->site) < 0);
        for (size_t k = 1; k < site->readings; k++)
            assert_true(readings.reading[site->first + k].reading.t_utc_s >=
                        readings.reading[site->first + k - 1].reading.t_utc_s);
    }
    sheet_readings_release(&readings);
    text_put(&readings_csv, "s1,2027-03-21T12:00:00Z,x\n");
    assert_int_equal(sheet_read_readings(readings_csv.bytes, readings_csv.length, &readings, &err),
                     -1);
    assert_string_equal(err.field, "row 200002, shadow_mm");
    text_release(&sites_csv);
    text_release(&readings_csv);
}

static void test_run_of_readings(void **state) {
    (void)state;
    struct site_record site;
    static struct sheet_reading reading[RUN_READINGS_MAX + 1];
    static struct run run;
    struct err err = {0};
    site_record_init(&site);
    memcpy(site.site, "a", 2);
    for (uint32_t i = 0; i <= RUN_READINGS_MAX; i++)
        reading[i] = (struct sheet_reading){.row = 7 + i, .reading = {i, 0.5, NAN}};
    assert_int_equal(sheet_run(&site, reading, 3, &run, &err), -1);
    assert_int_equal(err.code, ERR_MISSING_FIELD);
    assert_string_equal(err.field, "row 7, site");
    err_clear(&err);
    site.gnomon_mm = 1178.3;
    site.edge = EDGE_PENUMBRA;
    assert_int_equal(sheet_run(&site, reading, RUN_READINGS_MAX + 1, &run, &err), -1);
    assert_int_equal(err.code, ERR_OUT_OF_RANGE);
    err_clear(&err);
    assert_int_equal(sheet_run(&site, reading, RUN_READINGS_MAX, &run, &err), 0);
    assert_int_equal(run.readings, RUN_READINGS_MAX);
    assert_int_equal(run.gnomon.parts, 1);
    assert_int_equal(run.gnomon.edge, EDGE_PENUMBRA);
    check_near("height", run.gnomon.part[0].value_m, 1.1783, 1e-15, "m");
    assert_true(isnan(run.gnomon.part[0].sigma_m) && isnan(run.pressure_hpa));
}

static void test_sites_there_and_back(void **state) {
    (void)state;
    static const char csv_in[] = SITES ",name,zone,position_decimals\r\n"
                                       "aromos,-33.4,-70.6,520,1178.3,centre,\"Los \"\"Aromos\"\", "
                                       "no. 2\",America/Santiago,\r\n"
                                       "b,0.1,1e-05,0,,umbra,b,,3\r\n";
    size_t count;
    struct site_record *sites = sites_of(csv_in, &count);
    struct text text;
    struct csv_writer csv;
    text_init(&text, 65536);
    csv_writer_init(&csv, &text);
    sheet_write_sites_header(&csv);
    for (size_t i = 0; i < count; i++)
        sheet_write_site(&csv, &sites[i]);
    assert_string_equal(text.bytes, csv_in);
    text_release(&text);
    free(sites);
}

static void test_readings_there_and_back(void **state) {
    (void)state;
    static const char csv_in[] = "site,utc,shadow_mm\r\n"
                                 "a,2027-03-21T11:59:00Z,901.5\r\n"
                                 "a,2027-03-21T12:00:00.25Z,0.1\r\n"
                                 "a,2027-03-21T12:01:00Z,600000\r\n";
    struct sheet_readings readings;
    struct site_record site;
    static struct run run;
    struct err err = {0};
    struct text text;
    struct csv_writer csv;
    site_record_init(&site);
    site.gnomon_mm = 1000.0;
    assert_int_equal(sheet_read_readings(csv_in, strlen(csv_in), &readings, &err), 0);
    assert_int_equal(sheet_run(&site, readings.reading, readings.readings, &run, &err), 0);
    text_init(&text, 65536);
    csv_writer_init(&csv, &text);
    sheet_write_readings_header(&csv);
    sheet_write_run(&csv, readings.site[0].site, &run);
    assert_string_equal(text.bytes, csv_in);
    text_release(&text);
    sheet_readings_release(&readings);
}

static void test_results(void **state) {
    (void)state;
    struct reduction_record right = {.site = "a",
                                     .run = 12,
                                     .counts = true,
                                     .status = REDUCE_OK,
                                     .transit_utc_s = 0.25,
                                     .noon_angle_deg = -33.5,
                                     .sigma_deg = 0.05,
                                     .published = ESTIMATOR_SOLAR,
                                     .used = 8,
                                     .left_outs = 1};
    struct reduction_record wrong = {.site = "b",
                                     .run = 7,
                                     .status = REDUCE_IMPLAUSIBLE,
                                     .noon_angle_deg = NAN,
                                     .sigma_deg = NAN};
    struct pair_record pair = {.site1 = "a",
                               .site2 = "b",
                               .pair = {.separation_km = 111.5,
                                        .angle_deg = 1,
                                        .circumference_km = NAN,
                                        .sigma_km = NAN,
                                        .status = PAIR_ANGLE_UNSURE}};
    struct text text;
    struct csv_writer csv;
    text_init(&text, 65536);
    csv_writer_init(&csv, &text);
    sheet_write_reductions_header(&csv);
    sheet_write_reduction(&csv, &right);
    sheet_write_reduction(&csv, &wrong);
    sheet_write_pairs_header(&csv);
    sheet_write_pair(&csv, &pair);
    assert_string_equal(text.bytes,
                        "site,transit_utc,noon_angle_deg,sigma_deg,estimator,used,left_out,"
                        "run,status,counts\r\n"
                        "a,1970-01-01T00:00:00.250Z,-33.5,0.05,solar,8,1,12,ok,true\r\n"
                        "b,1970-01-01T00:00:00.000Z,,,,0,0,7,implausible,false\r\n"
                        "site1,site2,separation_km,angle_deg,circumference_km,sigma_km,"
                        "error_percent,status\r\n"
                        "a,b,111.5,1,,,,angle_unsure\r\n");
    text_release(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sites),
        cmocka_unit_test(test_as_spreadsheets_are_saved),
        cmocka_unit_test(test_sites_refused),
        cmocka_unit_test(test_readings_refused),
        cmocka_unit_test(test_readings_are_gathered),
        cmocka_unit_test(test_long_spreadsheets),
        cmocka_unit_test(test_run_of_readings),
        cmocka_unit_test(test_sites_there_and_back),
        cmocka_unit_test(test_readings_there_and_back),
        cmocka_unit_test(test_results),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
