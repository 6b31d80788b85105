/* SPDX-License-Identifier: MIT */
#include "tests/support/load.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>
#include <sqlite3.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/simulate.h"

#define DATE "2027-03-21"
#define ANSWER_MAX (1u << 20)
#define BUSY_WAIT_US 2000

static void enrol(struct load *load, int at) {
    struct load_class *class = &load->class[at];
    class->load = load;
    class->pause = load->seed + (uint64_t)at + 1;
    snprintf(class->name, sizeof class->name, "class-%d", at);
    snprintf(class->path, sizeof class->path, "/api/v1/days/" DATE "/sites/class-%d/runs", at);
    class->school = (struct school){.site = class->name,
                                    .name = class->name,
                                    .lat_deg = 30.0 + 3.0 * at,
                                    .lon_deg = 20.0 + 0.1 * at,
                                    .gnomon_m = 1.0};
    school_register(load->base, &class->school);
    school_join(load->base, &class->school, DATE);
    for (int i = 0; i < LOAD_VARIANTS; i++) {
        text_init(&class->variant[i], 1u << 18);
        school_measure(&class->school, DATE, load->seed * 100 + (uint64_t)(at * 10 + i), 0,
                       &class->variant[i]);
    }
}

void load_init(struct load *load, const struct served *served, uint64_t seed) {
    memset(load, 0, sizeof *load);
    load->seed = seed;
    snprintf(load->base, sizeof load->base, "%s", served->base);
    json_decref(http_send(load->base, "POST", "/api/v1/days", served->organiser,
                          "{\"date\":\"" DATE "\"}", 201));
    for (int i = 0; i < LOAD_CLASSES; i++)
        enrol(load, i);
}

void load_release(struct load *load) {
    for (int i = 0; i < LOAD_CLASSES; i++) {
        struct load_class *class = &load->class[i];
        for (size_t k = 0; k < class->count; k++) {
            free(class->handed[k].body);
            free(class->handed[k].answer);
        }
        free(class->handed);
        for (int k = 0; k < LOAD_VARIANTS; k++)
            text_release(&class->variant[k]);
    }
}

static bool waiting(const struct load_class *class) {
    return class->count > 0 && class->handed[class->count - 1].answer == NULL;
}

/* The next run: a correction of the one before. */
static void write_next(struct load_class *class) {
    const char *variant = class->variant[class->count % LOAD_VARIANTS].bytes;
    size_t size = strlen(variant) + 40;
    char *body = malloc(size);
    class->handed = realloc(class->handed, (class->count + 1) * sizeof *class->handed);
    if (body == NULL || class->handed == NULL)
        abort();
    if (class->run == 0)
        snprintf(body, size, "%s", variant);
    else
        snprintf(body, size, "{\"supersedes\":%lld,%s", class->run, variant + 1);
    class->handed[class->count++] = (struct handed){.body = body};
}

static int hand_in(struct load_class *class, struct line *line, size_t at, struct text *answer) {
    char key[64];
    snprintf(key, sizeof key, "%s-run-%zu", class->name, at);
    return line_ask(line,
                    &(struct line_request){.path = class->path,
                                           .key = class->school.code,
                                           .idempotency_key = key,
                                           .body = class->handed[at].body},
                    answer);
}

static long long run_of(const char *answer) {
    long long run = 0;
    return sscanf(answer, "{\"run\":{\"id\":%lld", &run) == 1 ? run : 0;
}

static void rest(struct load_class *class) {
    struct chance chance = {class->pause};
    usleep((useconds_t)(chance_even(&chance) * class->load->pause_max_us));
    class->pause = chance.state;
}

static void *work(void *context) {
    struct load_class *class = context;
    struct line line;
    struct text answer;
    line_init(&line, class->load->base);
    text_init(&answer, ANSWER_MAX);
    while (!__atomic_load_n(&class->load->stop, __ATOMIC_RELAXED)) {
        if (!waiting(class))
            write_next(class);
        int status = hand_in(class, &line, class->count - 1, &answer);
        if (status == 0)
            break;
        if (status == 503) {
            usleep(BUSY_WAIT_US);
            continue;
        }
        class->run = status == 201 ? run_of(answer.bytes) : 0;
        if (class->run == 0) {
            class->wrong = status;
            print_error("%s: %s\n", class->name, answer.bytes);
            break;
        }
        class->handed[class->count - 1].answer = text_take(&answer);
        rest(class);
    }
    line_close(&line);
    text_release(&answer);
    return NULL;
}

void load_start(struct load *load, const struct served *served) {
    snprintf(load->base, sizeof load->base, "%s", served->base);
    __atomic_store_n(&load->stop, false, __ATOMIC_RELAXED);
    for (int i = 0; i < LOAD_CLASSES; i++)
        assert_int_equal(pthread_create(&load->class[i].thread, NULL, work, &load->class[i]), 0);
}

void load_end(struct load *load, bool told) {
    if (told)
        __atomic_store_n(&load->stop, true, __ATOMIC_RELAXED);
    for (int i = 0; i < LOAD_CLASSES; i++)
        pthread_join(load->class[i].thread, NULL);
    for (int i = 0; i < LOAD_CLASSES; i++)
        assert_int_equal(load->class[i].wrong, 0);
}

size_t load_answered(const struct load *load) {
    size_t answered = 0;
    for (int i = 0; i < LOAD_CLASSES; i++)
        answered += load->class[i].count - waiting(&load->class[i]);
    return answered;
}

void load_replay(struct load *load, const struct served *served, const size_t *from) {
    struct line line;
    struct text answer;
    line_init(&line, served->base);
    text_init(&answer, ANSWER_MAX);
    for (int i = 0; i < LOAD_CLASSES; i++) {
        struct load_class *class = &load->class[i];
        for (size_t k = from == NULL ? 0 : from[i]; k < class->count; k++) {
            if (class->handed[k].answer == NULL)
                continue;
            int status = hand_in(class, &line, k, &answer);
            if (status != 201 || strcmp(answer.bytes, class->handed[k].answer) != 0)
                fail_msg("%s, run %zu: %d, %s\nbefore: %s", class->name, k, status, answer.bytes,
                         class->handed[k].answer);
        }
    }
    line_close(&line);
    text_release(&answer);
}

/* The first column of the first row. */
static void ask_sqlite(const char *store, const char *sql, char *out, size_t size) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open_v2(store, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &row, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(row), SQLITE_ROW);
    snprintf(out, size, "%s", (const char *)sqlite3_column_text(row, 0));
    sqlite3_finalize(row);
    sqlite3_close(db);
}

void load_assert_store(const struct load *load, const char *store) {
    char found[256];
    size_t least = load_answered(load), most = least;
    ask_sqlite(store, "PRAGMA integrity_check", found, sizeof found);
    assert_string_equal(found, "ok");
    for (int i = 0; i < LOAD_CLASSES; i++)
        most += waiting(&load->class[i]);
    ask_sqlite(store, "SELECT COUNT(*) FROM run", found, sizeof found);
    size_t runs = strtoul(found, NULL, 10);
    if (runs < least || runs > most)
        fail_msg("%zu runs in the store, not from %zu to %zu", runs, least, most);
}
