/* SPDX-License-Identifier: MIT */
/* The writer held up, and the store that takes no more: what waits is bounded,
 * the rest is told when to come again, and the service says what is the matter. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <signal.h>
#include <sqlite3.h>
#include <sys/resource.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/openmetrics.h"
#include "tests/support/raw.h"
#include "tests/support/served.h"

#define QUEUE 8
#define PATIENCE_MS 20000

static struct served served;
static int made; /* so that every site has a name of its own */

static void assert_health(long status, const char *says) {
    json_t *health = http_get(served.base, "/health", status);
    assert_string_equal(json_string_value(json_object_get(health, "status")), says);
    json_decref(health);
    health = http_get(served.base, "/health/live", 200);
    assert_string_equal(json_string_value(json_object_get(health, "status")), "alive");
    json_decref(health);
}

static void say_write(int socket_of) {
    char words[512], body[200];
    int length = snprintf(
        body, sizeof body,
        "{\"site\":\"waits-%d\",\"name\":\"Waits %d\",\"lat_deg\":1,\"lon_deg\":2}", made, made);
    made++;
    snprintf(words, sizeof words,
             "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nConnection: close\r\n"
             "Content-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
             length, body);
    raw_say(socket_of, words);
}

static void wait_for_waiting(double wanted) {
    double found = -1.0;
    for (int i = 0; i < 100 && found != wanted; i++) {
        struct answer answer;
        usleep(i == 0 ? 0 : 20000);
        http_ask(served.base, &(struct ask){.path = "/metrics"}, &answer);
        found = openmetrics_value(answer.body.bytes, "noonarc_writer_waiting");
        answer_release(&answer);
    }
    assert_true(found == wanted);
}

/* Another process has the store's write lock. As many as may wait do so; the
 * others are answered at once; and when the lock is given back the first are. */
static void the_queue_is_full(void **state) {
    enum { SURPLUS = 30 };
    int waiting[QUEUE], surplus[SURPLUS];
    static char answer[8192];
    sqlite3 *lock;
    (void)state;
    assert_int_equal(sqlite3_open(served.store, &lock), SQLITE_OK);
    assert_int_equal(sqlite3_exec(lock, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    for (int i = 0; i < QUEUE; i++) {
        waiting[i] = raw_dial(served.base, "127.0.0.1");
        say_write(waiting[i]);
    }
    wait_for_waiting(QUEUE);
    for (int i = 0; i < SURPLUS; i++) {
        surplus[i] = raw_dial(served.base, "127.0.0.1");
        say_write(surplus[i]);
    }
    for (int i = 0; i < SURPLUS; i++) {
        assert_int_equal(raw_hear(surplus[i], PATIENCE_MS, answer, sizeof answer), 503);
        assert_non_null(strstr(answer, "\"code\":\"busy\""));
        assert_non_null(strstr(answer, "Retry-After: 2\r\n"));
        close(surplus[i]);
    }
    assert_health(503, "busy");
    json_decref(http_get(served.base, "/api/v1/sites", 200));
    assert_int_equal(sqlite3_exec(lock, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(lock);
    for (int i = 0; i < QUEUE; i++) {
        assert_int_equal(raw_hear(waiting[i], PATIENCE_MS, answer, sizeof answer), 201);
        close(waiting[i]);
    }
    assert_health(200, "ready");
}

#define HALF_A_BODY                                                                                \
    "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"                 \
    "Content-Length: 262144\r\n\r\n"

/* A MiB of bodies may be held: five of 200 KB that never come whole leave room for
 * one of a few bytes, not for one of 100 KB. */
static void too_much_is_being_sent(void **state) {
    enum { STALLED = 5, PIECE = 200000, MORE = 100000 };
    static char piece[PIECE + 1];
    int sockets[STALLED];
    struct answer answer;
    (void)state;
    memset(piece, ' ', PIECE);
    for (int i = 0; i < STALLED; i++) {
        sockets[i] = raw_dial(served.base, "127.0.0.1");
        raw_say(sockets[i], HALF_A_BODY);
        raw_say(sockets[i], piece);
    }
    double held = 0.0;
    for (int i = 0; i < 100 && held < STALLED * PIECE; i++) {
        usleep(20000);
        http_ask(served.base, &(struct ask){.path = "/metrics"}, &answer);
        held = openmetrics_value(answer.body.bytes, "noonarc_http_bodies_bytes");
        answer_release(&answer);
    }
    assert_true(held == STALLED * PIECE);
    const struct ask large = {.method = "POST",
                              .path = "/api/v1/sites",
                              .type = "application/json",
                              .body = piece,
                              .length = MORE};
    http_ask(served.base, &large, &answer);
    answer_assert_problem(&answer, 503, "busy", NULL);
    assert_true(answer_header_is(&answer, "Retry-After", "2"));
    answer_release(&answer);
    json_decref(http_send(served.base, "POST", "/api/v1/sites", NULL,
                          "{\"name\":\"Small School\",\"lat_deg\":1,\"lon_deg\":2}", 201));
    for (int i = 0; i < STALLED; i++)
        close(sockets[i]);
    for (int i = 0; i < 100; i++) {
        http_ask(served.base, &large, &answer);
        long status = answer.status;
        answer_release(&answer);
        if (status == 400) /* blanks are no JSON; and they were read */
            return;
        usleep(20000);
    }
    fail_msg("what was held was not given back");
}

/* No file may grow: as on a full disk. Writes are refused, reads go on, and when
 * there is room again so do writes. */
static void the_disk_is_full(void **state) {
    static const char site[] = "{\"name\":\"Late School\",\"lat_deg\":1,\"lon_deg\":2}";
    const struct rlimit nothing = {.rlim_cur = 0, .rlim_max = RLIM_INFINITY};
    const struct rlimit all = {.rlim_cur = RLIM_INFINITY, .rlim_max = RLIM_INFINITY};
    struct answer answer;
    (void)state;
    assert_health(200, "ready");
    assert_int_equal(prlimit(served.pid, RLIMIT_FSIZE, &nothing, NULL), 0);
    const struct ask ask = {
        .method = "POST", .path = "/api/v1/sites", .type = "application/json", .body = site};
    http_ask(served.base, &ask, &answer);
    answer_assert_problem(&answer, 503, "storage", NULL);
    assert_true(answer_header_is(&answer, "Retry-After", "2"));
    answer_release(&answer);
    assert_health(503, "store unwritable");
    json_decref(http_get(served.base, "/api/v1/sites", 200));
    assert_int_equal(prlimit(served.pid, RLIMIT_FSIZE, &all, NULL), 0);
    http_ask(served.base, &ask, &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    assert_health(200, "ready");
}

static int start(void **state) {
    char number[16];
    (void)state;
    /* Inherited: a write beyond the limit fails instead of ending the process. */
    signal(SIGXFSZ, SIG_IGN);
    snprintf(number, sizeof number, "%d", QUEUE);
    setenv("NOONARC_QUEUE", number, 1);
    setenv("NOONARC_BODIES", "1", 1);
    served_init(&served);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_queue_is_full),
        cmocka_unit_test(too_much_is_being_sent),
        cmocka_unit_test(the_disk_is_full),
    };
    return cmocka_run_group_tests_name("http full", tests, start, stop);
}
