/* SPDX-License-Identifier: MIT */
/* err: the table of codes, the first error wins, and long sentences are cut
 * between characters. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/base/err.h"
#include "server/wire/field.h"

static void test_every_code_has_its_row(void **state) {
    (void)state;
    for (int i = 0; i < ERR_CODE_COUNT; i++) {
        enum err_code code = (enum err_code)i;
        const char *name = err_name(code);
        assert_int_equal(strspn(name, "abcdefghijklmnopqrstuvwxyz_"), strlen(name));
        assert_true(strlen(err_title(code)) > 0);
        assert_int_equal(err_from_name(name), code); /* so no name stands twice */
        /* RFC 9110 sec. 15: 4xx speaks of the request, 5xx of ourselves */
        bool ours =
            code == ERR_INTERNAL || code == ERR_NETWORK || code == ERR_STORAGE || code == ERR_BUSY;
        assert_int_equal(err_status(code) / 100, code == ERR_NONE ? 2 : ours ? 5 : 4);
    }
    assert_int_equal(err_from_name("no_such_code"), ERR_INTERNAL);
    assert_int_equal(err_from_name(""), ERR_INTERNAL);
}

static void test_the_first_error_wins(void **state) {
    (void)state;
    struct err err = {0};
    assert_int_equal(err_set(&err, ERR_BAD_TIME, "/time", "%d is no time", 25), -1);
    assert_int_equal(err_set(&err, ERR_INTERNAL, NULL, "and then memory ran out"), -1);
    assert_int_equal(err.code, ERR_BAD_TIME);
    assert_string_equal(err.field, "/time");
    assert_string_equal(err.text, "25 is no time");
    assert_int_equal(err_at(&err, "/elsewhere"), -1);
    assert_string_equal(err.field, "/time");
    err_clear(&err);
    assert_int_equal(err.code, ERR_NONE);
    assert_int_equal(err_at(&err, "/time"), -1); /* there is no error to be anywhere */
    assert_string_equal(err.field, "");
    assert_int_equal(err_set(&err, ERR_BUSY, NULL, "later"), -1);
    assert_int_equal(err.code, ERR_BUSY);
    assert_string_equal(err.field, "");
    assert_int_equal(err_set(NULL, ERR_BUSY, NULL, "nobody listens"), -1);
}

/* Long texts of characters of one to four bytes, begun at every place: as much as
 * fits is kept, and what is kept is UTF-8. */
static void test_long_texts_are_cut_between_characters(void **state) {
    (void)state;
    static const char *const characters[] = {"x", "\xC3\xA9", "\xE2\x82\xAC", "\xF0\x9F\x8C\x9E"};
    for (size_t c = 0; c < COUNT_OF(characters); c++) {
        const size_t bytes = strlen(characters[c]);
        for (size_t ahead = 0; ahead < 4; ahead++) {
            char given[512] = "xxx";
            struct err err = {0};
            for (size_t at = ahead; at + bytes < sizeof given; at += bytes)
                memcpy(given + at, characters[c], bytes + 1);
            err_set(&err, ERR_BAD_TEXT, given, "%s", given);
            assert_true(field_text_is_clean(err.text, strlen(err.text), false));
            assert_true(field_text_is_clean(err.field, strlen(err.field), false));
            assert_memory_equal(err.text, given, strlen(err.text));
            assert_memory_equal(err.field, given, strlen(err.field));
            assert_true(strlen(err.text) + bytes >= sizeof err.text);
            assert_true(strlen(err.field) + bytes >= sizeof err.field);
        }
    }
}

/* What was no UTF-8 before is still cut, terminated and left at that. */
static void test_long_rubbish_is_cut(void **state) {
    (void)state;
    static const char bytes[] = {'\x80', '\xBF', '\xC3', '\xE2', '\xF0', '\xFF'};
    for (size_t i = 0; i < sizeof bytes; i++) {
        char given[512];
        struct err err = {0};
        memset(given, bytes[i], sizeof given - 1);
        given[sizeof given - 1] = '\0';
        err_set(&err, ERR_BAD_TEXT, given, "%s", given);
        assert_in_range(strlen(err.text), sizeof err.text - 5, sizeof err.text - 1);
        assert_in_range(strlen(err.field), sizeof err.field - 5, sizeof err.field - 1);
    }
}

static void test_what_fits_is_kept(void **state) {
    (void)state;
    struct err err = {0};
    char given[sizeof err.text];
    memset(given, 'x', sizeof given);
    memcpy(given + sizeof given - 3, "\xC3\xA9", 3); /* ends with the last byte there is */
    err_set(&err, ERR_BAD_TEXT, NULL, "%s", given);
    assert_string_equal(err.text, given);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_code_has_its_row),
        cmocka_unit_test(test_the_first_error_wins),
        cmocka_unit_test(test_long_texts_are_cut_between_characters),
        cmocka_unit_test(test_long_rubbish_is_cut),
        cmocka_unit_test(test_what_fits_is_kept),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
