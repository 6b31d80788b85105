/* SPDX-License-Identifier: MIT */
/* Watching a day: what is told and what is not, coming back without a gap, hundreds
 * who listen, one who does not read, limits, heartbeats, and the end. The form of
 * the stream is that of the HTML standard, section 9.2 (server-sent events). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <poll.h>
#include <signal.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/line.h"
#include "tests/support/openmetrics.h"
#include "tests/support/raw.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define LIVE "/api/v1/days/" DAY "/live"
#define IDLE_S 2
#define PATIENCE_S 3
#define ADDRESS_LIVE 40
#define ADDRESSES 10
#define MANY (ADDRESS_LIVE * ADDRESSES)
#define SOON_MS 3000
#define HEARD_MAX 65536

static struct served served;
static struct school school = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};
static char heard[HEARD_MAX];

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

/* A stream from an address, with one more header line or "". */
static int listen_from(const char *from, const char *header) {
    char head[400];
    int socket_of = raw_dial(served.base, from);
    snprintf(head, sizeof head, "GET " LIVE " HTTP/1.1\r\nHost: a\r\n%s\r\n", header);
    raw_say(socket_of, head);
    return socket_of;
}

/* Of a long story only its newest part is kept. */
static size_t forget_old(char *into, size_t length, size_t size) {
    size_t kept = size / 4;
    if (length < size - 1)
        return length;
    memmove(into, into + length - kept, kept + 1);
    return kept;
}

/* Reads until the words are there, or the time is over: then false. */
static bool hear(int socket_of, const char *words, int patience_ms, char *into, size_t size) {
    size_t length = 0;
    double until_s = steady_s() + patience_ms / 1000.0;
    into[0] = '\0';
    while (strstr(into, words) == NULL) {
        struct pollfd one = {.fd = socket_of, .events = POLLIN};
        length = forget_old(into, length, size);
        int left_ms = (int)((until_s - steady_s()) * 1000.0);
        if (left_ms <= 0 || poll(&one, 1, left_ms) != 1)
            return false;
        ssize_t got = recv(socket_of, into + length, size - 1 - length, 0);
        if (got <= 0)
            return false;
        length += (size_t)got;
        into[length] = '\0';
    }
    return true;
}

static void must_hear(int socket_of, const char *words) {
    if (!hear(socket_of, words, SOON_MS, heard, sizeof heard))
        fail_msg("\"%s\" was not heard, but: %s", words, heard);
}

static void say_sky(const char *sky, long status) {
    char body[40];
    snprintf(body, sizeof body, "{\"sky\":\"%s\"}", sky);
    json_decref(http_send(served.base, "PUT", "/api/v1/days/" DAY "/sites/tell-school/sky",
                          school.code, body, status));
}

/* The id of the last event in what was heard. */
static void last_id(char *out, size_t size) {
    const char *at = heard, *last = NULL;
    while ((at = strstr(at, "id: ")) != NULL)
        last = at += 4;
    assert_non_null(last);
    snprintf(out, size, "%.*s", (int)strcspn(last, "\r\n"), last);
}

static void says_how_it_begins(void **state) {
    struct answer head;
    (void)state;
    int socket_of = listen_from("127.0.0.1", "");
    must_hear(socket_of, "event: start\ndata: {\"day\":\"" DAY "\",\"missed\":true}\n\n");
    assert_non_null(strstr(heard, "HTTP/1.1 200"));
    assert_non_null(strstr(heard, "Content-Type: text/event-stream\r\n"));
    assert_non_null(strstr(heard, "Cache-Control: no-store\r\n"));
    assert_null(strstr(heard, "Content-Encoding"));
    close(socket_of);

    http_ask(served.base, &(struct ask){.method = "HEAD", .path = LIVE}, &head);
    assert_int_equal(head.status, 200);
    assert_true(answer_header_is(&head, "Content-Type", "text/event-stream"));
    assert_true(answer_header_is(&head, "Content-Length", ""));
    answer_release(&head);
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/2027-03-21/live"}, &head);
    answer_assert_problem(&head, 404, "not_found", NULL);
    answer_release(&head);
    http_ask(served.base, &(struct ask){.path = LIVE "?for_s=0"}, &head);
    answer_assert_problem(&head, 400, "bad_query", "for_s");
    answer_release(&head);
}

static int64_t hand_in(void) {
    struct text body;
    struct answer answer;
    text_init(&body, 65536);
    school_measure(&school, DAY, 5, 0, &body);
    const struct ask ask = {.method = "POST",
                            .path = "/api/v1/days/" DAY "/sites/tell-school/runs",
                            .key = school.code,
                            .type = "application/json",
                            .body = body.bytes,
                            .header = {"Idempotency-Key: live-test-run"}};
    http_ask(served.base, &ask, &answer);
    assert_int_equal(answer.status, 201);
    int64_t run = json_integer_value(json_object_get(json_object_get(answer.json, "run"), "id"));
    answer_release(&answer);
    text_release(&body);
    return run;
}

static void tells_what_happens(void **state) {
    char words[200], path[64];
    struct answer answer;
    (void)state;
    int socket_of = listen_from("127.0.0.1", "");
    must_hear(socket_of, "event: start");
    say_sky("broken", 200);
    must_hear(socket_of, "event: sky\ndata: {\"site\":\"tell-school\",\"sky\":\"broken\",");
    int64_t run = hand_in();
    snprintf(words, sizeof words,
             "event: run\ndata: {\"site\":\"tell-school\",\"run\":%lld,\"readings\":13}\n\n",
             (long long)run);
    must_hear(socket_of, words);
    /* The result follows within a second: one site is too few for one. */
    if (strstr(heard, "\"circumference_km\":null") == NULL)
        must_hear(socket_of, "\"circumference_km\":null");
    assert_non_null(strstr(heard, "event: result\ndata: {\"status\":\"too_few\""));
    snprintf(path, sizeof path, "/api/v1/runs/%lld", (long long)run);
    http_ask(served.base, &(struct ask){.method = "DELETE", .path = path, .key = school.key},
             &answer);
    assert_int_equal(answer.status, 204);
    answer_release(&answer);
    must_hear(socket_of,
              "event: run\ndata: {\"site\":\"tell-school\",\"run\":null,\"readings\":0}");

    /* The board says the same as the events did. */
    json_t *board = http_get(served.base, "/api/v1/days/" DAY "/sky", 200);
    const json_t *line = json_array_get(json_object_get(board, "sites"), 0);
    assert_string_equal(json_string_value(json_object_get(line, "sky")), "broken");
    assert_true(json_is_null(json_object_get(line, "run")));
    json_decref(board);
    close(socket_of);
}

/* What was refused is no news, on this day or on another. */
static void tells_nothing_else(void **state) {
    (void)state;
    int socket_of = listen_from("127.0.0.1", "");
    must_hear(socket_of, "event: start");
    json_decref(http_send(served.base, "PUT", "/api/v1/days/" DAY "/sites/aside-school/sky",
                          served.organiser, "{\"sky\":\"clear\"}", 404));
    say_sky("sunny", 422);
    json_decref(http_send(served.base, "PUT", "/api/v1/days/2027-04-20/sites/tell-school/sky",
                          school.key, "{\"sky\":\"overcast\"}", 200));
    say_sky("clear", 200);
    must_hear(socket_of, "event: ");
    assert_non_null(strstr(heard, "\"sky\":\"clear\""));
    assert_null(strstr(heard, "overcast"));
    close(socket_of);
}

static void comes_back_without_a_gap(void **state) {
    char id[40], header[80];
    (void)state;
    int socket_of = listen_from("127.0.0.1", "");
    must_hear(socket_of, "event: start");
    say_sky("broken", 200);
    must_hear(socket_of, "event: sky");
    last_id(id, sizeof id);
    close(socket_of);
    say_sky("overcast", 200);
    say_sky("clear", 200);

    snprintf(header, sizeof header, "Last-Event-ID: %s\r\n", id);
    socket_of = listen_from("127.0.0.1", header);
    must_hear(socket_of, "\"sky\":\"clear\"");
    assert_non_null(strstr(heard, "\"missed\":false"));
    const char *first = strstr(heard, "\"sky\":\"overcast\"");
    assert_non_null(first);
    assert_true(first < strstr(heard, "\"sky\":\"clear\""));
    assert_null(strstr(heard, "\"sky\":\"broken\""));
    close(socket_of);

    /* An id of another life of the service, and one that is none: look again. */
    static const char *const strange[] = {"Last-Event-ID: 00000000-3\r\n",
                                          "Last-Event-ID: -1 or 1=1\r\n"};
    for (size_t i = 0; i < sizeof strange / sizeof strange[0]; i++) {
        socket_of = listen_from("127.0.0.1", strange[i]);
        must_hear(socket_of, "\"missed\":true");
        close(socket_of);
    }
}

/* Hundreds hear the same within a second or so, and those who write notice nothing. */
static void hundreds_listen(void **state) {
    static int socket_of[MANY];
    char from[16];
    (void)state;
    for (int i = 0; i < MANY; i++) {
        snprintf(from, sizeof from, "127.0.0.%d", 10 + i % ADDRESSES);
        socket_of[i] = listen_from(from, "");
    }
    for (int i = 0; i < MANY; i++)
        must_hear(socket_of[i], "event: start");
    assert_true(metric("noonarc_live_listeners") >= MANY);

    /* One more from the same address is told so. */
    int more = listen_from("127.0.0.10", "");
    assert_true(hear(more, "\r\n\r\n", SOON_MS, heard, sizeof heard));
    assert_non_null(strstr(heard, "HTTP/1.1 429"));
    assert_non_null(strstr(heard, "Retry-After: 10"));
    close(more);

    double began_s = steady_s();
    say_sky("overcast", 200);
    double wrote_s = steady_s() - began_s;
    for (int i = 0; i < MANY; i++)
        must_hear(socket_of[i], "\"sky\":\"overcast\"");
    double told_s = steady_s() - began_s;
    print_message("seed none: %d listeners: said in %.3f s, heard by all after %.3f s\n", MANY,
                  wrote_s, told_s);
    assert_true(wrote_s < 1.0);
    assert_true(told_s < 3.0);
    for (int i = 0; i < MANY; i++)
        close(socket_of[i]);
}

/* One who takes nothing is cut off; another hears everything meanwhile. */
static void one_does_not_read(void **state) {
    char body[40], answer_bytes[16];
    struct line line;
    struct text answer;
    int little = 4096;
    (void)state;
    text_init(&answer, 65536);
    int deaf = listen_from("127.0.0.2", "");
    assert_int_equal(setsockopt(deaf, SOL_SOCKET, SO_RCVBUF, &little, sizeof little), 0);
    int awake = listen_from("127.0.0.1", "");
    must_hear(awake, "event: start");
    line_init(&line, served.base);
    bool heard_some = false;
    for (int i = 0; i < 3000; i++) {
        snprintf(body, sizeof body, "{\"sky\":\"%s\"}", i % 2 == 0 ? "clear" : "broken");
        const struct line_request request = {.method = "PUT",
                                             .path = "/api/v1/days/" DAY "/sites/tell-school/sky",
                                             .key = served.organiser,
                                             .body = body};
        assert_int_equal(line_ask(&line, &request, &answer), 200);
        /* The other reads on. */
        while (recv(awake, heard, sizeof heard - 1, MSG_DONTWAIT) > 0)
            heard_some = true;
    }
    assert_true(heard_some);
    say_sky("overcast", 200);
    assert_true(hear(awake, "\"sky\":\"overcast\"", 15000, heard, sizeof heard));
    double began_s = steady_s();
    while (metric("noonarc_live_listeners") > 1.0 && steady_s() < began_s + 4.0 * PATIENCE_S)
        usleep(100000);
    assert_true(metric("noonarc_live_listeners") == 1.0);
    assert_true(recv(deaf, answer_bytes, sizeof answer_bytes, MSG_DONTWAIT) > 0);
    close(deaf);
    close(awake);
    line_close(&line);
    text_release(&answer);
}

/* Nothing happens, but a comment line comes before any proxy loses patience, and
 * the idle limit of other connections does not count here. */
static void a_heartbeat(void **state) {
    (void)state;
    int socket_of = listen_from("127.0.0.1", "");
    must_hear(socket_of, "event: start");
    assert_true(hear(socket_of, "\n:\n\n", 16000, heard, sizeof heard) ||
                strstr(heard, ":\n\n") != NULL);
    say_sky("broken", 200);
    must_hear(socket_of, "\"sky\":\"broken\"");
    close(socket_of);
}

/* The end of the service is the end of the stream, in good form and at once. */
static void the_end(void **state) {
    (void)state;
    int socket_of[20];
    for (int i = 0; i < 20; i++) {
        socket_of[i] = listen_from("127.0.0.1", "");
        must_hear(socket_of[i], "event: start");
    }
    double began_s = steady_s();
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    assert_true(steady_s() - began_s < 3.0);
    for (int i = 0; i < 20; i++) {
        assert_true(hear(socket_of[i], "\r\n0\r\n\r\n", SOON_MS, heard, sizeof heard) ||
                    strcmp(heard, "0\r\n\r\n") == 0);
        close(socket_of[i]);
    }
    served_start(&served);
}

static int start(void **state) {
    char number[16];
    (void)state;
    raw_allow_files(MANY + 100);
    snprintf(number, sizeof number, "%d", IDLE_S);
    setenv("NOONARC_TIMEOUT", number, 1);
    snprintf(number, sizeof number, "%d", PATIENCE_S);
    setenv("NOONARC_PATIENCE", number, 1);
    snprintf(number, sizeof number, "%d", ADDRESS_LIVE);
    setenv("NOONARC_ADDRESS_LIVE", number, 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    served_init(&served);
    school_register(served.base, &school);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"2027-04-20\"}", 201));
    school_join(served.base, &school, DAY);
    school_join(served.base, &school, "2027-04-20");
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_how_it_begins), cmocka_unit_test(tells_what_happens),
        cmocka_unit_test(tells_nothing_else), cmocka_unit_test(comes_back_without_a_gap),
        cmocka_unit_test(hundreds_listen),    cmocka_unit_test(one_does_not_read),
        cmocka_unit_test(a_heartbeat),        cmocka_unit_test(the_end),
    };
    return cmocka_run_group_tests_name("http live", tests, start, stop);
}
