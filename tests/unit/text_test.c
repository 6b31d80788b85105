/* SPDX-License-Identifier: MIT */
/* text: growth up to the maximum and not a byte beyond, failure that stays, and
 * who owns the bytes. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/base/text.h"

static void test_an_empty_buffer(void **state) {
    (void)state;
    struct text text;
    text_init(&text, 10);
    assert_string_equal(text.bytes, "");
    assert_int_equal(text.length + text.capacity, 0);
    text_put(&text, "");
    text_add(&text, NULL, 0);
    assert_string_equal(text.bytes, "");
    assert_false(text.failed);
    text_release(&text);
    text_release(&text); /* twice is harmless */
    assert_int_equal(text.maximum, 10);
}

/* Byte by byte and at once, with each way of adding, to maxima about the first
 * capacity: full is not failed, one more is, and what was there stays. */
static void test_the_maximum_is_exact(void **state) {
    (void)state;
    static const size_t maxima[] = {0, 1, 2, 254, 255, 256, 257, 1000, 65536};
    char *bytes = malloc(65537);
    assert_non_null(bytes);
    memset(bytes, 'a', 65536);
    bytes[65536] = '\0';
    for (size_t i = 0; i < COUNT_OF(maxima); i++) {
        for (int way = 0; way < 3; way++) {
            struct text text;
            text_init(&text, maxima[i]);
            if (way == 0)
                text_add(&text, bytes, maxima[i]);
            else if (way == 1)
                text_format(&text, "%.*s", (int)maxima[i], bytes);
            else
                for (size_t at = 0; at < maxima[i]; at++)
                    text_put(&text, "a");
            assert_false(text.failed);
            assert_int_equal(text.length, maxima[i]);
            assert_true(text.capacity <= maxima[i] + 1);
            if (way == 0)
                text_add(&text, "b", 1);
            else if (way == 1)
                text_format(&text, "%c", 'b');
            else
                text_put(&text, "b");
            assert_true(text.failed);
            assert_int_equal(text.length, maxima[i]);
            assert_memory_equal(text.bytes, bytes, maxima[i]);
            assert_int_equal(text.bytes[maxima[i]], '\0');
            text_release(&text);
            assert_false(text.failed);
        }
    }
    free(bytes);
}

static void test_failure_stays(void **state) {
    (void)state;
    struct text text;
    text_init(&text, 5);
    text_put(&text, "abc");
    text_put(&text, "def");
    text_put(&text, "d"); /* would fit, but what came before did not */
    text_format(&text, "%d", 1);
    assert_true(text.failed);
    assert_string_equal(text.bytes, "abc");
    assert_null(text_take(&text));
    assert_string_equal(text.bytes, "abc");
    text_add(&text, "x", (size_t)-1); /* a length that would wrap */
    assert_string_equal(text.bytes, "abc");
    text_release(&text);
    text_add(&text, "x", (size_t)-1);
    assert_true(text.failed);
    text_release(&text);
}

static void test_bytes_are_handed_over(void **state) {
    (void)state;
    struct text text;
    text_init(&text, 1000);
    char *taken = text_take(&text); /* nothing is a text too */
    assert_string_equal(taken, "");
    free(taken);
    text_format(&text, "%s-%03d", "run", 7);
    text_add(&text, "\0z", 2);
    assert_int_equal(text.length, 9);
    taken = text_take(&text);
    assert_memory_equal(taken, "run-007\0z", 10);
    assert_string_equal(text.bytes, "");
    assert_int_equal(text.length, 0);
    text_put(&text, "again"); /* does not touch what was taken */
    assert_memory_equal(taken, "run-007\0z", 10);
    assert_string_equal(text.bytes, "again");
    free(taken);
    text_release(&text);
}

/* Many small pieces: every one is there, in order. */
static void test_growth_keeps_all(void **state) {
    (void)state;
    enum { PIECES = 100000 };
    struct text text;
    text_init(&text, 1 << 20);
    for (int i = 0; i < PIECES; i++)
        text_format(&text, "%05d,", i);
    assert_int_equal(text.length, 6 * PIECES);
    for (int i = 0; i < PIECES; i += 997) {
        char piece[16];
        snprintf(piece, sizeof piece, "%05d,", i);
        assert_memory_equal(text.bytes + 6 * i, piece, 6);
    }
    text_release(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_an_empty_buffer),  cmocka_unit_test(test_the_maximum_is_exact),
        cmocka_unit_test(test_failure_stays),    cmocka_unit_test(test_bytes_are_handed_over),
        cmocka_unit_test(test_growth_keeps_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
