/* SPDX-License-Identifier: MIT */
/* csv: the examples of RFC 4180, what spreadsheets add to it, and what is refused. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/base/instant.h"
#include "server/wire/csv.h"

/* All cells as text: cells parted by |, rows closed by ;. Empty on an error. */
static void flatten(const char *bytes, size_t length, struct text *out, struct err *err) {
    struct csv_reader reader;
    int row = csv_reader_init(&reader, bytes, length, err) == 0 ? 1 : -1;
    while (row > 0 && (row = csv_reader_next(&reader, err)) > 0) {
        for (size_t i = 0; i < reader.columns; i++) {
            assert_int_equal(strlen(reader.cell[i].text), reader.cell[i].length);
            text_format(out, "%s%s", i > 0 ? "|" : "", reader.cell[i].text);
        }
        text_put(out, ";");
    }
    csv_reader_release(&reader);
}

static void test_what_is_read(void **state) {
    (void)state;
    static const struct {
        const char *csv, *cells;
    } rows[] = {
        /* RFC 4180 (Shafranovich 2005), sec. 2, rules 1, 2, 5, 6 and 7 */
        {"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "aaa|bbb|ccc;zzz|yyy|xxx;"},
        {"aaa,bbb,ccc\r\nzzz,yyy,xxx", "aaa|bbb|ccc;zzz|yyy|xxx;"},
        {"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "aaa|bbb|ccc;zzz|yyy|xxx;"},
        {"\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", "aaa|b\r\nbb|ccc;zzz|yyy|xxx;"},
        {"\"aaa\",\"b\"\"bb\",\"ccc\"", "aaa|b\"bb|ccc;"},
        /* rule 4: blanks belong to the cell */
        {" aaa , bbb\r\n", " aaa | bbb;"},
        {"a,b\nc,d\n", "a|b;c|d;"},
        {"a,b\nc,d\r\n\r\n\n,\r\n\"\",\n", "a|b;c|d;"}, /* rows without content */
        {"\xEF\xBB\xBF"
         "a,b\r\n",
         "a|b;"},
        {"\xEF\xBB\xBF\"a\",b\r\n", "a|b;"},
        {"a,\n,b\n", "a|;|b;"},
        {"a,", "a|;"},
        {"a", "a;"},
        {"\"\"\"\"", "\";"},
        {"\"a,b\",\"c\nd\"", "a,b|c\nd;"},
        {"\"a\rb\",c\n", "a\rb|c;"}, /* within quotes a carriage return is content */
        /* the most columns there can be */
        {"1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31,32",
         "1|2|3|4|5|6|7|8|9|10|11|12|13|14|15|16|17|18|19|20|21|22|23|24|25|26|27|28|29|30|31|32;"},
        {"\"\",x\n\"\",\"\"\n", "|x;"},
        {"", ""},
        {"\xEF\xBB\xBF", ""},
        {"\r\n\r\n", ""},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct text out;
        struct err err = {0};
        text_init(&out, 4096);
        flatten(rows[i].csv, strlen(rows[i].csv), &out, &err);
        if (err.code != ERR_NONE)
            fail_msg("row %zu: %s", i, err.text);
        assert_string_equal(out.bytes, rows[i].cells);
        text_release(&out);
    }
}

static void test_what_is_refused(void **state) {
    (void)state;
    static const struct {
        const char *csv;
        size_t length; /* 0: to the NUL */
        const char *field;
    } rows[] = {
        {"a,b\n\"c,d\n", 0, "row 2"},
        {"a,b\n\"", 0, "row 2"},
        {"a,b\n\"c\"\"", 0, "row 2"},
        {"a,b\n\"c\"x,d\n", 0, "row 2"},
        {"a,b\n\"c\" ,d\n", 0, "row 2"},
        {"a,b\nc\"d\",e\n", 0, "row 2"},
        {"a,b\n \"c\",e\n", 0, "row 2"},
        {"a,b\rc,d\r", 0, "row 1"},
        {"a,b\nc\r", 0, "row 2"},
        {"a,b\n\"c\"\rd,e", 0, "row 2"},
        {"a,b\nc\n", 0, "row 2"},
        {"\n\na,b\nc,d,e\n", 0, "row 4"},
        {"a,b\n\nc,d,e\n", 0, "row 3"},       /* the empty row counts, as on the screen */
        {"a,b\n\"x\ny\",1\nc\n", 0, "row 3"}, /* a cell of two lines is one row */
        {"a,b\0c\n", 6, ""},
        {"\xFF\xFE"
         "a\0,\0",
         6, ""},
        {"\xFE\xFF\0a", 4, ""},
        {"a\0,\0b\0\n\0", 8, ""},                          /* UTF-16 without a mark */
        {",,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,x", 0, "row 1"}, /* one column too many */
        {"a,b\n1,2,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,\n", 0, "row 2"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct text out;
        struct err err = {0};
        text_init(&out, 4096);
        size_t length = rows[i].length > 0 ? rows[i].length : strlen(rows[i].csv);
        flatten(rows[i].csv, length, &out, &err);
        if (err.code != ERR_BAD_CSV || strcmp(err.field, rows[i].field) != 0)
            fail_msg("row %zu: %s at \"%s\"", i, err_name(err.code), err.field);
        text_release(&out);
    }
}

/* Any bytes whatever: read to the end or refused, never beyond the end (the
 * sanitizers watch), and never more cells than bytes. */
static void test_any_bytes(void **state) {
    (void)state;
    static const char alphabet[] = {'"', '"', ',', '\n', '\r', 'a', '\xC3'};
    unsigned x = 1;
    for (int round = 0; round < 50000; round++) {
        size_t length = (size_t)round % 24;
        char *bytes = malloc(length + 1);
        assert_non_null(bytes);
        for (size_t i = 0; i < length; i++) {
            x = x * 1664525u + 1013904223u;
            bytes[i] = alphabet[(x >> 24) % sizeof alphabet];
        }
        struct csv_reader reader;
        struct err err = {0};
        assert_int_equal(csv_reader_init(&reader, bytes, length, &err), 0);
        size_t rows = 0;
        int row;
        while ((row = csv_reader_next(&reader, &err)) > 0)
            rows++;
        assert_true(rows <= length + 1);
        assert_int_equal(row, err.code == ERR_NONE ? 0 : -1);
        csv_reader_release(&reader);
        free(bytes);
    }
}

/* Long inputs of every shape that could tempt a reader into going over them again:
 * what is not linear here does not end within the suite's time. */
static void test_long_inputs(void **state) {
    (void)state;
    enum { ROWS = 1000000 };
    static const struct {
        const char *first, *piece, *last;
        size_t rows;
        const char *field; /* NULL: read to the end */
    } shapes[] = {
        {"a,b\n", "1,2\n", "", ROWS + 1, NULL},
        {"a\r\n", "1\r\n", "2", ROWS + 2, NULL},
        {"a,b\n", "\"\",1\r\n", "", ROWS + 1, NULL},
        {"", "\n", "a,b\n1,2", 2, NULL},    /* a million empty rows */
        {"a\n\"", "\"\"", "\"\n", 2, NULL}, /* one cell of a million quotes */
        {"a\n\"", "\n", "\"\n", 2, NULL},   /* one cell of a million lines */
        {"a\n", "x", "\n", 2, NULL},        /* one long word */
        {"a\n\"", "1,2\n", "", 1, "row 2"}, /* a quote that swallows the rest */
        {"a,b\n", "1,2\n", "3", ROWS + 1, "row 1000002"},
        {"a,b\n", "\n", "3", 1, "row 1000002"},
    };
    for (size_t i = 0; i < COUNT_OF(shapes); i++) {
        struct text bytes;
        struct csv_reader reader;
        struct err err = {0};
        text_init(&bytes, (size_t)16 << 20);
        text_put(&bytes, shapes[i].first);
        for (int k = 0; k < ROWS; k++)
            text_put(&bytes, shapes[i].piece);
        text_put(&bytes, shapes[i].last);
        assert_false(bytes.failed);
        assert_int_equal(csv_reader_init(&reader, bytes.bytes, bytes.length, &err), 0);
        size_t rows = 0;
        int row;
        while ((row = csv_reader_next(&reader, &err)) > 0)
            rows++;
        assert_int_equal(row, shapes[i].field == NULL ? 0 : -1);
        assert_int_equal(rows, shapes[i].rows);
        assert_string_equal(err.field, shapes[i].field != NULL ? shapes[i].field : "");
        csv_reader_release(&reader);
        text_release(&bytes);
    }
}

static void test_there_and_back(void **state) {
    (void)state;
    static const char *const cells[] = {"plain",      "",         "a,b",
                                        "say \"so\"", "\"",       "two\nlines",
                                        "cr\r\nlf",   " blanks ", "\xC3\xA9t\xC3\xA9",
                                        ",",          "\"\"\""};
    struct text text, out, expected;
    struct csv_writer csv;
    struct err err = {0};
    text_init(&text, 65536);
    text_init(&out, 65536);
    text_init(&expected, 65536);
    csv_writer_init(&csv, &text);
    for (size_t row = 0; row < 3; row++) {
        for (size_t i = 0; i < COUNT_OF(cells); i++) {
            csv_write_text(&csv, cells[i]);
            text_format(&expected, "%s%s", i > 0 ? "|" : "", cells[i]);
        }
        csv_write_row_end(&csv);
        text_put(&expected, ";");
    }
    flatten(text.bytes, text.length, &out, &err);
    assert_int_equal(err.code, ERR_NONE);
    assert_string_equal(out.bytes, expected.bytes);
    text_release(&text);
    text_release(&out);
    text_release(&expected);
}

static void test_values_written(void **state) {
    (void)state;
    struct text text;
    struct csv_writer csv;
    text_init(&text, 4096);
    csv_writer_init(&csv, &text);
    csv_write_real(&csv, -70.6);
    csv_write_real(&csv, NAN);
    csv_write_real(&csv, INFINITY);
    csv_write_integer(&csv, -12);
    csv_write_instant(&csv, 0.5, INSTANT_SHORTEST);
    csv_write_instant(&csv, NAN, 3);
    csv_write_row_end(&csv);
    csv_write_real(&csv, NAN); /* an empty first cell still parts from the next */
    csv_write_integer(&csv, 1);
    csv_write_row_end(&csv);
    assert_string_equal(text.bytes, "-70.6,,,-12,1970-01-01T00:00:00.5Z,\r\n,1\r\n");
    text_release(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_is_read),   cmocka_unit_test(test_what_is_refused),
        cmocka_unit_test(test_any_bytes),      cmocka_unit_test(test_long_inputs),
        cmocka_unit_test(test_there_and_back), cmocka_unit_test(test_values_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
