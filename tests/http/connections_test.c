/* SPDX-License-Identifier: MIT */
/* Many at once, and the end of the service. With one epoll thread libmicrohttpd
 * 0.9.75 answers nothing when exactly 128, 256, 384 ... descriptors become ready
 * together, until something else happens: hence these numbers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <signal.h>
#include <sys/socket.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/raw.h"
#include "tests/support/served.h"

#define CONNECTIONS_MAX 400
#define PATIENCE_MS 20000

static struct served served;

static int dial(void) {
    return raw_dial(served.base, "127.0.0.1");
}

static void ask_all(int count, const char *(*words_of)(int i), int wanted) {
    static int sockets[CONNECTIONS_MAX];
    char answer[8192];
    for (int i = 0; i < count; i++)
        sockets[i] = dial();
    for (int i = 0; i < count; i++)
        raw_say(sockets[i], words_of(i));
    for (int i = 0; i < count; i++) {
        int status = raw_hear(sockets[i], PATIENCE_MS, answer, sizeof answer);
        if (status != wanted)
            fail_msg("connection %d of %d: %d: %s", i, count, status, answer);
        close(sockets[i]);
    }
}

static const char *read_words(int i) {
    (void)i;
    return "GET /health HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n";
}

static int batch; /* so that every site of the test has a name of its own */

static const char *write_words(int i) {
    static char words[512];
    char body[200];
    int length =
        snprintf(body, sizeof body,
                 "{\"site\":\"many-%d-%d\",\"name\":\"Many %d-%d\",\"lat_deg\":1,\"lon_deg\":2}",
                 batch, i, batch, i);
    snprintf(words, sizeof words,
             "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nConnection: close\r\n"
             "Content-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
             length, body);
    return words;
}

static const int counts[] = {64, 127, 128, 129, 256, 384};

static void as_many_reads_at_once(void **state) {
    (void)state;
    for (int round = 0; round < 2; round++)
        for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++)
            ask_all(counts[i], read_words, 200);
}

static void as_many_writes_at_once(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        batch++;
        ask_all(counts[i], write_words, 201);
    }
}

/* One connection, many requests after each other without waiting. */
static void one_after_the_other(void **state) {
    static char answer[65536];
    int socket_of = dial();
    (void)state;
    for (int i = 0; i < 20; i++)
        raw_say(socket_of, "GET /health HTTP/1.1\r\nHost: a\r\n\r\n");
    raw_say(socket_of, read_words(0));
    assert_int_equal(raw_hear(socket_of, PATIENCE_MS, answer, sizeof answer), 200);
    int answers = 0;
    for (const char *at = answer; (at = strstr(at, "HTTP/1.1 200")) != NULL; at++)
        answers++;
    assert_int_equal(answers, 21);
    close(socket_of);
}

/* Nonsense on the wire ends that connection and no other. */
static void nonsense(void **state) {
    static const char *const words[] = {
        "\r\n\r\n\r\n",
        "GET\r\n\r\n",
        "GET / HTTP/9.9\r\n\r\n",
        "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
        "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nContent-Length: 99999999999999999999\r\n\r\n",
        "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
    };
    char answer[8192];
    (void)state;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        int socket_of = dial();
        raw_say(socket_of, words[i]);
        shutdown(socket_of, SHUT_WR);
        int status = raw_hear(socket_of, PATIENCE_MS, answer, sizeof answer);
        assert_true(status == 0 || status >= 400);
        close(socket_of);
    }
    /* A head that never ends is cut off, whether by an answer or without one. */
    int socket_of = dial();
    raw_say(socket_of, "GET / HTTP/1.1\r\nHost: a\r\n");
    for (int i = 0; i < 2000; i++)
        if (send(socket_of, "X-Filler: 0123456789012345678901234567890123456789\r\n", 52,
                 MSG_NOSIGNAL) < 0)
            break;
    int status = raw_hear(socket_of, PATIENCE_MS, answer, sizeof answer);
    assert_true(status == 0 || status >= 400);
    close(socket_of);
    /* Half a body and gone. */
    for (int i = 0; i < 50; i++) {
        socket_of = dial();
        raw_say(socket_of,
                "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nContent-Type: application/json"
                "\r\nContent-Length: 100\r\n\r\n{\"name\":");
        close(socket_of);
    }
    json_decref(http_get(served.base, "/health", 200));
}

/* A client that hangs up while its write waits for the writer loses nothing but
 * the answer. */
static void hanging_up_while_it_is_written(void **state) {
    (void)state;
    batch++;
    for (int i = 0; i < 100; i++) {
        int socket_of = dial();
        raw_say(socket_of, write_words(i));
        close(socket_of);
    }
    ask_all(1, read_words, 200);
}

/* On SIGTERM whoever has asked is answered, the answers hold after a restart,
 * and the next caller finds nobody. */
static void draining(void **state) {
    enum { ASKING = 200 };
    static int sockets[ASKING];
    static int statuses[ASKING];
    char answer[8192], path[100];
    (void)state;
    batch++;
    for (int i = 0; i < ASKING; i++)
        sockets[i] = dial();
    for (int i = 0; i < ASKING; i++)
        raw_say(sockets[i], write_words(i));
    kill(served.pid, SIGTERM);
    int answered = 0;
    for (int i = 0; i < ASKING; i++) {
        statuses[i] = raw_hear(sockets[i], PATIENCE_MS, answer, sizeof answer);
        assert_true(statuses[i] == 201 || statuses[i] == 0 || statuses[i] == 503);
        answered += statuses[i] == 201;
        close(sockets[i]);
    }
    assert_int_equal(served_stop(&served, 0), 0);
    assert_true(answered > 0);
    served_start(&served);
    for (int i = 0; i < ASKING; i++) {
        if (statuses[i] != 201)
            continue;
        snprintf(path, sizeof path, "/api/v1/sites/many-%d-%d", batch, i);
        json_decref(http_get(served.base, path, 200));
    }
}

/* An acknowledged write survives the sudden end of the process. */
static void killed(void **state) {
    char path[100];
    (void)state;
    batch++;
    ask_all(64, write_words, 201);
    assert_int_equal(served_stop(&served, SIGKILL), 128 + SIGKILL);
    served_start(&served);
    for (int i = 0; i < 64; i++) {
        snprintf(path, sizeof path, "/api/v1/sites/many-%d-%d", batch, i);
        json_decref(http_get(served.base, path, 200));
    }
}

static int start(void **state) {
    (void)state;
    raw_allow_files(CONNECTIONS_MAX + 100);
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
        cmocka_unit_test(as_many_reads_at_once),
        cmocka_unit_test(as_many_writes_at_once),
        cmocka_unit_test(one_after_the_other),
        cmocka_unit_test(nonsense),
        cmocka_unit_test(hanging_up_while_it_is_written),
        cmocka_unit_test(draining),
        cmocka_unit_test(killed),
    };
    return cmocka_run_group_tests_name("http connections", tests, start, stop);
}
