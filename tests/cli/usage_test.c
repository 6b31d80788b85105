/* SPDX-License-Identifier: MIT */
/* What the client says to words it does not understand, and its exit codes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/version.h"
#include "tests/support/desk.h"

#define WORDS 10

struct usage_row {
    const char *words[WORDS];
    int code;
    const char *problem, *field; /* code and field of the problem document */
};

static const struct usage_row rows[] = {
    {{"measure"}, 2, "unknown_field", "command"},
    {{"sun", "--latitude", "4"}, 2, "unknown_field", "--latitude"},
    {{"sun", "-x"}, 2, "unknown_field", "-x"},
    {{"sun", "--lat"}, 2, "missing_field", "--lat"},
    {{"sun", "--lat", "44,5", "--lon", "3"}, 2, "wrong_type", "--lat"},
    {{"sun", "--lat", "0x10", "--lon", "3"}, 2, "wrong_type", "--lat"},
    {{"sun", "--lat", "nan", "--lon", "3"}, 2, "wrong_type", "--lat"},
    {{"sun", "--lat", "91", "--lon", "3"}, 2, "out_of_range", "--lat"},
    {{"sun", "--lat", "4", "--lat", "5"}, 2, "out_of_range", "--lat"},
    {{"sun", "--lat", "4"}, 2, "missing_field", "--lon"},
    {{"outbox", "--all=yes"}, 2, "wrong_type", "--all"},
    {{"sun", "--lat", "4", "--lon", "3", "--date", "2027-02-29"}, 2, "bad_date", "--date"},
    {{"sun", "--lat", "4", "--lon", "3", "--date", "1950-01-01"}, 2, "out_of_range", "--date"},
    {{"sun", "here"}, 2, "missing_field", NULL},
    {{"reduce", "sites.csv"}, 2, "missing_field", NULL},
    {{"reduce", "no-such-sites.csv", "no-such-readings.csv"}, 4, "storage", "no-such-sites.csv"},
    {{"show", "shadows"}, 2, "unknown_field", "show"},
    {{"show", "day", "../sites"}, 2, "bad_text", "day"},
    {{"show", "run", "1?x"}, 2, "bad_text", "run"},
    {{"days", "--server", "ftp://example.org"}, 2, "bad_text", "--server"},
    {{"days", "--server", "http://user@example.org"}, 2, "bad_text", "--server"},
    {{"open", "spring"}, 2, "missing_field", "--date"},
    {{"open", "2027-03-20"}, 2, "wrong_key", "--key"},
    {{"join", "2027-03-20", "hillside"}, 2, "wrong_key", "--key"},
    {{"join", "2027-03-20", "hillside", "--key", "a b"}, 2, "wrong_key", "--key"},
    {{"join", "2027-03-20", "hillside", "--key-file", "no-such-file"}, 4, "storage", NULL},
    {{"import", "shadows", "x.csv"}, 2, "unknown_field", "import"},
    {{"export", "readings"}, 2, "unknown_field", "export"},
    {{"outbox", "empty"}, 2, "unknown_field", "outbox"},
    {{"outbox", "drop", "1"}, 1, "not_found", "NUMBER"},
    {{"outbox", "drop", "one"}, 2, "wrong_type", "NUMBER"},
};

static void names_the_word_that_is_wrong(void **state) {
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct outcome outcome;
        const char *words[WORDS + 1] = {NULL};
        int count = 0;
        for (; count < WORDS - 1 && rows[i].words[count] != NULL; count++)
            words[count] = rows[i].words[count];
        desk_run_words(&desk, "", &outcome, words);
        outcome_assert_code(&outcome, rows[i].code);
        assert_string_equal(outcome.out, "");
        assert_ptr_equal(strstr(outcome.err, "noonarc: "), outcome.err);
        outcome_release(&outcome);
        memmove(&words[2], &words[1], (size_t)count * sizeof words[0]);
        words[1] = "--json"; /* before the rest: at the end it would be an option's value */
        desk_run_words(&desk, "", &outcome, words);
        outcome_assert_code(&outcome, rows[i].code);
        assert_non_null(outcome.json);
        assert_string_equal(outcome.err, "");
        assert_string_equal(outcome_text(&outcome, "code"), rows[i].problem);
        if (rows[i].field != NULL)
            assert_string_equal(outcome_text(&outcome, "field"), rows[i].field);
        assert_true(strlen(outcome_text(&outcome, "detail")) > 10);
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

static void says_nothing_without_a_command(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, NULL);
    outcome_assert_code(&outcome, 2);
    assert_string_equal(outcome.out, "");
    assert_non_null(strstr(outcome.err, "exit codes"));
    outcome_release(&outcome);
    desk_release(&desk);
}

/* Every command of the overview has a page, and every page an example; the help
 * may be asked for anywhere and is not an error. */
static void helps_with_every_command(void **state) {
    static const char *const commands[] = {
        "register", "keep",     "days",    "join",   "leave",  "plan",        "noon",   "submit",
        "correct",  "withdraw", "outbox",  "show",   "export", "open",        "import", "sun",
        "reduce",   "announce", "close",   "reopen", "cancel", "move",        "blind",  "history",
        "seasons",  "season",   "approve", "refuse", "invite", "invitations", "accept"};
    (void)state;
    struct desk desk;
    struct outcome overview, page, same;
    desk_init(&desk);
    desk_run(&desk, "", &overview, "help", NULL);
    outcome_assert_code(&overview, 0);
    assert_non_null(strstr(overview.out, "Never look at the Sun"));
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        char line[32];
        snprintf(line, sizeof line, "\n  %s ", commands[i]);
        assert_non_null(strstr(overview.out, line));
        desk_run(&desk, "", &page, "help", commands[i], NULL);
        outcome_assert_code(&page, 0);
        assert_non_null(strstr(page.out, "\nexample\n  noonarc "));
        assert_non_null(strstr(page.out, "  --json"));
        desk_run(&desk, "", &same, commands[i], "nonsense", "--help", "--nonsense", NULL);
        outcome_assert_code(&same, 0);
        assert_string_equal(same.out, page.out);
        outcome_release(&page);
        outcome_release(&same);
    }
    outcome_release(&overview);
    desk_release(&desk);
}

static void says_its_version(void **state) {
    static const char *const words[] = {"--version", "version"};
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        struct outcome outcome;
        desk_run(&desk, "", &outcome, words[i], NULL);
        outcome_assert_code(&outcome, 0);
        assert_string_equal(outcome.out, "noonarc " NOONARC_VERSION "\n");
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

/* Limits are told in digits that people can type. */
static void limits_are_plain(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "correct", "day", "site", "--supersedes", "0", NULL);
    outcome_assert_code(&outcome, 2);
    assert_non_null(strstr(outcome.err, "must be 1 to 9007199254740992 "));
    outcome_release(&outcome);
    desk_release(&desk);
}

static void warns_about_keys_on_the_command_line(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "help", "submit", NULL);
    assert_non_null(strstr(outcome.out, "others on this computer can"));
    outcome_release(&outcome);
    desk_release(&desk);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_the_word_that_is_wrong),
        cmocka_unit_test(says_nothing_without_a_command),
        cmocka_unit_test(helps_with_every_command),
        cmocka_unit_test(says_its_version),
        cmocka_unit_test(limits_are_plain),
        cmocka_unit_test(warns_about_keys_on_the_command_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
