/* SPDX-License-Identifier: MIT */
/* Requests a second. The server believes a proxy at 127.0.0.1, so that the test
 * can call from any address. With small limits they are met exactly; with those
 * that stand in the table a class and an office pass. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <ctype.h>
#include <signal.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/raw.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define BURST 10 /* seconds' worth at once (server/http/quota.h) */
#define PATIENCE_MS 20000

static struct served served;
static struct school school = {.site = "causse-school",
                               .name = "Causse School",
                               .lat_deg = 44.5,
                               .lon_deg = 3.2,
                               .gnomon_m = 1.2};

static const char *const small[][2] = {
    {"NOONARC_ADDRESS_READS", "3"}, {"NOONARC_ADDRESS_WRITES", "2"}, {"NOONARC_KEY_READS", "2"},
    {"NOONARC_KEY_WRITES", "1"},    {"NOONARC_PROXY", "127.0.0.1"},
};
#define SMALL (sizeof small / sizeof small[0])

static void call(const char *method, const char *path, const char *from, const char *key,
                 struct answer *answer) {
    char line[200];
    snprintf(line, sizeof line, "X-Forwarded-For: %s", from);
    bool get = strcmp(method, "GET") == 0;
    const struct ask ask = {
        .method = method,
        .path = path,
        .key = key,
        .type = get ? NULL : "application/json",
        .body = get ? NULL : "{}",
        .header = {line, "Idempotency-Key: quota-test-0123456789abcdef0123456789"}};
    http_ask(served.base, &ask, answer);
}

/* Calls until told to stop; returns how many times it was let in, and the seconds
 * it is to wait. A bucket gains a little while it is emptied. */
static int calls_let_in(const char *method, const char *path, const char *from, const char *key,
                        long status, int most, int *retry_after_s) {
    for (int in = 0; in < most; in++) {
        struct answer answer;
        char seconds[16];
        call(method, path, from, key, &answer);
        if (answer.status == 429) {
            answer_assert_problem(&answer, 429, "too_many_requests", NULL);
            answer_header(&answer, "Retry-After", seconds, sizeof seconds);
            assert_int_equal(strspn(seconds, "0123456789"), strlen(seconds));
            *retry_after_s = (int)strtol(seconds, NULL, 10);
            answer_release(&answer);
            return in;
        }
        assert_int_equal(answer.status, status);
        answer_release(&answer);
    }
    return most;
}

static void assert_let_in(const char *method, const char *path, const char *from, const char *key,
                          long status) {
    struct answer answer;
    call(method, path, from, key, &answer);
    if (answer.status != status)
        fail_msg("%s %s from %s: %ld: %s", method, path, from, answer.status, answer.body.bytes);
    answer_release(&answer);
}

static void by_address(void **state) {
    int wait_s = 0;
    (void)state;
    int writes = calls_let_in("POST", "/api/v1/sites", "192.0.2.1", NULL, 422, 100, &wait_s);
    assert_in_range(writes, 2 * BURST, 3 * BURST);
    assert_int_equal(wait_s, 1);
    /* What stands before the last element is invented; case makes no other header. */
    struct answer answer;
    call("POST", "/api/v1/sites", "198.51.100.9, 192.0.2.1", NULL, &answer);
    answer_assert_problem(&answer, 429, "too_many_requests", NULL);
    answer_release(&answer);
    /* Its reads have a budget of their own, and so has the neighbour. */
    assert_let_in("GET", "/api/v1/sites", "192.0.2.1", NULL, 200);
    assert_let_in("POST", "/api/v1/sites", "192.0.2.2", NULL, 422);
    int reads = calls_let_in("GET", "/api/v1/sites", "192.0.2.3", NULL, 200, 100, &wait_s);
    assert_in_range(reads, 3 * BURST, 4 * BURST);
    /* An address of nobody's and one that is wrong are asked about as others are. */
    assert_let_in("GET", "/nowhere", "192.0.2.4", NULL, 404);
    call("GET", "/nowhere", "192.0.2.3", NULL, &answer);
    assert_int_equal(answer.status, 429);
    answer_release(&answer);
    /* Whoever watches the service is never told to wait. */
    assert_let_in("GET", "/health", "192.0.2.3", NULL, 200);
    assert_let_in("GET", "/health/live", "192.0.2.3", NULL, 200);
    sleep((unsigned)wait_s);
    assert_let_in("GET", "/api/v1/sites", "192.0.2.3", NULL, 200);
}

static void by_key(void **state) {
    static const char path[] = "/api/v1/days/" DAY "/sites/causse-school/runs";
    char typed[64], from[32];
    int wait_s = 0, in = 0, told = 0;
    struct answer answer;
    size_t length = 0;
    (void)state;
    for (const char *at = school.code; *at != '\0'; at++)
        if (*at != '-')
            typed[length++] = (char)tolower((unsigned char)*at);
    typed[length] = '\0';
    /* The same code, however it is typed and wherever it comes from. */
    for (int i = 0; i < 3 * BURST; i++) {
        snprintf(from, sizeof from, "198.51.100.%d", i + 1);
        call("POST", path, from, i % 2 == 0 ? school.code : typed, &answer);
        in += answer.status == 422;
        told += answer.status == 429;
        answer_release(&answer);
    }
    assert_int_equal(in + told, 3 * BURST);
    assert_in_range(in, BURST, 2 * BURST);
    /* Another key of the same school from the same address is another. */
    assert_let_in("POST", path, "198.51.100.99", school.key, 422);
    /* Reads with it are not writes; and they come to an end too. */
    int reads =
        calls_let_in("GET", "/api/v1/sites", "198.51.100.100", school.code, 200, 100, &wait_s);
    assert_in_range(reads, 2 * BURST, 3 * BURST);
    assert_let_in("GET", "/api/v1/sites", "198.51.100.100", NULL, 200);
}

/* Being told to wait changes nothing: the run is taken afterwards under the same
 * Idempotency-Key. */
static void what_had_to_wait_is_taken(void **state) {
    static const char path[] = "/api/v1/days/" DAY "/sites/causse-school/runs";
    struct text body;
    int wait_s = 0;
    struct answer answer;
    (void)state;
    text_init(&body, 65536);
    school_measure(&school, DAY, 9, 0, &body);
    (void)calls_let_in("POST", "/api/v1/sites", "203.0.113.1", NULL, 422, 100, &wait_s);
    const struct ask ask = {
        .method = "POST",
        .path = path,
        .key = school.key,
        .type = "application/json",
        .body = body.bytes,
        .header = {"X-Forwarded-For: 203.0.113.1", "Idempotency-Key: patient-run"}};
    http_ask(served.base, &ask, &answer);
    answer_assert_problem(&answer, 429, "too_many_requests", NULL);
    answer_release(&answer);
    sleep((unsigned)wait_s);
    http_ask(served.base, &ask, &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    text_release(&body);
}

/* With the limits of the table: sixty clients of a class behind one address, six
 * connections each, that load something and write three times with one code; and
 * an office that registers two hundred schools as fast as it can. */
static void a_class_and_an_office(void **state) {
    enum { CLIENTS = 60, EACH = 6 };
    static int sockets[CLIENTS * EACH];
    static char answer[65536];
    char words[600];
    (void)state;
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    for (size_t i = 0; i < SMALL; i++)
        unsetenv(small[i][0]);
    served_start(&served);
    raw_allow_files(CLIENTS * EACH + 100);
    for (int i = 0; i < CLIENTS * EACH; i++)
        sockets[i] = raw_dial(served.base, "127.0.0.2");
    for (int i = 0; i < CLIENTS * EACH; i++) {
        if (i % EACH < 3)
            snprintf(words, sizeof words,
                     "POST /api/v1/days/" DAY "/sites/causse-school/runs HTTP/1.1\r\nHost: a\r\n"
                     "Authorization: Bearer %s\r\nIdempotency-Key: class-of-%d\r\n"
                     "Content-Type: application/json\r\nContent-Length: 2\r\n"
                     "Connection: close\r\n\r\n{}",
                     school.code, i);
        else
            snprintf(words, sizeof words,
                     "GET /worker.js HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n");
        raw_say(sockets[i], words);
    }
    for (int i = 0; i < CLIENTS * EACH; i++) {
        int status = raw_hear(sockets[i], PATIENCE_MS, answer, sizeof answer);
        if (status != (i % EACH < 3 ? 422 : 200))
            fail_msg("client %d: %d: %s", i, status, answer);
        close(sockets[i]);
    }
    for (int i = 0; i < 200; i++) {
        snprintf(words, sizeof words, "{\"name\":\"Office School %d\",\"lat_deg\":1,\"lon_deg\":2}",
                 i);
        json_decref(http_send(served.base, "POST", "/api/v1/sites", served.organiser, words, 201));
    }
}

static int start(void **state) {
    (void)state;
    for (size_t i = 0; i < SMALL; i++)
        setenv(small[i][0], small[i][1], 1);
    served_init(&served);
    school_register(served.base, &school);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    school_join(served.base, &school, DAY);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_address),
        cmocka_unit_test(by_key),
        cmocka_unit_test(what_had_to_wait_is_taken),
        cmocka_unit_test(a_class_and_an_office),
    };
    return cmocka_run_group_tests_name("http quota", tests, start, stop);
}
