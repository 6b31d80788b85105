/* SPDX-License-Identifier: MIT */
/* utf8 and field: what is text, what is a name, what is an identifier. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/wire/field.h"
#include "server/wire/records.h"
#include "server/wire/utf8.h"

/* RFC 3629 (Yergeau 2003), sec. 7: the examples with their code points. */
static void test_examples_of_the_standard(void **state) {
    (void)state;
    static const struct {
        const char *bytes;
        uint32_t codes[4];
    } rows[] = {
        {"\x41\xE2\x89\xA2\xCE\x91\x2E", {0x41, 0x2262, 0x391, 0x2E}},
        {"\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4", {0xD55C, 0xAD6D, 0xC5B4}},
        {"\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E", {0x65E5, 0x672C, 0x8A9E}},
        {"\xEF\xBB\xBF\xF0\xA3\x8E\xB4", {0xFEFF, 0x233B4}},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        const char *at = rows[i].bytes, *end = at + strlen(at);
        uint32_t code;
        for (size_t c = 0; c < 4 && rows[i].codes[c] != 0; c++) {
            assert_true(utf8_next(&at, end, &code));
            assert_int_equal(code, rows[i].codes[c]);
        }
        assert_ptr_equal(at, end);
        assert_false(utf8_next(&at, end, &code));
    }
}

/* RFC 3629 sec. 3 and 10: no longer forms than needed, no surrogates, nothing
 * beyond U+10FFFF, no lone or missing continuation. */
static void test_what_is_not_utf8(void **state) {
    (void)state;
    static const char *const wrong[] = {
        "\x80",
        "\xBF",
        "\xC0\x80",
        "\xC1\xBF",
        "\xE0\x80\xAF",
        "\xE0\x9F\xBF",
        "\xF0\x80\x80\xAF",
        "\xF0\x8F\xBF\xBF",
        "\xED\xA0\x80", /* U+D800 */
        "\xED\xBF\xBF",
        "\xF4\x90\x80\x80", /* U+110000 */
        "\xF8\x88\x80\x80\x80",
        "\xFE",
        "\xFF",
        "\xC3",
        "\xC3\x28",
        "\xE2\x82",
        "\xE2\x28\xA1",
        "\xF0\x9F\x8C",
        "Caf\xE9", /* Latin-1 */
    };
    for (size_t i = 0; i < COUNT_OF(wrong); i++)
        if (field_text_is_clean(wrong[i], strlen(wrong[i]), false))
            fail_msg("row %zu was taken", i);
    /* the length given counts, not what stands behind it */
    assert_false(field_text_is_clean("\xC3\xA9", 1, false));
    assert_true(field_text_is_clean("\xC3\xA9", 2, false));
}

static void test_texts_and_names(void **state) {
    (void)state;
    static const struct {
        const char *text;
        bool is_text, is_name;
    } rows[] = {
        {"", true, false},
        {"Colegio Los Aromos", true, true},
        {"5th school", true, true},
        {"\xC3\x89"
         "cole du Lac",
         true, true},
        {"\xD0\xA8\xD0\xBA\xD0\xBE\xD0\xBB\xD0\xB0", true, true},
        {"\xE5\xB0\x8F\xE5\xAD\xA6\xE6\xA0\xA1", true, true},
        {"\xD9\x85\xD8\xAF\xD8\xB1\xD8\xB3\xD8\xA9", true, true},
        {"\xE0\xA4\xB5\xE0\xA4\xBF\xE0\xA4\xA6\xE0\xA5\x8D\xE0\xA4\xAF\xE0\xA4\xBE", true, true},
        {"=1+2", true, false},
        {"+49", true, false},
        {"-x", true, false},
        {"@sum", true, false},
        {"\xEF\xBC\x9D"
         "1",
         true, false}, /* full-width = */
        {"\xEF\xBC\x8B"
         "1",
         true, false},
        {"\xEF\xBC\xA0"
         "x",
         true, false},
        {"\xEF\xBC\x91", true, true}, /* full-width digit one */
        {"\"quoted\"", true, false},
        {"'x", true, false},
        {" x", true, false},
        {"x ", true, false},
        {"x\xC2\xA0", true, false},     /* no-break space */
        {"\xE2\x80\x8Bx", true, false}, /* zero-width space */
        {"\xCC\x81"
         "e",
         true, false},                     /* a combining mark on nothing */
        {"\xE2\x82\xAC", true, false},     /* euro sign */
        {"\xF0\x9F\x8C\x9E", true, false}, /* an emoji */
        {"tab\there", false, false},
        {"line\nbreak", false, false},
        {"cr\r", false, false},
        {"bell\a", false, false},
        {"del\x7F", false, false},
        {"nel\xC2\x85", false, false},
        {"\xE2\x80\xA8", false, false}, /* line separator */
        {"a\xE2\x80\xAE"
         "b",
         false, false}, /* turns the reading direction */
        {"a\xE2\x81\xA6"
         "b",
         false, false},
        {"\xEF\xBB\xBFx", false, false},
        {"\xEF\xBF\xBF", false, false},
        {"\xF3\xA0\x81\x81", false, false}, /* tag letter A */
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        size_t length = strlen(rows[i].text);
        if (field_text_is_clean(rows[i].text, length, false) != rows[i].is_text ||
            field_text_is_clean(rows[i].text, length, true) != rows[i].is_name)
            fail_msg("row %zu: \"%s\"", i, rows[i].text);
    }
}

static void test_identifiers(void **state) {
    (void)state;
    static const char *const right[] = {"a", "7", "2027-03-21", "Los_Aromos.2",
                                        "a123456789012345678901234567890123456789"};
    static const char *const wrong[] = {
        "",    "-a",   ".",        "..",  "_a",  "a b",
        "a/b", "a%2F", "\xC3\xA9", "a\n", "a,b", "a1234567890123456789012345678901234567890"};
    for (size_t i = 0; i < COUNT_OF(right); i++)
        assert_true(field_is_id(right[i]));
    for (size_t i = 0; i < COUNT_OF(wrong); i++)
        assert_false(field_is_id(wrong[i]));
}

static void test_shown_text_is_always_clean(void **state) {
    (void)state;
    char out[12];
    utf8_show("short", out, sizeof out);
    assert_string_equal(out, "short");
    utf8_show("elevenchars", out, sizeof out);
    assert_string_equal(out, "elevenchars");
    utf8_show("twelve chars", out, sizeof out);
    assert_string_equal(out, "twelve c\xE2\x80\xA6");
    utf8_show("\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9", out, sizeof out);
    assert_string_equal(out, "\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9\xE2\x80\xA6");
    utf8_show("a\nb\xFF\xC3", out, sizeof out);
    assert_string_equal(out, "a?b??");
    /* any bytes at all */
    for (unsigned seed = 1; seed < 20000; seed++) {
        char bytes[24];
        unsigned x = seed * 2654435761u;
        for (size_t i = 0; i < sizeof bytes - 1; i++, x = x * 1664525u + 1013904223u)
            bytes[i] = (char)(1 + (x >> 24) % 255);
        bytes[sizeof bytes - 1] = '\0';
        utf8_show(bytes, out, sizeof out);
        assert_true(strlen(out) < sizeof out);
        assert_true(field_text_is_clean(out, strlen(out), false));
    }
}

static void test_cut_between_characters(void **state) {
    (void)state;
    const char *text = "a\xC3\xA9\xE2\x82\xAC\xF0\x9F\x8C\x9E";
    static const size_t whole[] = {0, 1, 1, 3, 3, 3, 6, 6, 6, 6, 10, 10};
    for (size_t maximum = 0; maximum < COUNT_OF(whole); maximum++)
        assert_int_equal(utf8_cut(text, strlen(text), maximum), whole[maximum]);
}

/* Each table's rows must make sense by themselves. */
static void check_table(const struct field_table *table) {
    assert_true(table->fields > 0 && table->fields <= FIELD_TABLE_MAX);
    for (size_t i = 0; i < table->fields; i++) {
        const struct field *field = &table->field[i];
        if (field->key != NULL)
            assert_ptr_equal(field_find(table, field->key, strlen(field->key)),
                             field); /* no key twice */
        if (field->kind == FIELD_REAL || field->kind == FIELD_RUN_ID || field->kind == FIELD_LIST)
            assert_true(field->min < field->max);
        if (field->kind == FIELD_TEXT || field->kind == FIELD_NAME || field->kind == FIELD_ZONE ||
            field->kind == FIELD_ID)
            assert_true(field->size > 1);
        if (field->inner != NULL)
            check_table(field->inner);
    }
}

static void test_tables(void **state) {
    (void)state;
    check_table(&site_fields);
    check_table(&day_fields);
    check_table(&run_fields);
    check_table(&reading_row_fields);
    assert_null(field_find(&site_fields, "Site", 4));
}

static void test_a_long_text_changes_nothing(void **state) {
    (void)state;
    struct site_record site;
    site_record_init(&site);
    const struct field *contact = field_find(&site_fields, "contact", 7);
    char text[CONTACT_MAX + 2];
    memset(text, 'x', sizeof text);
    text[CONTACT_MAX + 1] = '\0';
    struct err err = {0};
    assert_int_equal(field_set_text(contact, text, CONTACT_MAX + 1, &site, &err), -1);
    assert_int_equal(err.code, ERR_OUT_OF_RANGE);
    assert_string_equal(err.field, ""); /* the caller knows it better */
    assert_string_equal(site.contact, "");
    err_clear(&err);
    /* and no NUL need stand behind a text */
    assert_int_equal(field_set_text(contact, text, CONTACT_MAX, &site, &err), 0);
    text[CONTACT_MAX] = '\0';
    assert_string_equal(site.contact, text);
    assert_int_equal(field_set_text(contact, "a\0b", 3, &site, &err), -1);
    assert_int_equal(err.code, ERR_BAD_TEXT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_examples_of_the_standard),
        cmocka_unit_test(test_what_is_not_utf8),
        cmocka_unit_test(test_texts_and_names),
        cmocka_unit_test(test_identifiers),
        cmocka_unit_test(test_shown_text_is_always_clean),
        cmocka_unit_test(test_cut_between_characters),
        cmocka_unit_test(test_tables),
        cmocka_unit_test(test_a_long_text_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
