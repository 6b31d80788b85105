/* SPDX-License-Identifier: MIT */
/* watch: a day as it happens. In a terminal a picture that is drawn anew; elsewhere a
 * line for each thing; with --json a JSON document a line. When the connection breaks
 * it comes back and goes on where it was. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "client/commands.h"
#include "client/events.h"
#include "client/listing.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/sky.h"

#define NEWEST_MAX 12 /* lines of news in the picture */
#define LINE_MAX_BYTES 240
#define RETRY_FIRST_MS 1000
#define RETRY_MOST_MS 30000
#define FAILURES_MAX 20 /* in a row */

struct watch {
    struct client *client;
    const char *day;
    struct events events;
    json_t *lines; /* site -> its line of the board */
    char result[LINE_MAX_BYTES];
    char newest[NEWEST_MAX][LINE_MAX_BYTES]; /* the newest first */
    int news;
    bool drawn;
    bool heard;         /* an event came on this connection */
    enum leave trouble; /* the board could not be fetched */
    time_t until;       /* 0: for good */
};

static const struct option_row rows[] = {
    {.name = "for",
     .kind = OPTION_COUNT,
     .value = "SECONDS",
     .min = 1,
     .max = 86400,
     .help = "end after so long; without it, on Ctrl-C"},
};

static void remember_line(struct watch *watch, const char *site, const char *key,
                          const json_t *value) {
    json_t *line = json_object_get(watch->lines, site);
    if (line == NULL) {
        line = json_object();
        json_object_set_new(watch->lines, site, line);
    }
    json_object_set(line, key, (json_t *)value);
}

static enum leave fetch_board(struct watch *watch) {
    char path[CLIENT_PATH_MAX];
    json_t *board = NULL;
    const json_t *line;
    size_t i;
    snprintf(path, sizeof path, "/api/v1/days/%s/sky", watch->day);
    enum leave leave = listing_get(watch->client, path, "sites", &board);
    if (leave == LEAVE_OK) {
        json_object_clear(watch->lines);
        json_array_foreach(screen_get(board, "sites"), i, line)
            json_object_set(watch->lines, screen_string(line, "site"), (json_t *)line);
    }
    json_decref(board);
    return leave;
}

/* "11:58:03" of "2027-03-20T11:58:03Z". */
static void put_clock(char out[16]) {
    char instant[40];
    instant_format((double)time(NULL), 0, instant, sizeof instant);
    snprintf(out, 16, "%.8s", strlen(instant) > 11 ? instant + 11 : "");
}

static void put_safely(char *out, size_t size, const char *text) {
    size_t length = 0;
    for (; *text != '\0' && length + 1 < size; text++)
        out[length++] = (unsigned char)*text < ' ' || *text == 127 ? '?' : *text;
    out[length] = '\0';
}

static void say(struct watch *watch, const char *words) {
    char clock[16], line[LINE_MAX_BYTES];
    put_clock(clock);
    snprintf(line, sizeof line, "%s UTC  %.200s", clock, words);
    if (!watch->client->terminal) {
        puts(line);
        fflush(stdout);
        return;
    }
    memmove(watch->newest[1], watch->newest[0], sizeof watch->newest - sizeof watch->newest[0]);
    put_safely(watch->newest[0], sizeof watch->newest[0], line);
    watch->news += watch->news < NEWEST_MAX;
}

static void draw(struct watch *watch) {
    static const char *const marks[SKY_COUNT] = {"not said", "clear", "broken", "overcast",
                                                 "gone home"};
    size_t count[SKY_COUNT] = {0};
    double readings = 0.0;
    size_t runs = 0;
    const char *site;
    json_t *line;
    json_object_foreach(watch->lines, site, line) {
        enum sky sky = SKY_UNTOLD;
        if (!sky_parse(screen_string(line, "sky"), &sky))
            sky = SKY_UNTOLD;
        count[sky]++;
        if (screen_number(line, "readings") > 0.0) {
            runs++;
            readings += screen_number(line, "readings");
        }
    }
    if (!watch->drawn)
        fputs("\033[2J", stdout);
    watch->drawn = true;
    /* Home, and what was there is cleared line by line: no flicker. */
    printf("\033[H%s\033[K\n\033[K\n", watch->day);
    printf("%zu of %zu schools handed in, %.0f readings\033[K\n", runs,
           json_object_size(watch->lines), readings);
    for (int sky = SKY_CLEAR; sky <= SKY_COUNT; sky++)
        printf("%s%s %zu", sky == SKY_CLEAR ? "sky: " : ", ", marks[sky % SKY_COUNT],
               count[sky % SKY_COUNT]);
    printf("\033[K\n%s\033[K\n\033[K\n", watch->result);
    for (int i = 0; i < watch->news; i++)
        printf("%s\033[K\n", watch->newest[i]);
    fputs("\033[J", stdout);
    fflush(stdout);
}

static void tell_result(struct watch *watch, const json_t *data) {
    char words[LINE_MAX_BYTES];
    if (json_is_number(screen_get(data, "circumference_km")))
        snprintf(words, sizeof words, "result: %.0f ± %.0f km from %.0f schools",
                 screen_number(data, "circumference_km"), screen_number(data, "sigma_km"),
                 screen_number(data, "sites"));
    else
        snprintf(words, sizeof words, "result: none yet");
    if (strcmp(words, watch->result) == 0)
        return;
    memcpy(watch->result, words, sizeof words);
    if (!watch->client->terminal)
        say(watch, words);
}

static void tell_partner(struct watch *watch, const json_t *data) {
    char words[LINE_MAX_BYTES];
    const char *because = screen_string(data, "because");
    if (screen_string(data, "site")[0] == '\0')
        snprintf(words, sizeof words, "partners were chosen for all");
    else
        snprintf(words, sizeof words, "%.40s: partner %.40s (%.10s%s%.40s)",
                 screen_string(data, "site"), screen_string(data, "partner"),
                 screen_string(data, "kind"), because[0] != '\0' ? ", because of " : "", because);
    say(watch, words);
}

static void tell(struct watch *watch, const char *name, const json_t *data) {
    const char *site = screen_string(data, "site");
    char words[LINE_MAX_BYTES];
    if (strcmp(name, "sky") == 0) {
        remember_line(watch, site, "sky", screen_get(data, "sky"));
        snprintf(words, sizeof words, "%.40s: sky %.20s", site, screen_string(data, "sky"));
        say(watch, words);
    } else if (strcmp(name, "run") == 0) {
        remember_line(watch, site, "readings", screen_get(data, "readings"));
        if (json_is_null(screen_get(data, "run")))
            snprintf(words, sizeof words, "%.40s: run withdrawn", site);
        else
            snprintf(words, sizeof words, "%.40s: %.0f readings", site,
                     screen_number(data, "readings"));
        say(watch, words);
    } else if (strcmp(name, "partner") == 0) {
        tell_partner(watch, data);
    } else if (strcmp(name, "result") == 0) {
        tell_result(watch, data);
    } else if (strcmp(name, "start") == 0 && json_is_true(screen_get(data, "missed"))) {
        watch->trouble = fetch_board(watch);
        if (!watch->client->terminal && watch->trouble == LEAVE_OK) {
            snprintf(words, sizeof words, "watching day %.40s, %zu schools", watch->day,
                     json_object_size(watch->lines));
            say(watch, words);
        }
    }
    if (watch->client->terminal)
        draw(watch);
}

static bool over(const struct watch *watch) {
    return watch->until != 0 && time(NULL) >= watch->until;
}

static void print_event(const char *name, json_t *data) {
    json_t *event = json_pack("{s:s, s:O}", "event", name, "data", data);
    char *text = event == NULL ? NULL : json_dumps(event, JSON_COMPACT);
    if (text != NULL)
        client_print(text);
    fflush(stdout);
    free(text);
    json_decref(event);
}

static bool hear(void *context, const char *name, const char *data) {
    struct watch *watch = context;
    watch->heard = true;
    json_t *value = json_loads(data, 0, NULL);
    if (json_is_object(value) && watch->client->json)
        print_event(name, value);
    else if (json_is_object(value))
        tell(watch, name, value);
    json_decref(value);
    return watch->trouble == LEAVE_OK && !ferror(stdout);
}

static bool take(void *context, const char *bytes, size_t length) {
    struct watch *watch = context;
    return events_take(&watch->events, bytes, length, hear, watch);
}

static void wait_ms(const struct watch *watch, long ms) {
    struct timespec rest = {.tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000L};
    if (watch->until != 0 && watch->until - time(NULL) < rest.tv_sec)
        rest = (struct timespec){.tv_sec = 0, .tv_nsec = 200000000L};
    nanosleep(&rest, NULL);
}

/* One connection. LEAVE_OK: it ended as streams end, or nobody wants to hear more. */
static enum leave listen_once(struct watch *watch) {
    struct client *client = watch->client;
    struct net_answer answer;
    char path[CLIENT_PATH_MAX];
    if (watch->until == 0)
        snprintf(path, sizeof path, "/api/v1/days/%s/live", watch->day);
    else
        snprintf(path, sizeof path, "/api/v1/days/%s/live?for_s=%lld", watch->day,
                 (long long)(watch->until - time(NULL) > 1 ? watch->until - time(NULL) : 1));
    net_answer_init(&answer);
    watch->heard = false;
    events_begin(&watch->events);
    const struct net_stream stream = {
        .path = path, .last_event_id = watch->events.id, .take = take, .context = watch};
    enum leave leave = LEAVE_OK;
    if (net_listen(client->server, &stream, &answer, &client->err) != 0)
        leave = LEAVE_NETWORK;
    else if (answer.status > 299)
        leave = client_refusal(client, &answer);
    else if (watch->trouble != LEAVE_OK)
        leave = watch->trouble;
    net_answer_release(&answer);
    return leave;
}

static enum leave run_watch(struct client *client) {
    struct watch watch = {.client = client, .lines = json_object()};
    double for_s = arguments_number(&client->args, "for", 0.0);
    enum leave leave = client_identifier(client, 0, "day", &watch.day);
    int failures = 0;
    if (leave == LEAVE_OK && for_s > 0.0)
        watch.until = time(NULL) + (time_t)for_s;
    while (leave == LEAVE_OK) {
        leave = listen_once(&watch);
        failures = watch.heard ? 0 : failures + 1;
        if (over(&watch) || ferror(stdout)) {
            leave = LEAVE_OK;
            break;
        }
        if (leave == LEAVE_NETWORK && failures < FAILURES_MAX && watch.events.id[0] != '\0') {
            leave = LEAVE_OK;
            watch.trouble = LEAVE_OK;
            err_clear(&client->err);
        }
        long ms = watch.events.retry_ms > 0 ? watch.events.retry_ms : RETRY_FIRST_MS;
        ms *= 1 + failures;
        if (leave == LEAVE_OK)
            wait_ms(&watch, ms > RETRY_MOST_MS ? RETRY_MOST_MS : ms);
        if (over(&watch))
            break;
    }
    json_decref(watch.lines);
    return leave;
}

const struct command watch_command = {
    .name = "watch",
    .summary = "a day as it happens: sky, readings, partners, result",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run_watch,
    .detail = "In a terminal a picture that keeps up; elsewhere a line for each thing. With "
              "--json a document for each, one a line: {\"event\", \"data\"}.\nA broken "
              "connection is made again, and nothing is missed.",
    .example = "noonarc watch 2027-03-20",
};
