/* SPDX-License-Identifier: MIT */
/* record_read: every limit of the API from both sides, and every field with every
 * type it does not take. The limits stand here a second time, as the description
 * of the API tells them: the field tables must agree. */
#include "tests/unit/near.h"

#include <float.h>
#include <string.h>

#include "server/wire/record_read.h"
#include "server/wire/spreadsheet.h"

enum what { SITE, DAY, RUN };

static int read_any(enum what what, const struct text *body, struct err *err) {
    struct site_record site;
    struct day_record day;
    static struct run_record run;
    assert_false(body->failed);
    *err = (struct err){0};
    switch (what) {
    case SITE:
        return record_read_site(body->bytes, body->length, &site, err);
    case DAY:
        return record_read_day(body->bytes, body->length, &day, err);
    case RUN:
        break;
    }
    return record_read_run(body->bytes, body->length, &run, err);
}

/* A right body with one value to be filled in. */
struct slot {
    enum what what;
    const char *before, *after; /* the value */
    const char *pointer;
};

#define SITE_SLOT(key)                                                                             \
    { SITE, "{\"name\":\"A\",\"lat_deg\":1,\"lon_deg\":2,\"" key "\":", "}", "/" key }
#define DAY_SLOT(key)                                                                              \
    { DAY, "{\"date\":\"2027-03-21\",\"" key "\":", "}", "/" key }
#define GNOMON "\"gnomon\":{\"parts\":[{\"length_mm\":1000}],\"edge\":\"umbra\"}"
#define TIME "\"time\":\"2027-03-21T12:04:30Z\""
#define RUN_SLOT(key)                                                                              \
    { RUN, "{" GNOMON ",\"readings\":[{" TIME ",\"shadow_mm\":880}],\"" key "\":", "}", "/" key }
#define READING_SLOT(before, after, key)                                                           \
    { RUN, "{" GNOMON ",\"readings\":[{" before "\"" key "\":", after "}]}", "/readings/0/" key }
#define PART_SLOT(before, key)                                                                     \
    {                                                                                              \
        RUN, "{\"gnomon\":{\"parts\":[{\"length_mm\":1000},{" before "\"" key "\":",               \
            "}],\"edge\":\"umbra\"},\"readings\":[{" TIME ",\"shadow_mm\":880}]}",                 \
            "/gnomon/parts/1/" key                                                                 \
    }

static void fill(const struct slot *slot, const char *value, struct text *body) {
    text_init(body, 65536);
    text_put(body, slot->before);
    text_put(body, value);
    text_put(body, slot->after);
}

static void check(const struct slot *slot, const char *value, enum err_code code) {
    struct text body;
    struct err err;
    fill(slot, value, &body);
    int outcome = read_any(slot->what, &body, &err);
    if (err.code != code || outcome != (code == ERR_NONE ? 0 : -1) ||
        strcmp(err.field, code == ERR_NONE ? "" : slot->pointer) != 0)
        fail_msg("%s\ngave %s at \"%s\" (%s), not %s at \"%s\"", body.bytes, err_name(err.code),
                 err.field, err.text, err_name(code), slot->pointer);
    text_release(&body);
}

static void check_number(const struct slot *slot, double value, enum err_code code) {
    char digits[32];
    snprintf(digits, sizeof digits, "%.17g", value);
    check(slot, digits, code);
}

static const struct limits {
    struct slot slot;
    double low, high;
} limits[] = {
    {{SITE, "{\"name\":\"A\",\"lon_deg\":170,\"lat_deg\":", "}", "/lat_deg"}, -90.0, 90.0},
    {{SITE, "{\"name\":\"A\",\"lat_deg\":1,\"lon_deg\":", "}", "/lon_deg"}, -180.0, 180.0},
    {SITE_SLOT("elev_m"), -500.0, 9000.0},
    {SITE_SLOT("gnomon_mm"), 20.0, 100000.0},
    {DAY_SLOT("lon_tolerance_deg"), 0.01, 15.0},
    {DAY_SLOT("min_separation_km"), 1.0, 5000.0},
    {DAY_SLOT("max_sigma_km"), 10.0, 20000.0},
    {READING_SLOT(TIME ",", "", "shadow_mm"), 0.01, 600000.0},
    {READING_SLOT(TIME ",\"shadow_mm\":880,", "", "sigma_mm"), 0.01, 10000.0},
    {PART_SLOT("\"length_mm\":1000,", "sigma_mm"), 0.01, 1000.0},
    {RUN_SLOT("pressure_hpa"), 300.0, 1100.0},
    {RUN_SLOT("temperature_c"), -60.0, 60.0},
    {RUN_SLOT("clock_sigma_s"), 0.001, 3600.0},
    {RUN_SLOT("tilt_sigma_deg"), 0.0001, 10.0},
};

/* The last double inside is taken, the next one is not, nor anything beyond. */
static void test_numbers_from_both_sides(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT_OF(limits); i++) {
        const struct slot *slot = &limits[i].slot;
        check_number(slot, limits[i].low, ERR_NONE);
        check_number(slot, limits[i].high, ERR_NONE);
        check_number(slot, nextafter(limits[i].low, -INFINITY), ERR_OUT_OF_RANGE);
        check_number(slot, nextafter(limits[i].high, INFINITY), ERR_OUT_OF_RANGE);
        check_number(slot, DBL_MAX, ERR_OUT_OF_RANGE);
        check_number(slot, -DBL_MAX, ERR_OUT_OF_RANGE);
        if (limits[i].low > 0.0) {
            check_number(slot, 0.0, ERR_OUT_OF_RANGE);
            check_number(slot, DBL_TRUE_MIN, ERR_OUT_OF_RANGE);
            check_number(slot, -limits[i].high, ERR_OUT_OF_RANGE);
        }
    }
}

/* A part of the gnomon has a least length of its own; the most is their sum's. */
static void test_parts_and_their_sum(void **state) {
    (void)state;
    const struct slot part = PART_SLOT("", "length_mm");
    struct slot sum = part;
    sum.pointer = "/gnomon/parts";
    check(&part, "0.01", ERR_NONE);
    check_number(&part, nextafter(0.01, 0.0), ERR_OUT_OF_RANGE);
    check(&part, "0", ERR_OUT_OF_RANGE);
    check(&part, "100000.1", ERR_OUT_OF_RANGE);
    check(&sum, "99000", ERR_NONE);
    check(&sum, "99000.001", ERR_OUT_OF_RANGE);
    check(&sum, "100000", ERR_OUT_OF_RANGE);
}

/* Lists that are too short or too long, by one. */
static void test_lengths_of_lists(void **state) {
    (void)state;
    static const struct {
        struct slot slot;
        const char *element;
        int most;
    } rows[] = {
        {{RUN,
          "{\"readings\":[{" TIME ",\"shadow_mm\":880}],\"gnomon\":{\"edge\":\"umbra\",\"parts\":",
          "}}", "/gnomon/parts"},
         "{\"length_mm\":200}",
         6},
        {{RUN, "{" GNOMON ",\"readings\":", "}", "/readings"}, "{" TIME ",\"shadow_mm\":880}", 240},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        for (int count = 0; count <= rows[i].most + 1; count++) {
            struct text list;
            text_init(&list, 65536);
            text_put(&list, "[");
            for (int k = 0; k < count; k++)
                text_format(&list, "%s%s", k > 0 ? "," : "", rows[i].element);
            text_put(&list, "]");
            bool inside = count >= 1 && count <= rows[i].most;
            check(&rows[i].slot, list.bytes, inside ? ERR_NONE : ERR_OUT_OF_RANGE);
            text_release(&list);
        }
    }
    static const struct slot spares = DAY_SLOT("spare_dates");
    check(&spares, "[]", ERR_NONE);
}

/* Bytes of text that fit, and one more; also in letters of two bytes. */
static void test_lengths_of_texts(void **state) {
    (void)state;
    static const struct {
        struct slot slot;
        size_t most;
    } rows[] = {
        {{SITE, "{\"lat_deg\":1,\"lon_deg\":2,\"name\":", "}", "/name"}, 120},
        {SITE_SLOT("contact"), 200},
        {DAY_SLOT("name"), 120},
        {RUN_SLOT("sky"), 200},
        {RUN_SLOT("level"), 200},
        {RUN_SLOT("note"), 400},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        for (size_t over = 0; over < 2; over++) {
            char value[512] = "\"";
            size_t length = rows[i].most + over;
            memset(value + 1, 'x', length);
            memcpy(value + 1 + length, "\"", 2);
            check(&rows[i].slot, value, over ? ERR_OUT_OF_RANGE : ERR_NONE);
            for (size_t at = 0; at + 2 <= rows[i].most; at += 2)
                memcpy(value + 1 + at, "\xC3\xA9", 2);
            check(&rows[i].slot, value, over ? ERR_OUT_OF_RANGE : ERR_NONE);
        }
    }
    static const struct slot ids[] = {SITE_SLOT("site"), DAY_SLOT("day")};
    for (size_t i = 0; i < COUNT_OF(ids); i++) {
        check(&ids[i], "\"a234567890123456789012345678901234567890\"", ERR_NONE);
        check(&ids[i], "\"a2345678901234567890123456789012345678901\"", ERR_BAD_TEXT);
        check(&ids[i], "\"\"", ERR_BAD_TEXT);
        check(&ids[i], "\"..\"", ERR_BAD_TEXT);
    }
}

/* Every field with every JSON type but its own, and null where it is required. */
static void test_wrong_types(void **state) {
    (void)state;
    enum takes { NUMBER, TEXT, LIST, OBJECT, TAKES };
    static const char *const values[TAKES] = {"1", "\"x\"", "[]", "{}"};
    static const struct {
        struct slot slot;
        enum takes takes;
        bool required;
    } rows[] = {
        {SITE_SLOT("site"), TEXT, false},
        {{SITE, "{\"lat_deg\":1,\"lon_deg\":2,\"name\":", "}", "/name"}, TEXT, true},
        {{SITE, "{\"name\":\"A\",\"lon_deg\":2,\"lat_deg\":", "}", "/lat_deg"}, NUMBER, true},
        {{SITE, "{\"name\":\"A\",\"lat_deg\":2,\"lon_deg\":", "}", "/lon_deg"}, NUMBER, true},
        {SITE_SLOT("elev_m"), NUMBER, false},
        {SITE_SLOT("zone"), TEXT, false},
        {SITE_SLOT("gnomon_mm"), NUMBER, false},
        {SITE_SLOT("edge"), TEXT, false},
        {SITE_SLOT("contact"), TEXT, false},
        {DAY_SLOT("day"), TEXT, false},
        {DAY_SLOT("name"), TEXT, false},
        {{DAY, "{\"date\":", "}", "/date"}, TEXT, true},
        {DAY_SLOT("spare_dates"), LIST, false},
        {{DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":[", "]}", "/spare_dates/0"}, TEXT, true},
        {DAY_SLOT("lon_tolerance_deg"), NUMBER, false},
        {DAY_SLOT("min_separation_km"), NUMBER, false},
        {DAY_SLOT("max_sigma_km"), NUMBER, false},
        {{RUN, "{\"readings\":[{" TIME ",\"shadow_mm\":880}],\"gnomon\":", "}", "/gnomon"},
         OBJECT,
         true},
        {{RUN, "{\"gnomon\":{\"edge\":\"umbra\",\"parts\":", "}}", "/gnomon/parts"}, LIST, true},
        {{RUN, "{\"gnomon\":{\"edge\":\"umbra\",\"parts\":[", "]}}", "/gnomon/parts/0"},
         OBJECT,
         true},
        {PART_SLOT("", "length_mm"), NUMBER, true},
        {PART_SLOT("\"length_mm\":1000,", "sigma_mm"), NUMBER, false},
        {{RUN, "{\"gnomon\":{\"edge\":", "}}", "/gnomon/edge"}, TEXT, true},
        {{RUN, "{" GNOMON ",\"readings\":", "}", "/readings"}, LIST, true},
        {{RUN, "{" GNOMON ",\"readings\":[", "]}", "/readings/0"}, OBJECT, true},
        {READING_SLOT("\"shadow_mm\":880,", "", "time"), TEXT, true},
        {READING_SLOT(TIME ",", "", "shadow_mm"), NUMBER, true},
        {READING_SLOT(TIME ",\"shadow_mm\":880,", "", "sigma_mm"), NUMBER, false},
        {RUN_SLOT("sky"), TEXT, false},
        {RUN_SLOT("level"), TEXT, false},
        {RUN_SLOT("note"), TEXT, false},
        {RUN_SLOT("pressure_hpa"), NUMBER, false},
        {RUN_SLOT("temperature_c"), NUMBER, false},
        {RUN_SLOT("clock_sigma_s"), NUMBER, false},
        {RUN_SLOT("tilt_sigma_deg"), NUMBER, false},
        {RUN_SLOT("supersedes"), NUMBER, false},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        const struct slot *slot = &rows[i].slot;
        for (enum takes given = NUMBER; given < TAKES; given++)
            if (given != rows[i].takes)
                check(slot, values[given], ERR_WRONG_TYPE);
        check(slot, "true", ERR_WRONG_TYPE);
        check(slot, "false", ERR_WRONG_TYPE);
        check(slot, "null", rows[i].required ? ERR_WRONG_TYPE : ERR_NONE);
    }
}

/* Numbers that JSON does not know (RFC 8259 sec. 6) or a double cannot hold. */
static void test_numbers_that_are_none(void **state) {
    (void)state;
    static const char *const wrong[] = {
        "NaN", "nan", "Infinity", "-Infinity", "inf", "1e999", "-1e999", "0x10",  "1.",
        ".5",  "+1",  "01",       "1e",        "--1", "1,5",   "1 5",    "1_000", "\xD9\xA1"};
    for (size_t i = 0; i < COUNT_OF(limits); i++) {
        struct slot slot = limits[i].slot;
        slot.pointer = "";
        for (size_t k = 0; k < COUNT_OF(wrong); k++)
            check(&slot, wrong[k], ERR_BAD_JSON);
    }
    /* too small for a double is nought, as in every reader */
    check(&limits[0].slot, "1e-999", ERR_NONE);
    check(&limits[0].slot, "12.50e+0", ERR_NONE);
    check(&limits[0].slot, "-0", ERR_NONE);
}

/* The shortest and the longest shadow come back from the store's metres as they
 * were sent, and a spreadsheet takes what an export of them says. */
static void test_extreme_lengths_survive(void **state) {
    (void)state;
    static const double shadows_mm[] = {0.01, 0.010001, 0.1, 1.0, 599999.999999, 600000.0};
    struct text sheet;
    struct csv_writer csv;
    struct err err = {0};
    static struct run run;
    run.readings = COUNT_OF(shadows_mm);
    for (int i = 0; i < run.readings; i++)
        run.reading[i] = (struct reading){i, shadows_mm[i] / 1000.0, NAN};
    text_init(&sheet, 4096);
    csv_writer_init(&csv, &sheet);
    sheet_write_readings_header(&csv);
    sheet_write_run(&csv, "a", &run);
    struct sheet_readings readings;
    if (sheet_read_readings(sheet.bytes, sheet.length, &readings, &err) != 0)
        fail_msg("%s\n%s", sheet.bytes, err.text);
    for (int i = 0; i < run.readings; i++)
        assert_true(record_mm(readings.reading[i].reading.shadow_m) == shadows_mm[i]);
    sheet_readings_release(&readings);
    text_release(&sheet);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_from_both_sides),
        cmocka_unit_test(test_parts_and_their_sum),
        cmocka_unit_test(test_lengths_of_lists),
        cmocka_unit_test(test_lengths_of_texts),
        cmocka_unit_test(test_wrong_types),
        cmocka_unit_test(test_numbers_that_are_none),
        cmocka_unit_test(test_extreme_lengths_survive),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
