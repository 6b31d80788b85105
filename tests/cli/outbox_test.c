/* SPDX-License-Identifier: MIT */
/* What becomes of a run when the network or the server fails, at any point. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "tests/support/deadend.h"
#include "tests/support/desk.h"

#define READINGS                                                                                   \
    "--reading", "2027-03-20T11:34:43Z=3134", "--reading", "2027-03-20T11:54:43Z=3109",            \
        "--reading", "2027-03-20T12:14:43Z=3134"
#define SUBMIT "submit", "2027-03-20", "hillside", "--gnomon", "2880+300", READINGS

static int setup(void **state) {
    static struct desk desk;
    desk_init(&desk);
    snprintf(desk.key, sizeof desk.key, "ABCDE-FGHJK");
    *state = &desk;
    return 0;
}

static int teardown(void **state) {
    desk_release(*state);
    return 0;
}

static void reach(struct desk *desk, const struct deadend *deadend) {
    snprintf(desk->server, sizeof desk->server, "%s", deadend->base);
}

/* The state of the only run in the outbox. */
static void assert_outbox(struct desk *desk, const char *wanted, const char *code) {
    struct outcome outcome;
    desk_run(desk, "", &outcome, "outbox", "list", "--all", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "outbox")), 1);
    assert_string_equal(outcome_text(&outcome, "outbox/0/state"), wanted);
    assert_string_equal(outcome_text(&outcome, "outbox/0/code"), code);
    outcome_release(&outcome);
}

static void keeps_a_run_when_nobody_answers(void **state) {
    struct desk *desk = *state;
    struct outcome outcome;
    struct stat status;
    deadend_nobody(desk->server, sizeof desk->server);
    desk_run(desk, "", &outcome, SUBMIT, "--json", NULL);
    outcome_assert_code(&outcome, 3);
    assert_string_equal(outcome_text(&outcome, "code"), "network");
    outcome_assert_near("outbox", outcome_number(&outcome, "outbox"), 1.0, 0.0);
    outcome_release(&outcome);
    assert_outbox(desk, "waiting", "network");
    assert_int_equal(stat(desk_path(desk, "state/noonarc/outbox.sqlite"), &status), 0);
    assert_int_equal(status.st_mode & 0777, 0600);
    desk_run(desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 3);
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, "days", NULL);
    outcome_assert_code(&outcome, 3);
    assert_non_null(strstr(outcome.err, "no answer from"));
    outcome_release(&outcome);
}

/* Each bad ending leaves the run waiting; the next try has the same key and body. */
static void sends_again_under_the_same_key(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_HALF, DEED_PAGE,  DEED_AWAY,
                                      DEED_BUSY,  DEED_RATE, DEED_ACCEPT};
    const int last = (int)(sizeof deeds / sizeof deeds[0]) - 1;
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    char key[256];
    deadend_start(&deadend, deeds, last + 1);
    reach(desk, &deadend);
    /* the site's position is asked for first: that is the first deed's connection */
    desk_run(desk, "", &outcome, SUBMIT, NULL);
    outcome_assert_code(&outcome, 3);
    assert_non_null(strstr(outcome.err, "kept in the outbox as number 1"));
    outcome_release(&outcome);
    for (int i = 2; i < last; i++) {
        desk_run(desk, "", &outcome, "outbox", "send", NULL);
        outcome_assert_code(&outcome, 3);
        outcome_release(&outcome);
    }
    assert_outbox(desk, "waiting", "busy");
    desk_run(desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "sent, run 7"));
    outcome_release(&outcome);
    assert_outbox(desk, "done", "");
    deadend_await(&deadend, last + 1);
    snprintf(key, sizeof key, "%s", deadend_header(&deadend, 1, "Idempotency-Key"));
    assert_int_equal(strlen(key), 32);
    for (int i = 2; i <= last; i++) {
        assert_string_equal(deadend_header(&deadend, i, "Idempotency-Key"), key);
        assert_string_equal(deadend_body(&deadend, i), deadend_body(&deadend, 1));
        assert_string_equal(deadend_header(&deadend, i, "Authorization"), "Bearer ABCDE-FGHJK");
    }
    deadend_stop(&deadend);
}

/* A registration without an answer is the same one when it is sent again, by whatever
 * process; once it was answered, the next one is another. */
static void registers_again_under_the_same_key(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_HALF, DEED_BUSY, DEED_REFUSE, DEED_REFUSE};
    static const int codes[] = {3, 3, 3, 1, 1};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    char key[256];
    deadend_start(&deadend, deeds, 5);
    reach(desk, &deadend);
    for (int i = 0; i < 5; i++) {
        desk_run(desk, "", &outcome, "register", "--name", "Hillside School", "--lat", "44.5",
                 "--lon", "3.2", NULL);
        outcome_assert_code(&outcome, codes[i]);
        outcome_release(&outcome);
    }
    deadend_await(&deadend, 5);
    snprintf(key, sizeof key, "%s", deadend_header(&deadend, 0, "Idempotency-Key"));
    assert_int_equal(strlen(key), 32);
    for (int i = 1; i < 4; i++)
        assert_string_equal(deadend_header(&deadend, i, "Idempotency-Key"), key);
    assert_string_not_equal(deadend_header(&deadend, 4, "Idempotency-Key"), key);
    deadend_stop(&deadend);
}

static void keeps_a_refused_run_with_its_reason(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_REFUSE, DEED_ACCEPT};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    deadend_start(&deadend, deeds, 3);
    reach(desk, &deadend);
    desk_run(desk, "", &outcome, SUBMIT, "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "lengths_swapped");
    outcome_release(&outcome);
    assert_outbox(desk, "refused", "lengths_swapped");
    desk_run(desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "nothing was waiting"));
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, "outbox", "show", "1", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "readings")), 3);
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, "outbox", "send", "1", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    assert_outbox(desk, "done", "");
    desk_run(desk, "", &outcome, "outbox", "drop", "--done", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("dropped", outcome_number(&outcome, "dropped"), 1.0, 0.0);
    outcome_release(&outcome);
    deadend_stop(&deadend);
}

/* SIGKILL while the server has the run and has not answered. */
static void survives_a_kill_in_the_middle(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_HANG, DEED_ACCEPT};
    static const char *const words[] = {SUBMIT, NULL};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    char key[256];
    deadend_start(&deadend, deeds, 3);
    reach(desk, &deadend);
    pid_t pid = desk_start(desk, words);
    deadend_await(&deadend, 2);
    assert_int_equal(kill(pid, SIGKILL), 0);
    assert_int_equal(waitpid(pid, NULL, 0), pid);
    assert_outbox(desk, "waiting", "");
    desk_run(desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    deadend_await(&deadend, 3);
    snprintf(key, sizeof key, "%s", deadend_header(&deadend, 1, "Idempotency-Key"));
    assert_string_equal(deadend_header(&deadend, 2, "Idempotency-Key"), key);
    deadend_stop(&deadend);
}

/* Two clients empty one outbox at once: both may send, both with one key, and the
 * one that is refused the connection does not undo the other's success. */
static void two_clients_do_no_harm(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_CLOSE, DEED_HANG, DEED_ACCEPT};
    static const char *const words[] = {"outbox", "send", NULL};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    char key[256];
    deadend_start(&deadend, deeds, 4);
    reach(desk, &deadend);
    desk_run(desk, "", &outcome, SUBMIT, NULL);
    outcome_assert_code(&outcome, 3);
    outcome_release(&outcome);
    pid_t pid = desk_start(desk, words);
    deadend_await(&deadend, 3);
    desk_run(desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    snprintf(key, sizeof key, "%s", deadend_header(&deadend, 1, "Idempotency-Key"));
    assert_string_equal(deadend_header(&deadend, 2, "Idempotency-Key"), key);
    assert_string_equal(deadend_header(&deadend, 3, "Idempotency-Key"), key);
    deadend_stop(&deadend); /* the first client's line breaks only now */
    int status;
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_int_equal(WEXITSTATUS(status), 3);
    assert_outbox(desk, "done", "");
}

/* A submit takes along what waits from before, oldest first. */
static void a_later_submit_takes_the_waiting_along(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_ACCEPT, DEED_ACCEPT};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    deadend_start(&deadend, deeds, 3);
    char nobody[64];
    deadend_nobody(nobody, sizeof nobody);
    reach(desk, &deadend);
    desk_run(desk, "", &outcome, SUBMIT, "--server", nobody, NULL);
    outcome_assert_code(&outcome, 3);
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, SUBMIT, "--json", NULL); /* another server: not taken along */
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("run", outcome_number(&outcome, "run/id"), 7.0, 0.0);
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, "outbox", "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "outbox")), 1);
    assert_string_equal(outcome_text(&outcome, "outbox/0/server"), nobody);
    outcome_release(&outcome);
    deadend_stop(&deadend);
}

static void takes_along_runs_of_the_same_server(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_BUSY, DEED_CLOSE, DEED_ACCEPT, DEED_ACCEPT};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    deadend_start(&deadend, deeds, 5);
    reach(desk, &deadend);
    desk_run(desk, "", &outcome, SUBMIT, "--note", "first", NULL);
    outcome_assert_code(&outcome, 3);
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, SUBMIT, "--note", "second", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "outbox 1, hillside on 2027-03-20: sent, run 7"));
    outcome_release(&outcome);
    assert_non_null(strstr(deadend_body(&deadend, 3), "first"));
    assert_non_null(strstr(deadend_body(&deadend, 4), "second"));
    deadend_stop(&deadend);
}

static const char typed[] = "2880+3x\n"
                            "2880+300\n"
                            "\n"           /* edge */
                            "2027-03-20\n" /* date */
                            "14:34:43 3134\n"
                            "14:54:43\n"
                            "3109\n"
                            "half past two 3\n"
                            "14:59:43 9999\n"
                            "undo\n"
                            "12:14:43Z 3134\n";

/* Typed in by hand: each entry checked at once, local times, a draft that outlives
 * the end of input, and the caution before all. */
static void asks_pin_by_pin_and_keeps_a_draft(void **state) {
    static const enum deed deeds[] = {DEED_CLOSE, DEED_CLOSE, DEED_CLOSE, DEED_ACCEPT};
    struct desk *desk = *state;
    struct deadend deadend;
    struct outcome outcome;
    deadend_start(&deadend, deeds, 4);
    reach(desk, &deadend);
    snprintf(desk->zone, sizeof desk->zone, "Africa/Nairobi"); /* UTC+3, no summer time */
    desk_run(desk, typed, &outcome, "submit", "2027-03-20", "hillside", "--ask", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome.out, "");
    assert_ptr_equal(strstr(outcome.err, "! Never look at the Sun"), outcome.err);
    assert_non_null(strstr(outcome.err, "gnomon: \"3x\" is not a length"));
    assert_non_null(strstr(outcome.err, "reading 3, time: \"half\" is not a time"));
    assert_non_null(strstr(outcome.err, "2027-03-20 11:34:43 UTC, 3134 mm"));
    assert_non_null(strstr(outcome.err, "reading 3 is struck"));
    assert_non_null(strstr(outcome.err, "your readings are kept"));
    outcome_release(&outcome);
    desk_run(desk, "", &outcome, "outbox", "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "outbox")), 0);
    outcome_release(&outcome);
    /* go on; the same date; no more readings; sky; level; send */
    desk_run(desk, "y\n\n\nclear\n\ny\n", &outcome, "submit", "2027-03-20", "hillside", "--ask",
             "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "3 readings were typed in before"));
    outcome_assert_near("run", outcome_number(&outcome, "run/id"), 7.0, 0.0);
    outcome_release(&outcome);
    json_t *sent = json_loads(deadend_body(&deadend, 3), 0, NULL);
    json_t *readings = json_object_get(sent, "readings");
    assert_int_equal(json_array_size(readings), 3);
    assert_string_equal(json_string_value(json_object_get(json_array_get(readings, 0), "time")),
                        "2027-03-20T11:34:43Z");
    assert_string_equal(json_string_value(json_object_get(json_array_get(readings, 2), "time")),
                        "2027-03-20T12:14:43Z");
    assert_string_equal(json_string_value(json_object_get(sent, "sky")), "clear");
    json_decref(sent);
    deadend_stop(&deadend);
}

static void a_damaged_outbox_is_local_trouble(void **state) {
    struct desk *desk = *state;
    struct outcome outcome;
    desk_run(desk, "", &outcome, "outbox", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    FILE *file = fopen(desk_path(desk, "state/noonarc/outbox.sqlite"), "w");
    assert_non_null(file);
    fputs("this is no database, and long enough to be looked at as one by SQLite: it must not "
          "be taken for an empty outbox\n",
          file);
    fclose(file);
    desk_run(desk, "", &outcome, "outbox", "--json", NULL);
    outcome_assert_code(&outcome, 4);
    assert_string_equal(outcome_text(&outcome, "code"), "storage");
    outcome_release(&outcome);
}

#define WITH_DESK(function) cmocka_unit_test_setup_teardown(function, setup, teardown)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_DESK(keeps_a_run_when_nobody_answers),
        WITH_DESK(sends_again_under_the_same_key),
        WITH_DESK(registers_again_under_the_same_key),
        WITH_DESK(keeps_a_refused_run_with_its_reason),
        WITH_DESK(survives_a_kill_in_the_middle),
        WITH_DESK(two_clients_do_no_harm),
        WITH_DESK(a_later_submit_takes_the_waiting_along),
        WITH_DESK(takes_along_runs_of_the_same_server),
        WITH_DESK(asks_pin_by_pin_and_keeps_a_draft),
        WITH_DESK(a_damaged_outbox_is_local_trouble),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
