/* SPDX-License-Identifier: MIT */
/* review: the queue of runs to look at, and what is said about a run. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/screen.h"
#include "server/wire/json_write.h"
#include "server/wire/review.h"

#define BODY_MAX 8192

static const struct option_row rows[] = {
    {.name = "ask", .kind = OPTION_TEXT, .value = "TEXT", .help = "ask the school of the run"},
    {.name = "answer", .kind = OPTION_TEXT, .value = "TEXT", .help = "answer, as the school"},
    {.name = "exclude",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "leave the run out; the reason is published"},
    {.name = "accept", .kind = OPTION_TEXT, .value = "TEXT", .help = "let the run count, and why"},
    {.name = "status",
     .kind = OPTION_TEXT,
     .value = "WORD",
     .help = "only runs that are open, asked, answered, excluded or accepted"},
};

static void print_item(const json_t *item) {
    size_t i;
    const json_t *row;
    printf("run %lld of ", (long long)json_integer_value(screen_get(item, "run")));
    screen_put(stdout, screen_string(item, "site"));
    printf(": %s", screen_string(item, "status"));
    double angle_deg = screen_number(item, "noon_angle_deg");
    if (isfinite(angle_deg)) {
        fputs(", noon angle ", stdout);
        screen_measure(stdout, angle_deg, screen_number(item, "sigma_deg"), "°");
    }
    putchar('\n');
    json_array_foreach(screen_get(item, "flags"), i, row)
        screen_item(stdout, '!', screen_string(row, "words"));
    json_array_foreach(screen_get(item, "reviews"), i, row) {
        char words[700];
        snprintf(words, sizeof words, "%s, %s: %s", screen_string(row, "by"),
                 screen_string(row, "verdict"), screen_string(row, "reason"));
        screen_item(stdout, '-', words);
    }
}

static enum leave show_queue(struct client *client) {
    const char *day, *status = arguments_text(&client->args, "status", NULL);
    struct text path;
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave != LEAVE_OK)
        return leave;
    text_init(&path, CLIENT_PATH_MAX);
    text_format(&path, "/api/v1/days/%s/review", day);
    if (status != NULL) {
        text_put(&path, "?status=");
        net_encode(&path, status);
    }
    leave = listing_get_as_organiser(client, path.bytes, "runs", &answer);
    text_release(&path);
    if (leave == LEAVE_OK && !client->json) {
        const json_t *runs = screen_get(answer, "runs");
        for (size_t i = 0; i < json_array_size(runs); i++) {
            if (i > 0)
                putchar('\n');
            print_item(json_array_get(runs, i));
        }
        if (json_array_size(runs) == 0)
            puts("nothing to look at");
    }
    json_decref(answer);
    return leave;
}

/* A school's own key answers; the other verdicts are an organiser's. */
static enum leave answer_as_school(struct client *client, const char *run, const char *path,
                                   const char *body, json_t **out) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};
    char address[CLIENT_PATH_MAX], secret[KEYS_SECRET_MAX];
    struct net_answer answer;
    json_t *view = NULL;
    enum key_kind kind;
    net_answer_init(&answer);
    snprintf(address, sizeof address, "/api/v1/runs/%s", run);
    enum leave leave = client_get(client, address, &answer, &view);
    if (leave == LEAVE_OK)
        leave = client_key(client, screen_string(view, "run/site"), kinds, 2, secret, &kind);
    json_decref(view);
    net_answer_release(&answer);
    if (leave != LEAVE_OK)
        return leave;
    net_answer_init(&answer);
    const struct net_request request = {.method = "POST",
                                        .path = path,
                                        .key = secret,
                                        .content_type = "application/json",
                                        .body = body,
                                        .body_length = strlen(body)};
    leave = client_send_json(client, &request, &answer, out);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    net_answer_release(&answer);
    return leave;
}

static enum leave say(struct client *client, enum review_verdict verdict, const char *reason) {
    static const char *const said[REVIEW_VERDICTS] = {"is asked", "is answered",
                                                      "is left out of all figures", "counts"};
    const char *run;
    char path[CLIENT_PATH_MAX];
    struct text body;
    struct json_writer json;
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, "run", &run);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/runs/%s/reviews", run);
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_text(&json, "verdict", review_verdict_name(verdict));
    json_write_text(&json, "reason", reason);
    json_write_end(&json);
    leave = verdict == REVIEW_ANSWER ? answer_as_school(client, run, path, body.bytes, &answer)
                                     : organise(client, "POST", path, body.bytes, &answer);
    if (leave == LEAVE_OK && !client->json)
        printf("run %s %s\n", run, said[verdict]);
    text_release(&body);
    json_decref(answer);
    return leave;
}

static enum leave run(struct client *client) {
    int given = 0;
    enum review_verdict verdict = REVIEW_ASK;
    for (int i = 0; i < REVIEW_VERDICTS; i++)
        if (arguments_given(&client->args, review_verdict_name((enum review_verdict)i))) {
            verdict = (enum review_verdict)i;
            given++;
        }
    if (given > 1)
        return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--exclude",
                           "say one of --ask, --answer, --exclude and --accept");
    if (given == 0)
        return show_queue(client);
    return say(client, verdict, arguments_text(&client->args, review_verdict_name(verdict), ""));
}

const struct command review_command = {
    .name = "review",
    .summary = "runs to look at; ask about one, answer, leave it out, let it count",
    .operands = "DAY | RUN",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "With a day: its flagged runs and what was said about them. With a run and one of "
              "--ask, --exclude, --accept (organisers) or --answer (its school): says it. Nothing "
              "is deleted: of exclusions and acceptances the newest holds, and every figure says "
              "how many runs were left out and why.",
    .example = "noonarc review 17 --exclude \"The pole leaned, says the school.\"",
};
