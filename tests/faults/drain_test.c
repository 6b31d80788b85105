/* SPDX-License-Identifier: MIT */
/* drain: SIGTERM under load. Whoever had sent a whole request before it is answered,
 * on old connections and on ones that nobody has accepted yet, also while all of them
 * wait for the store; what was answered is there, what was not answered is not. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>
#include <pthread.h>
#include <signal.h>
#include <sqlite3.h>
#include <unistd.h>

#include "tests/support/line.h"
#include "tests/support/load.h"
#include "tests/support/served.h"
#include "tests/support/simulate.h"

#define SEED 20270621u
#define ROUNDS 12
#define CALLERS 180
#define LOADS 12
#define LOAD_MAX_MS 120

static struct line caller[CALLERS];
static struct text answer;

/* Each registers a site; its connection may be open from before. */
static void send_site(int round, int at) {
    char body[200];
    snprintf(body, sizeof body,
             "{\"site\":\"site-%d-%d\",\"name\":\"School %d of %d\",\"lat_deg\":%d,\"lon_deg\":%d}",
             round, at, at, round, at % 60, 20 + round);
    assert_int_equal(
        line_send(&caller[at], &(struct line_request){.path = "/api/v1/sites", .body = body}), 0);
}

static long ask_sqlite(const char *store, const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open_v2(store, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &row, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(row), SQLITE_ROW);
    long found = (long)sqlite3_column_int64(row, 0);
    sqlite3_finalize(row);
    sqlite3_close(db);
    return found;
}

static void hold(sqlite3 **other, const char *store) {
    assert_int_equal(sqlite3_open(store, other), SQLITE_OK);
    assert_int_equal(sqlite3_exec(*other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
}

static void let_go(sqlite3 *other) {
    assert_int_equal(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_close(other), SQLITE_OK);
}

static void assert_check_passes(const struct served *served) {
    char said[256];
    int status = served_command(served, "check", NULL, said, sizeof said);
    if (status != 0 || strstr(said, ": 0 differences") == NULL)
        fail_msg("noonarcd check: %d: %s", status, said);
}

/* Half of the callers on connections that the server knows, half on new ones; in
 * every other round the store is held, so that all of it queues up. */
static void one_round(struct served *served, int round) {
    sqlite3 *other = NULL;
    bool held = round % 2 == 1;
    long before = ask_sqlite(served->store, "SELECT COUNT(*) FROM site");
    for (int i = 0; i < CALLERS; i++) {
        line_init(&caller[i], served->base);
        if (i % 2 == 0)
            assert_int_equal(line_ask(&caller[i],
                                      &(struct line_request){.method = "GET", .path = "/health"},
                                      &answer),
                             200);
    }
    if (held)
        hold(&other, served->store);
    for (int i = 0; i < CALLERS; i++)
        send_site(round, i);
    kill(served->pid, SIGTERM);
    if (held) {
        usleep(100000);
        let_go(other);
    }
    for (int i = 0; i < CALLERS; i++) {
        int status = line_hear(&caller[i], &answer);
        if (status != 201)
            fail_msg("round %d, caller %d: %d %s", round, i, status, answer.bytes);
        line_close(&caller[i]);
    }
    assert_int_equal(served_stop(served, SIGTERM), 0);
    assert_int_equal(ask_sqlite(served->store, "SELECT COUNT(*) FROM site"), before + CALLERS);
    served_start(served);
}

static void what_was_sent_is_answered(void **state) {
    static struct served served;
    (void)state;
    text_init(&answer, 1u << 20);
    served_init(&served);
    for (int round = 0; round < ROUNDS; round++)
        one_round(&served, round);
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    assert_check_passes(&served);
    served_release(&served);
    text_release(&answer);
    print_message("survived %d stops with %d requests sent before each: all answered\n", ROUNDS,
                  CALLERS);
}

static void what_was_answered_is_there(void **state) {
    static struct served served;
    static struct load load;
    struct chance chance = chance_seeded(SEED);
    (void)state;
    served_init(&served);
    load_init(&load, &served, SEED);
    for (int i = 0; i < LOADS; i++) {
        load_start(&load, &served);
        usleep((useconds_t)(1000 * (20 + chance_even(&chance) * LOAD_MAX_MS)));
        assert_int_equal(served_stop(&served, SIGTERM), 0);
        load_end(&load, false);
        load_assert_store(&load, served.store);
        served_start(&served);
    }
    load_replay(&load, &served, NULL);
    /* As many as were answered, and no more: nothing happened without an answer. */
    char sql[] = "SELECT COUNT(*) FROM run";
    assert_int_equal(ask_sqlite(served.store, sql), load_answered(&load));
    assert_true(load_answered(&load) > 10u * LOADS);
    print_message("survived %d stops under load: %zu runs answered, all there, no other\n", LOADS,
                  load_answered(&load));
    load_release(&load);
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    assert_check_passes(&served);
    served_release(&served);
}

int main(void) {
    /* What is tested here is not the limits of one address. */
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_sent_is_answered),
        cmocka_unit_test(what_was_answered_is_there),
    };
    return cmocka_run_group_tests_name("faults: drain", tests, NULL, NULL);
}
