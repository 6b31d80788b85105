/* SPDX-License-Identifier: MIT */
/* Server-sent events out of bytes: the examples of the HTML standard, section 9.2.6
 * "Interpreting an event stream", whole and one byte at a time. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "client/events.c"

static char story[4096];
static int left; /* events to hear */

static bool note(void *context, const char *name, const char *data) {
    size_t length = strlen(story);
    (void)context;
    snprintf(story + length, sizeof story - length, "%s(%s) ", name, data);
    return --left > 0;
}

static const struct {
    const char *stream, *heard, *id;
} rows[] = {
    /* The examples of the standard. */
    {"data: YHOO\ndata: +2\ndata: 10\n\n", "message(YHOO\n+2\n10) ", ""},
    {": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third "
     "event\n\n",
     "message(first event) message(second event) message( third event) ", ""},
    {"data\n\ndata\ndata\n\ndata:", "message() message(\n) ", ""},
    {"data:test\n\ndata: test\n\n", "message(test) message(test) ", ""},
    {"event: add\ndata: 73857293\n\nevent: remove\ndata: 2153\n\n", "add(73857293) remove(2153) ",
     ""},
    /* Line ends of all three kinds; fields that are not known; the end in the middle. */
    {"event: sky\r\ndata: a\r\n\r\ndata: b\r\rid: 7\nwhat: c\ndata: d\n\ndata: lost",
     "sky(a) message(b) message(d) ", "7"},
    {"event: none\n\n: beat\n\nid: 9\n\n", "", "9"},
};

static void streams_as_the_standard_reads_them(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        for (size_t piece = 1; piece <= 100; piece += 33) {
            struct events events = {0};
            size_t length = strlen(rows[i].stream);
            story[0] = '\0';
            left = 100;
            events_begin(&events);
            for (size_t at = 0; at < length; at += piece)
                assert_true(events_take(&events, rows[i].stream + at,
                                        length - at < piece ? length - at : piece, note, NULL));
            assert_string_equal(story, rows[i].heard);
            assert_string_equal(events.id, rows[i].id);
        }
}

static void it_can_be_enough(void **state) {
    struct events events = {0};
    (void)state;
    story[0] = '\0';
    left = 1;
    events_begin(&events);
    const char *stream = "retry: 2500\ndata: a\n\ndata: b\n\n";
    assert_false(events_take(&events, stream, strlen(stream), note, NULL));
    assert_string_equal(story, "message(a) ");
    assert_int_equal(events.retry_ms, 2500);
}

/* Nothing a stream says is too much. */
static void too_much(void **state) {
    struct events events = {0};
    (void)state;
    left = 100;
    events_begin(&events);
    for (int i = 0; i < 5000; i++)
        assert_true(events_take(&events, "data: 0123456789", 16, note, NULL));
    for (int i = 0; i < 5000; i++)
        assert_true(events_take(&events, "\ndata: 0123456789", 17, note, NULL));
    story[0] = '\0';
    const char *ending = "\nid: aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
                         "aaaaaaaaaaaaaaaaaaaaaa\nretry: 99999999999\n\n";
    assert_true(events_take(&events, ending, strlen(ending), note, NULL));
    assert_true(strlen(story) > 4000);
    assert_string_equal(events.id, "");
    assert_int_equal(events.retry_ms, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(streams_as_the_standard_reads_them),
        cmocka_unit_test(it_can_be_enough),
        cmocka_unit_test(too_much),
    };
    return cmocka_run_group_tests_name("events", tests, NULL, NULL);
}
