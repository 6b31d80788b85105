/* SPDX-License-Identifier: MIT */
/* outbox: a school's client and the real server, with all that can go wrong between
 * them: the network is cut at every stage of a request and of its answer, the client
 * is killed at one system call after the other, the server is away for a day. Each
 * time the run is on the server once: not lost, not doubled. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <arpa/inet.h>
#include <cmocka.h>
#include <jansson.h>
#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/socket.h>
#include <unistd.h>

#include "tests/support/desk.h"
#include "tests/support/http.h"
#include "tests/support/misfortune.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-21"
#define RUN "/api/v1/days/" DAY "/sites/hill/run"
#define DAY_S 86400LL
#define WHOLE (-1L)
/* Sanitizers make many calls of their own and take their time. */
#ifdef __SANITIZE_ADDRESS__
#define KILLS 40
#else
#define KILLS 90
#endif

/* Stands between client and server and lets only so many bytes through each way. */
struct cutter {
    int listener;
    char base[64];
    pthread_t thread;
    const struct served *served;
    long ask_bytes, answer_bytes; /* WHOLE: all; atomic */
    long asked, answered;         /* bytes that went through since cutter_let; atomic */
    bool stop;                    /* atomic */
};

static struct served served;
static struct desk desk;
static struct cutter cutter;
static struct misfortune *page;
static struct school hill = {.site = "hill", .name = "Hill", .lat_deg = 41.0, .lon_deg = 21.0};
static char file[300];     /* the run, as a client takes it */
static long long last_run; /* on the server */

static int dial(const char *base) {
    struct sockaddr_in there = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    there.sin_port = htons((uint16_t)strtoul(strrchr(base, ':') + 1, NULL, 10));
    int line = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (line >= 0 && connect(line, (struct sockaddr *)&there, sizeof there) != 0) {
        close(line);
        return -1;
    }
    return line;
}

/* Hands on what has come; false when that was the end, or as far as it may go. */
static bool hand_on(int from, int to, long *left, long *passed) {
    char bytes[4096];
    size_t most = sizeof bytes;
    if (*left != WHOLE && (size_t)*left < most)
        most = (size_t)*left;
    ssize_t got = most == 0 ? 0 : recv(from, bytes, most, 0);
    if (got <= 0 || send(to, bytes, (size_t)got, MSG_NOSIGNAL) != got)
        return false;
    __atomic_add_fetch(passed, got, __ATOMIC_SEQ_CST);
    *left -= *left == WHOLE ? 0 : got;
    return *left != 0;
}

static void pass(struct cutter *at, int client) {
    long ask = __atomic_load_n(&at->ask_bytes, __ATOMIC_SEQ_CST);
    long answer = __atomic_load_n(&at->answer_bytes, __ATOMIC_SEQ_CST);
    int server = ask == 0 ? -1 : dial(at->served->base);
    struct pollfd both[2] = {{.fd = client, .events = POLLIN}, {.fd = server, .events = POLLIN}};
    bool on = server >= 0;
    while (on && poll(both, 2, 20000) > 0) {
        if (both[0].revents != 0)
            on = hand_on(client, server, &ask, &at->asked);
        /* An answer that nobody may hear is waited for: the server has acted. */
        if (on && both[1].revents != 0)
            on = answer != 0 && hand_on(server, client, &answer, &at->answered);
    }
    if (server >= 0)
        close(server);
    close(client);
}

static void *cut(void *argument) {
    struct cutter *at = argument;
    for (;;) {
        int client = accept(at->listener, NULL, NULL);
        if (client < 0 || __atomic_load_n(&at->stop, __ATOMIC_SEQ_CST))
            return NULL;
        pass(at, client);
    }
}

static void cutter_start(struct cutter *at, const struct served *behind) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    socklen_t length = sizeof address;
    *at = (struct cutter){.served = behind, .ask_bytes = WHOLE, .answer_bytes = WHOLE};
    at->listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(at->listener, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(at->listener, 16), 0);
    assert_int_equal(getsockname(at->listener, (struct sockaddr *)&address, &length), 0);
    snprintf(at->base, sizeof at->base, "http://127.0.0.1:%d", ntohs(address.sin_port));
    assert_int_equal(pthread_create(&at->thread, NULL, cut, at), 0);
}

static void cutter_let(long ask_bytes, long answer_bytes) {
    __atomic_store_n(&cutter.ask_bytes, ask_bytes, __ATOMIC_SEQ_CST);
    __atomic_store_n(&cutter.answer_bytes, answer_bytes, __ATOMIC_SEQ_CST);
    __atomic_store_n(&cutter.asked, 0, __ATOMIC_SEQ_CST);
    __atomic_store_n(&cutter.answered, 0, __ATOMIC_SEQ_CST);
}

static void cutter_stop(struct cutter *at) {
    __atomic_store_n(&at->stop, true, __ATOMIC_SEQ_CST);
    shutdown(at->listener, SHUT_RDWR);
    pthread_join(at->thread, NULL);
    close(at->listener);
}

/* The current run of hill, 0 none. */
static long long current_run(void) {
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = RUN}, &answer);
    long long run = json_integer_value(json_object_get(json_object_get(answer.json, "run"), "id"));
    assert_true(answer.status == 200 ? run > 0 : answer.status == 404);
    answer_release(&answer);
    return run;
}

/* The outbox itself, asked directly: a client takes its time to start. */
static int ask_outbox(const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open(desk_path(&desk, "state/noonarc/outbox.sqlite"), &db), SQLITE_OK);
    sqlite3_busy_timeout(db, 5000);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &row, NULL), SQLITE_OK);
    int found = sqlite3_step(row) == SQLITE_ROW ? sqlite3_column_int(row, 0) : 0;
    assert_int_equal(sqlite3_finalize(row), SQLITE_OK);
    sqlite3_close(db);
    return found;
}

/* Runs that wait in the outbox; none may be refused. */
static int waiting(void) {
    assert_int_equal(ask_outbox("SELECT COUNT(*) FROM outbox WHERE state = 2"), 0);
    return ask_outbox("SELECT COUNT(*) FROM outbox WHERE state = 0");
}

static void send_outbox(int code) {
    struct outcome outcome;
    desk_run(&desk, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, code);
    outcome_release(&outcome);
}

static void submit(int code) {
    struct outcome outcome;
    desk_run(&desk, "", &outcome, "submit", DAY, "hill", "--file", file, NULL);
    outcome_assert_code(&outcome, code);
    outcome_release(&outcome);
}

/* There is one run more than before, and the outbox is empty; sending once more adds
 * none. Then it is taken back, so that the next may come. */
static void assert_there_once(void) {
    char path[100];
    assert_int_equal(waiting(), 0);
    assert_int_equal(current_run(), last_run + 1);
    send_outbox(0);
    assert_int_equal(current_run(), last_run + 1);
    last_run++;
    snprintf(path, sizeof path, "/api/v1/runs/%lld", last_run);
    json_decref(http_send(served.base, "DELETE", path, served.organiser, NULL, 204));
    assert_int_equal(current_run(), 0);
    /* so that every submit takes the same work */
    ask_outbox("DELETE FROM outbox WHERE state = 1");
}

/* At eleven places of the request and of the answer, the last byte of each the last. */
static void the_network_is_cut(void **state) {
    enum { PLACES = 11 };
    int cuts = 0;
    (void)state;
    cutter_let(WHOLE, WHOLE);
    submit(0);
    long length[2] = {__atomic_load_n(&cutter.asked, __ATOMIC_SEQ_CST),
                      __atomic_load_n(&cutter.answered, __ATOMIC_SEQ_CST)};
    assert_true(length[0] > 500 && length[1] > 500);
    assert_there_once();
    for (int way = 0; way < 2; way++)
        for (int place = 0; place < PLACES; place++)
            for (int first = 0; first < 2; first++) {
                /* cut at the first attempt, or at one that comes later */
                if (first == 1) {
                    cutter_let(0, 0);
                    submit(3);
                    assert_int_equal(current_run(), 0);
                }
                long bytes =
                    place < PLACES - 1 ? length[way] * place / (PLACES - 1) : length[way] - 8;
                cutter_let(way == 0 ? bytes : WHOLE, way == 0 ? WHOLE : bytes);
                if (first == 1)
                    send_outbox(3);
                else
                    submit(3);
                cuts++;
                assert_int_equal(waiting(), 1);
                if (way == 0)
                    assert_int_equal(current_run(), 0); /* half a request is none */
                else
                    assert_int_equal(current_run(), last_run + 1); /* it has acted */
                cutter_let(WHOLE, WHOLE);
                send_outbox(0);
                assert_there_once();
            }
    print_message("survived %d cuts of the network\n", cuts);
}

static void the_client_is_killed(void **state) {
    const char *const words[] = {"submit", DAY, "hill", "--file", file, NULL};
    const char *const again[] = {"outbox", "send", NULL};
    long kills = 0, unkept = 0, unsent = 0, taken = 0, calls;
    (void)state;
    cutter_let(WHOLE, WHOLE);
    /* Leaks cannot be looked for in a program that is traced. */
    char asan[256];
    const char *options = getenv("ASAN_OPTIONS");
    snprintf(asan, sizeof asan, "%s%sdetect_leaks=0", options == NULL ? "" : options,
             options == NULL ? "" : ":");
    setenv("ASAN_OPTIONS", asan, 1);
    calls = desk_kill_at(&desk, words, 1000000);
    assert_there_once();
    /* Its start, when libraries are loaded, is most of it and of little interest. */
    const long started = calls * 6 / 10, wide = calls / 12, step = (calls - started) / KILLS + 1;
    for (long at = 0; at < calls; at += at < started ? wide : step) {
        if (desk_kill_at(&desk, words, at) != at) {
            assert_there_once(); /* it took fewer calls this time and came to its end */
            break;
        }
        kills++;
        int kept = waiting();
        bool there = current_run() != 0;
        if (!kept && !there) { /* it had told nobody that it had the run */
            unkept++;
            submit(0);
        } else if (kept && kills % 2 == 0) {
            /* and killed once more while it sends what waits, a little later each time */
            kills += desk_kill_at(&desk, again, at) == at;
            send_outbox(0);
        } else {
            send_outbox(0);
        }
        unsent += kept && !there;
        taken += there;
        assert_there_once();
    }
    if (options == NULL)
        unsetenv("ASAN_OPTIONS");
    else
        setenv("ASAN_OPTIONS", options, 1);
    print_message("survived %ld kills of the client in %ld system calls: %ld before it had the "
                  "run, %ld before the server had it, %ld after\n",
                  kills, calls, unkept, unsent, taken);
    assert_true(unkept > 0 && unsent > 0 && taken > 0);
    assert_true(kills >= KILLS / 2);
}

/* The server is away; a day, or a month, later it is back. */
static void the_server_is_away(void **state) {
    static const long long away_s[] = {DAY_S, 31 * DAY_S};
    (void)state;
    for (size_t i = 0; i < sizeof away_s / sizeof away_s[0]; i++) {
        cutter_let(WHOLE, WHOLE);
        assert_int_equal(served_stop(&served, SIGTERM), 0);
        submit(3);
        send_outbox(3);
        page->clock_offset_s += away_s[i];
        send_outbox(3);
        assert_int_equal(waiting(), 1);
        served_start(&served);
        /* Its answer is lost, and it goes away again for as long. */
        cutter_let(WHOLE, 0);
        send_outbox(3);
        assert_int_equal(current_run(), last_run + 1);
        assert_int_equal(served_stop(&served, SIGKILL), 128 + SIGKILL);
        page->clock_offset_s += away_s[i];
        served_start(&served);
        cutter_let(WHOLE, WHOLE);
        send_outbox(0);
        assert_there_once();
    }
    misfortune_over(page);
}

/* The client's own disk: nothing is handed in that could not be kept first. */
static void the_outbox_cannot_be_written(void **state) {
    static const struct misfortune ways[] = {{.write_errno = 28, .malloc_fuse = -1},
                                             {.write_errno = 5, .malloc_fuse = -1},
                                             {.sync_errno = 5, .malloc_fuse = -1}};
    (void)state;
    cutter_let(WHOLE, WHOLE);
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        *page = ways[i];
        struct outcome outcome;
        desk_run(&desk, "", &outcome, "submit", DAY, "hill", "--file", file, NULL);
        assert_true(misfortune_over(page) > 0);
        outcome_assert_code(&outcome, 4);
        outcome_release(&outcome);
        assert_int_equal(current_run(), 0);
        assert_int_equal(waiting(), 0);
        submit(0);
        assert_there_once();
    }
}

static int start(void **state) {
    struct text body;
    struct outcome outcome;
    (void)state;
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    page = misfortune_new();
    served_init(&served);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    hill.gnomon_m = 1.0;
    school_register(served.base, &hill);
    school_join(served.base, &hill, DAY);
    cutter_start(&cutter, &served);
    desk_init(&desk);
    snprintf(desk.server, sizeof desk.server, "%s", cutter.base);
    snprintf(desk.key, sizeof desk.key, "%s", hill.key);
    text_init(&body, 1u << 18);
    school_measure(&hill, DAY, 1, 0, &body);
    snprintf(file, sizeof file, "%s", desk_path(&desk, "run.json"));
    FILE *out = fopen(file, "w");
    assert_non_null(out);
    assert_int_equal(fwrite(body.bytes, 1, body.length, out), body.length);
    fclose(out);
    text_release(&body);
    /* The site is known here from now on: a submit is one request. */
    desk_run(&desk, "", &outcome, "submit", DAY, "hill", "--file", file, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    assert_there_once();
    return 0;
}

static int stop(void **state) {
    (void)state;
    cutter_stop(&cutter);
    desk_release(&desk);
    served_release(&served);
    misfortune_free(page);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_network_is_cut),
        cmocka_unit_test(the_client_is_killed),
        cmocka_unit_test(the_server_is_away),
        cmocka_unit_test(the_outbox_cannot_be_written),
    };
    return cmocka_run_group_tests_name("faults: outbox", tests, start, stop);
}
