/* SPDX-License-Identifier: MIT */
/* Those who take their time, and those who come with too much: a byte a second,
 * heads and bodies that never end, answers nobody reads, more connections than an
 * address may have. Others notice nothing. */
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
#include <time.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/openmetrics.h"
#include "tests/support/raw.h"
#include "tests/support/served.h"

#define SLOW 1000
#define IDLE_S 3
#define PATIENCE_S 4
#define LOOK_S 1.5 /* the service looks twice a second; and this machine may be busy */
#define PATIENCE_MS 20000

static struct served served;

static double steady_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static double metric(const char *sample) {
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = "/metrics"}, &answer);
    double value = openmetrics_value(answer.body.bytes, sample);
    answer_release(&answer);
    return value;
}

/* One is that which asks; the one that asked before may still be about to close. */
static void wait_for_connections(double most) {
    for (int i = 0; i < 100; i++) {
        if (metric("noonarc_http_connections") <= most)
            return;
        usleep(100000);
    }
    fail_msg("more than %g connections stay", most);
}

/* A thousand, from five addresses, send a byte a second of a head that would be a
 * right one. Meanwhile reads and writes answer within a second; and after the time
 * that a head may take every one of them has been told, and is gone. */
static void a_thousand_slow_senders(void **state) {
    static const char head[] = "GET /health HTTP/1.1\r\nHost: a\r\nX-Word: of patience\r\n\r\n";
    static int sockets[SLOW];
    static char answer[8192];
    char from[16], body[200], one[2] = "";
    double slowest_s = 0.0;
    int told = 0;
    (void)state;
    double given_up = metric("noonarc_http_connections_given_up_total");
    for (int i = 0; i < SLOW; i++) {
        snprintf(from, sizeof from, "127.0.0.%d", 2 + i % 5);
        sockets[i] = raw_dial(served.base, from);
    }
    double began_s = steady_s();
    for (int second = 0; second < IDLE_S + PATIENCE_S - 1; second++) {
        one[0] = head[second];
        for (int i = 0; i < SLOW; i++)
            raw_say(sockets[i], one);
        double asked_s = steady_s();
        json_decref(http_get(served.base, "/api/v1/sites", 200));
        snprintf(body, sizeof body, "{\"name\":\"Quick School\",\"lat_deg\":1,\"lon_deg\":%d}",
                 second);
        json_decref(http_send(served.base, "POST", "/api/v1/sites", NULL, body, 201));
        double took_s = steady_s() - asked_s;
        slowest_s = took_s > slowest_s ? took_s : slowest_s;
        while (steady_s() < began_s + second + 1)
            usleep(20000);
    }
    print_message("a read and a write beside %d slow senders: %.3f s at most\n", SLOW, slowest_s);
    assert_true(slowest_s < 1.0);
    assert_true(metric("noonarc_http_connections") >= SLOW);
    for (int i = 0; i < SLOW; i++) {
        int status = raw_hear(sockets[i], PATIENCE_MS, answer, sizeof answer);
        assert_true(status == 408 || status == 0);
        told += status == 408;
        close(sockets[i]);
    }
    double took_s = steady_s() - began_s;
    assert_in_range(took_s * 1000, (IDLE_S + PATIENCE_S - 1) * 1000,
                    (IDLE_S + PATIENCE_S + LOOK_S) * 1000);
    assert_int_equal(told, SLOW);
    assert_non_null(strstr(answer, "\"code\":\"too_slow\""));
    assert_true(metric("noonarc_http_connections_given_up_total") == given_up + SLOW);
    wait_for_connections(1);
}

static const char body_head[] = "POST /api/v1/sites HTTP/1.1\r\nHost: a\r\nConnection: close\r\n"
                                "Content-Type: application/json\r\nContent-Length: 12000\r\n\r\n";

/* A body that trickles is given up; one that comes slowly but steadily is not,
 * though it takes longer. */
static void bodies(void **state) {
    static char answer[8192], piece[501];
    static const char site[] = "{\"name\":\"Far School\",\"lat_deg\":1,\"lon_deg\":2}";
    (void)state;
    int trickling = raw_dial(served.base, "127.0.0.2");
    int steady = raw_dial(served.base, "127.0.0.3");
    raw_say(trickling, body_head);
    raw_say(steady, body_head);
    double began_s = steady_s();
    memset(piece, ' ', sizeof piece - 1);
    /* 12000 bytes at 2000 a second: six seconds. */
    raw_say(steady, site);
    size_t left = 12000 - (sizeof site - 1);
    double gone_s = 0.0;
    while (left > 0) {
        size_t length = left < sizeof piece - 1 ? left : sizeof piece - 1;
        piece[length] = '\0';
        raw_say(steady, piece);
        left -= length;
        if (gone_s == 0.0 && !raw_try(trickling, " "))
            gone_s = steady_s() - began_s;
        usleep(250000);
    }
    assert_true(steady_s() - began_s > PATIENCE_S + 1);
    assert_int_equal(raw_hear(steady, PATIENCE_MS, answer, sizeof answer), 201);
    assert_true(gone_s > PATIENCE_S && gone_s < PATIENCE_S + LOOK_S + 0.5);
    assert_int_equal(raw_hear(trickling, PATIENCE_MS, answer, sizeof answer), 408);
    close(trickling);
    close(steady);
}

/* Hundreds of answers asked for and not one read: the connection is given up. */
static void an_answer_nobody_reads(void **state) {
    (void)state;
    wait_for_connections(1);
    int deaf = raw_dial(served.base, "127.0.0.2");
    const int small = 4096;
    setsockopt(deaf, SOL_SOCKET, SO_RCVBUF, &small, sizeof small);
    int asked = 0;
    while (asked < 200 && raw_try(deaf, "GET /api/v1/openapi.json HTTP/1.1\r\nHost: a\r\n\r\n"))
        asked++;
    assert_true(asked > 100); /* some 60 KB each */
    sleep(1);
    assert_true(metric("noonarc_http_connections") >= 2);
    wait_for_connections(1);
    close(deaf);
}

/* Up to 8 KiB of head are read; more is refused, by us as long as there is room. */
static void heads(void **state) {
    static const struct {
        size_t filler;
        int status;
    } rows[] = {{7000, 200}, {9000, 431}, {13000, 431}};
    static char words[60000], answer[65536];
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int socket_of = raw_dial(served.base, "127.0.0.2");
        snprintf(words, sizeof words,
                 "GET /health HTTP/1.1\r\nHost: a\r\nConnection: close\r\nX-Filler: %0*d\r\n\r\n",
                 (int)rows[i].filler, 0);
        raw_say(socket_of, words);
        int status = raw_hear(socket_of, PATIENCE_MS, answer, sizeof answer);
        if (status != rows[i].status)
            fail_msg("%zu: %d: %s", rows[i].filler, status, answer);
        if (status == 431)
            assert_non_null(strstr(answer, "\"code\":\"head_too_large\""));
        close(socket_of);
    }
}

/* More connections than an address may have: the surplus is told and closed, other
 * addresses are let in, and room comes back with the first that leaves. */
static void more_than_its_share(void **state) {
    enum { SHARE = 20 };
    static int sockets[SHARE];
    static char answer[8192];
    static const char words[] = "GET /health HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n";
    (void)state;
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    setenv("NOONARC_ADDRESS_CONNECTIONS", "20", 1);
    served_start(&served);
    unsetenv("NOONARC_ADDRESS_CONNECTIONS");
    for (int i = 0; i < SHARE; i++)
        sockets[i] = raw_dial(served.base, "127.0.0.2");
    usleep(200000);
    for (int i = 0; i < 10; i++) {
        int surplus = raw_dial(served.base, "127.0.0.2");
        if (i % 2 == 0)
            (void)raw_try(surplus, words);
        assert_int_equal(raw_hear(surplus, PATIENCE_MS, answer, sizeof answer), 429);
        assert_non_null(strstr(answer, "\"code\":\"too_many_requests\""));
        assert_non_null(strstr(answer, "Retry-After: "));
        close(surplus);
    }
    assert_true(metric("noonarc_http_connections_turned_away_total") == 10);
    for (int i = 0; i < SHARE; i++) {
        raw_say(sockets[i], words);
        assert_int_equal(raw_hear(sockets[i], PATIENCE_MS, answer, sizeof answer), 200);
        close(sockets[i]);
    }
    wait_for_connections(1);
    int again = raw_dial(served.base, "127.0.0.2");
    raw_say(again, words);
    assert_int_equal(raw_hear(again, PATIENCE_MS, answer, sizeof answer), 200);
    close(again);
}

/* When connections run out, those who only hold one have less time than they would
 * have: a quick caller is let in long before. */
static void all_connections_taken(void **state) {
    enum { ALL = 64 };
    static int sockets[ALL];
    static char answer[8192];
    (void)state;
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    setenv("NOONARC_CONNECTIONS", "64", 1);
    setenv("NOONARC_PATIENCE", "600", 1);
    setenv("NOONARC_TIMEOUT", "1", 1);
    served_start(&served);
    for (int i = 0; i < ALL; i++) {
        sockets[i] = raw_dial(served.base, "127.0.0.2");
        raw_say(sockets[i], body_head);
    }
    double began_s = steady_s();
    int waiting = raw_dial(served.base, "127.0.0.3");
    raw_say(waiting, "GET /health HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n");
    double gone_s = 0.0;
    while (gone_s == 0.0 && steady_s() - began_s < 15.0) {
        for (int i = 0; i < ALL; i++)
            (void)raw_try(sockets[i], " ");
        if (recv(waiting, answer, sizeof answer, MSG_DONTWAIT) > 0)
            gone_s = steady_s() - began_s;
        usleep(200000);
    }
    assert_true(gone_s > 0.0 && gone_s < 9.0);
    close(waiting);
    for (int i = 0; i < ALL; i++)
        close(sockets[i]);
}

static int start(void **state) {
    char number[16];
    (void)state;
    raw_allow_files(SLOW + 100);
    snprintf(number, sizeof number, "%d", IDLE_S);
    setenv("NOONARC_TIMEOUT", number, 1);
    snprintf(number, sizeof number, "%d", PATIENCE_S);
    setenv("NOONARC_PATIENCE", number, 1);
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
        cmocka_unit_test(a_thousand_slow_senders), cmocka_unit_test(bodies),
        cmocka_unit_test(an_answer_nobody_reads),  cmocka_unit_test(heads),
        cmocka_unit_test(more_than_its_share),     cmocka_unit_test(all_connections_taken),
    };
    return cmocka_run_group_tests_name("http slow", tests, start, stop);
}
