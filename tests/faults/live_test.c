/* SPDX-License-Identifier: MIT */
/* live: a server at work while its disk, its file, its clock and its memory fail.
 * Each time the caller is told so in a problem document, nothing is changed, what
 * only reads goes on, and with the cause gone the same request is taken. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <dirent.h>
#include <errno.h>
#include <jansson.h>
#include <signal.h>
#include <sqlite3.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/line.h"
#include "tests/support/misfortune.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-21"
#define RUNS "/api/v1/days/" DAY "/runs"
#define RESULT "/api/v1/days/" DAY "/result"
#define DAY_S 86400LL

static struct served served;
static struct misfortune *page;
static struct school hill = {.site = "hill", .name = "Hill", .lat_deg = 41.0, .lon_deg = 21.0};
static struct school dale = {.site = "dale", .name = "Dale", .lat_deg = 45.0, .lon_deg = 21.2};
static long long newest; /* run of hill */
static int keys;         /* so that every run has one of its own */
static struct line line;
static struct text answer; /* to the last request */

/* A run of hill that corrects the newest, and its key. */
static void write_run(struct text *body, char *key, size_t size) {
    keys++;
    snprintf(key, size, "run-of-hill-%d", keys);
    text_init(body, 1u << 18);
    school_measure(&hill, DAY, (uint64_t)keys, newest, body);
}

static int send_run(const struct text *body, const char *key) {
    return line_ask(&line,
                    &(struct line_request){.path = "/api/v1/days/" DAY "/sites/hill/runs",
                                           .key = hill.key,
                                           .idempotency_key = key,
                                           .body = body->bytes},
                    &answer);
}

static long long run_answered(void) {
    long long run = 0;
    assert_int_equal(sscanf(answer.bytes, "{\"run\":{\"id\":%lld", &run), 1);
    return run;
}

/* Taken, as the one run after the newest: whatever happened before left nothing. */
static void assert_taken(const struct text *body, const char *key) {
    int status = send_run(body, key);
    if (status != 201)
        fail_msg("%d: %s", status, answer.bytes);
    assert_int_equal(run_answered(), newest + 1);
    newest++;
}

static void assert_problem(int status, int wanted, const char *code) {
    json_t *problem = json_loads(answer.bytes, 0, NULL);
    const char *found = json_string_value(json_object_get(problem, "code"));
    if (status != wanted || found == NULL || strcmp(found, code) != 0)
        fail_msg("%d, not %d %s: %s", status, wanted, code, answer.bytes);
    assert_int_equal(json_integer_value(json_object_get(problem, "status")), wanted);
    json_decref(problem);
}

static char *read_all(void) {
    json_t *runs = http_get(served.base, RUNS, 200), *result = http_get(served.base, RESULT, 200);
    json_t *both = json_pack("[oo]", runs, result);
    char *text = json_dumps(both, JSON_SORT_KEYS);
    json_decref(both);
    assert_non_null(text);
    return text;
}

static void assert_check_passes(void) {
    char said[256];
    int status = served_command(&served, "check", NULL, said, sizeof said);
    if (status != 0 || strstr(said, ": 0 differences") == NULL)
        fail_msg("noonarcd check: %d: %s", status, said);
}

static void start_over(void) {
    line_close(&line);
    served_start(&served);
    line_init(&line, served.base);
}

/* The run that is sent while it lasts, and once more when it is over. */
static void refused_then_taken(void (*begin)(void), void (*end)(void)) {
    struct text body;
    char key[32];
    char *before = read_all();
    write_run(&body, key, sizeof key);
    begin();
    int status = send_run(&body, key);
    assert_problem(status, 503, "storage");
    char *meanwhile = read_all();
    assert_string_equal(meanwhile, before);
    json_decref(http_get(served.base, "/health/live", 200));
    end();
    char *after = read_all();
    assert_string_equal(after, before);
    assert_taken(&body, key);
    json_decref(http_get(served.base, "/health", 200));
    free(after);
    free(meanwhile);
    free(before);
    text_release(&body);
}

static void fill_disk(void) {
    page->write_errno = ENOSPC;
}
static void break_disk(void) {
    page->write_errno = EIO;
}
static void lock_disk(void) {
    page->write_errno = EROFS; /* as Linux does with a disk that fails */
}
static void break_sync(void) {
    page->sync_errno = EIO;
}
static void all_well(void) {
    assert_true(misfortune_over(page) > 0);
}

static void disk_fails(void **state) {
    static void (*const ways[])(void) = {fill_disk, break_disk, lock_disk, break_sync};
    (void)state;
    for (int round = 0; round < 3; round++)
        for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++)
            refused_then_taken(ways[i], all_well);
    /* An end amid it leaves a sound store behind. */
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        struct text body;
        char key[32];
        write_run(&body, key, sizeof key);
        ways[i]();
        assert_int_equal(send_run(&body, key), 503);
        assert_int_equal(served_stop(&served, SIGKILL), 128 + SIGKILL);
        all_well();
        assert_check_passes();
        start_over();
        assert_taken(&body, key);
        text_release(&body);
    }
}

static sqlite3 *other;

static void lock_store(void) {
    assert_int_equal(sqlite3_open(served.store, &other), SQLITE_OK);
    assert_int_equal(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
}
static void unlock_store(void) {
    assert_int_equal(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_close(other), SQLITE_OK);
}

static void another_program_holds_the_store(void **state) {
    (void)state;
    refused_then_taken(lock_store, unlock_store);
}

/* Wrong by years either way, and back again: no request suffers. */
static void clock_jumps(void **state) {
    static const long long offset_s[] = {3600,         -3600, 29 * DAY_S, -3650 * DAY_S,
                                         3650 * DAY_S, -2,    0};
    struct text body, first;
    char key[32];
    (void)state;
    write_run(&first, key, sizeof key);
    char first_key[32];
    snprintf(first_key, sizeof first_key, "%s", key);
    assert_taken(&first, first_key);
    char *first_answer = text_take(&answer);
    for (size_t i = 0; i < sizeof offset_s / sizeof offset_s[0]; i++) {
        page->clock_offset_s = offset_s[i];
        /* A fault and the clock together: readiness must come back. */
        write_run(&body, key, sizeof key);
        page->write_errno = ENOSPC;
        assert_int_equal(send_run(&body, key), 503);
        page->write_errno = 0;
        assert_taken(&body, key);
        text_release(&body);
        json_decref(http_get(served.base, "/health", 200));
        /* 29 days later the first answer is still given. */
        assert_int_equal(send_run(&first, first_key), 201);
        assert_string_equal(answer.bytes, first_answer);
    }
    misfortune_over(page);
    text_release(&first);
    free(first_answer);
}

static struct { long refused, unanswered, harmless; } memory;

/* A request on a connection of its own, for accepting it needs memory too, during
 * which the n-th request for memory fails. False when there were fewer. */
static bool ask_short(long n, const struct line_request *request, int *status) {
    line_close(&line);
    page->malloc_fuse = n;
    *status = line_ask(&line, request, &answer);
    bool struck = misfortune_over(page) > 0;
    memory.unanswered += *status == 0;
    memory.refused += *status >= 500;
    memory.harmless += *status != 0 && *status < 500 && struck;
    if (*status >= 500) {
        json_t *problem = json_loads(answer.bytes, 0, NULL);
        const char *code = json_string_value(json_object_get(problem, "code"));
        if (code == NULL || (strcmp(code, "storage") != 0 && strcmp(code, "internal") != 0))
            fail_msg("%s, request %ld for memory: %d %s", request->path, n, *status, answer.bytes);
        json_decref(problem);
    }
    return struck;
}

/* A run handed in: it is taken whole, or not at all and then at the next attempt. */
static void runs_short_of_memory(void) {
    bool struck = true;
    for (long n = 0; struck; n++) {
        struct text body;
        char key[32];
        int status;
        write_run(&body, key, sizeof key);
        struck = ask_short(n,
                           &(struct line_request){.path = "/api/v1/days/" DAY "/sites/hill/runs",
                                                  .key = hill.key,
                                                  .idempotency_key = key,
                                                  .body = body.bytes},
                           &status);
        if (status != 201 && status != 0 && status < 500)
            fail_msg("request %ld for memory: %d %s", n, status, answer.bytes);
        if (status == 201)
            assert_int_equal(run_answered(), newest + 1);
        assert_taken(&body, key); /* for the first time, or the answer again */
        text_release(&body);
    }
}

/* What is read is either what it always was or an error, never something else. */
static void reads_short_of_memory(const char *path) {
    const struct line_request request = {.method = "GET", .path = path};
    bool struck = true;
    int status;
    assert_int_equal(line_ask(&line, &request, &answer), 200);
    char *whole = text_take(&answer);
    for (long n = 0; struck; n++) {
        struck = ask_short(n, &request, &status);
        if (status != 0 && status < 500 && (status != 200 || strcmp(answer.bytes, whole) != 0))
            fail_msg("%s, request %ld for memory: %d %s\nnot %s", path, n, status, answer.bytes,
                     whole);
    }
    assert_int_equal(line_ask(&line, &request, &answer), 200);
    assert_string_equal(answer.bytes, whole);
    free(whole);
}

/* Something made once: made, or not and then it can be, or made without an answer. */
static void making_short_of_memory(const char *path, const char *type, const char *key,
                                   const char *format) __attribute__((format(printf, 4, 0)));
static void making_short_of_memory(const char *path, const char *type, const char *key,
                                   const char *format) {
    bool struck = true;
    for (long n = 0; struck; n++) {
        char body[512];
        int status, again;
        /* far from the others, who are looked for in the neighbourhood */
        snprintf(body, sizeof body, format, n, n, n / 300 * 0.5 + 1.0, n % 300 * 0.5 + 1.0);
        const struct line_request request = {.path = path, .type = type, .key = key, .body = body};
        struck = ask_short(n, &request, &status);
        if (status != 201 && status != 200 && status != 0 && status < 500)
            fail_msg("%s, request %ld for memory: %d %s", path, n, status, answer.bytes);
        if (status == 201 || status == 200)
            continue;
        again = line_ask(&line, &request, &answer);
        if (again != 201 && again != 200 && !(status == 0 && again == 409))
            fail_msg("%s, after request %ld for memory, %d: %d %s", path, n, status, again,
                     answer.bytes);
    }
}

/* One request for memory after the other fails, wherever in the server that is,
 * until the whole goes through. */
static void memory_runs_out(void **state) {
    static const char *const reads[] = {RESULT,
                                        RUNS,
                                        "/api/v1/days/" DAY "/leaderboard",
                                        "/api/v1/days/" DAY "/pairs",
                                        "/api/v1/days/" DAY "/pairs.csv",
                                        "/api/v1/days/" DAY "/readings.csv",
                                        "/api/v1/days/" DAY "/line.csv",
                                        "/api/v1/days/" DAY "/sites.geojson",
                                        "/api/v1/days/" DAY "/sites/hill/plan",
                                        "/api/v1/sites/hill",
                                        "/health"};
    (void)state;
    runs_short_of_memory();
    for (size_t i = 0; i < sizeof reads / sizeof reads[0]; i++)
        reads_short_of_memory(reads[i]);
    making_short_of_memory(
        "/api/v1/sites", NULL, NULL,
        "{\"site\":\"short-%ld\",\"name\":\"Short of Memory %ld\",\"lat_deg\":%.1f,"
        "\"lon_deg\":%.1f,\"zone\":\"UTC\",\"gnomon_mm\":1000}");
    making_short_of_memory("/api/v1/sites.csv", "text/csv", served.organiser,
                           "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\r\n"
                           "sheet-%1$ld,%3$.1f,-%4$.1f,100,1000,umbra\r\n"
                           "other-%2$ld,-%3$.1f,-%4$.1f,100,1000,umbra\r\n");
    making_short_of_memory("/api/v1/days", NULL, served.organiser,
                           "{\"date\":\"2027-06-21\",\"day\":\"day-%ld\",\"name\":\"Day %ld\"}");
    json_decref(http_get(served.base, "/health", 200));
    print_message("survived %ld failed requests for memory: %ld refused, %ld without an answer, "
                  "%ld without harm\n",
                  memory.refused + memory.unanswered + memory.harmless, memory.refused,
                  memory.unanswered, memory.harmless);
#ifndef __SANITIZE_ADDRESS__
    assert_true(memory.refused > 500);
#endif
}

/* No file but the store, its lock and its log. */
static void assert_no_leftovers(void) {
    DIR *folder = opendir(served.folder);
    assert_non_null(folder);
    for (const struct dirent *entry; (entry = readdir(folder)) != NULL;)
        if (entry->d_name[0] != '.' && strncmp(entry->d_name, "store.sqlite", 12) != 0)
            fail_msg("%s is left", entry->d_name);
        else if (strstr(entry->d_name, ".part") != NULL)
            fail_msg("%s is left", entry->d_name);
    closedir(folder);
}

/* Commands that cannot do their work say so, and leave nothing behind. */
static void commands_fail_cleanly(void **state) {
    char said[256], file[400];
    (void)state;
    snprintf(file, sizeof file, "%s/backup.sqlite", served.folder);
    page->write_errno = ENOSPC;
    assert_int_equal(served_command(&served, "backup", file, said, sizeof said), 1);
    assert_int_equal(served_command(&served, "check", NULL, said, sizeof said), 1);
    assert_true(misfortune_over(page) > 0);
    page->sync_errno = EIO;
    assert_int_equal(served_command(&served, "backup", file, said, sizeof said), 1);
    assert_true(misfortune_over(page) > 0);
    assert_no_leftovers();
    /* The store, or its whole folder, may not be written to. */
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    for (int whole = 0; whole < 2; whole++) {
        page->open_errno = EROFS;
        snprintf(page->open_ending, sizeof page->open_ending, "%s", whole ? "" : ".sqlite");
        assert_int_equal(served_command(&served, "serve", NULL, said, sizeof said), 1);
        assert_int_equal(served_command(&served, "rebuild", NULL, said, sizeof said), 1);
        assert_int_equal(served_command(&served, "organiser", "Third Office", said, sizeof said),
                         1);
        assert_true(misfortune_over(page) > 0);
    }
    page->write_errno = ENOSPC;
    assert_int_equal(served_command(&served, "rebuild", NULL, said, sizeof said), 1);
    assert_int_equal(served_command(&served, "organiser", "Third Office", said, sizeof said), 1);
    assert_true(misfortune_over(page) > 0);
    assert_check_passes();
    start_over();
}

/* A command either does its work or says that it could not: at one request for memory
 * after the other, in ever longer steps. */
static void commands_run_short_of_memory(void **state) {
    static const char *const commands[] = {"check", "rebuild", "backup", "migrate"};
    char said[256], file[400];
    long failed = 0, harmless = 0;
    (void)state;
    snprintf(file, sizeof file, "%s/store.sqlite.copy", served.folder);
    line_close(&line);
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        bool struck = true;
        for (long n = 0; struck; n += 1 + n / 6) {
            page->malloc_fuse = n;
            int status =
                served_command(&served, commands[i],
                               strcmp(commands[i], "backup") == 0 ? file : NULL, said, sizeof said);
            struck = misfortune_over(page) > 0;
            if (status != 0 && status != 1)
                fail_msg("%s, request %ld for memory: %d", commands[i], n, status);
            failed += status == 1;
            harmless += status == 0 && struck;
            assert_true(status == 0 || access(file, F_OK) != 0);
            unlink(file);
            assert_no_leftovers();
        }
    }
    assert_check_passes();
    start_over();
    print_message("survived %ld failed requests for memory in commands, %ld of them without harm\n",
                  failed + harmless, harmless);
#ifndef __SANITIZE_ADDRESS__
    assert_true(failed > 60);
#endif
}

/* A store that cannot be made at first is made at last. */
static void a_new_store_on_a_full_disk(void **state) {
    struct served fresh = {.pid = 0};
    char said[256];
    (void)state;
    snprintf(fresh.store, sizeof fresh.store, "%s/store.sqlite.fresh", served.folder);
    page->write_errno = ENOSPC;
    assert_int_equal(served_command(&fresh, "migrate", NULL, said, sizeof said), 1);
    assert_true(misfortune_over(page) > 0);
    assert_int_equal(served_command(&fresh, "migrate", NULL, said, sizeof said), 0);
    assert_null(strstr(said, ": 0 of "));
    assert_int_equal(served_command(&fresh, "check", NULL, said, sizeof said), 0);
}

static void all_of_it_left_no_trace(void **state) {
    (void)state;
    json_decref(http_get(served.base, RESULT, 200));
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    assert_check_passes();
    start_over();
    json_t *runs = http_get(served.base, RUNS, 200);
    assert_int_equal(json_array_size(json_object_get(runs, "runs")), 2);
    json_decref(runs);
}

static int start(void **state) {
    struct text body;
    char path[80];
    (void)state;
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    /* A connection that libmicrohttpd forgets, short of memory, is closed that soon. */
    setenv("NOONARC_TIMEOUT", "1", 1);
    page = misfortune_new();
    served_init(&served);
    line_init(&line, served.base);
    text_init(&answer, 1u << 20);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    hill.gnomon_m = dale.gnomon_m = 1.0;
    school_register(served.base, &hill);
    school_register(served.base, &dale);
    school_join(served.base, &hill, DAY);
    school_join(served.base, &dale, DAY);
    text_init(&body, 1u << 18);
    school_measure(&dale, DAY, 7, 0, &body);
    snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/dale/runs");
    assert_int_equal(line_ask(&line,
                              &(struct line_request){.path = path,
                                                     .key = dale.key,
                                                     .idempotency_key = "run-of-dale",
                                                     .body = body.bytes},
                              &answer),
                     201);
    text_release(&body);
    char key[32];
    write_run(&body, key, sizeof key);
    assert_int_equal(send_run(&body, key), 201);
    newest = run_answered();
    text_release(&body);
    return 0;
}

static int stop(void **state) {
    (void)state;
    line_close(&line);
    text_release(&answer);
    served_release(&served);
    misfortune_free(page);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(disk_fails),
        cmocka_unit_test(another_program_holds_the_store),
        cmocka_unit_test(clock_jumps),
        cmocka_unit_test(memory_runs_out),
        cmocka_unit_test(commands_fail_cleanly),
        cmocka_unit_test(commands_run_short_of_memory),
        cmocka_unit_test(a_new_store_on_a_full_disk),
        cmocka_unit_test(all_of_it_left_no_trace),
    };
    return cmocka_run_group_tests_name("faults: live", tests, start, stop);
}
