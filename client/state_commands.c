/* SPDX-License-Identifier: MIT */
/* announce, close, reopen, cancel, move, blind, history: what happens to a day after
 * it was opened. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/day_state.h"
#include "server/wire/json_write.h"

#define BODY_MAX 8192

static const struct option_row reason_rows[] = {
    {.name = "reason", .kind = OPTION_TEXT, .value = "TEXT", .help = "why; everyone can read it"},
};

static void print_day(const json_t *day) {
    fputs("day ", stdout);
    screen_put(stdout, screen_string(day, "day"));
    printf(" is %s: ", screen_string(day, "state"));
    screen_put(stdout, screen_string(day, "date"));
    size_t i;
    const json_t *spare;
    json_array_foreach(screen_get(day, "spare_dates"), i, spare) printf(
        "%s %s", i == 0 ? ", spare" : ",", json_is_string(spare) ? json_string_value(spare) : "");
    putchar('\n');
}

/* Posts a body about the day of the first operand to one of its addresses. */
static enum leave decide(struct client *client, const char *method, const char *below,
                         const char *body) {
    const char *day;
    char path[CLIENT_PATH_MAX];
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/days/%s/%s", day, below);
    leave = organise(client, method, path, body, &answer);
    if (leave == LEAVE_OK && !client->json) {
        organise_tell_warnings(answer);
        print_day(answer);
    }
    json_decref(answer);
    return leave;
}

static void end_with_reason(const struct client *client, struct json_writer *json) {
    const char *reason = arguments_text(&client->args, "reason", NULL);
    if (reason != NULL)
        json_write_text(json, "reason", reason);
    json_write_end(json);
}

static enum leave set_state(struct client *client, enum day_state state) {
    struct text body;
    struct json_writer json;
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_text(&json, "state", day_state_name(state));
    end_with_reason(client, &json);
    enum leave leave = decide(client, "POST", "state", body.bytes);
    text_release(&body);
    return leave;
}

static enum leave run_announce(struct client *client) {
    return set_state(client, DAY_ANNOUNCED);
}

static enum leave run_close(struct client *client) {
    return set_state(client, DAY_CLOSED);
}

static enum leave run_cancel(struct client *client) {
    return set_state(client, DAY_CANCELLED);
}

static enum leave run_move(struct client *client) {
    int32_t date;
    struct text body;
    struct json_writer json;
    const char *typed = client->args.operand[1];
    if (!date_parse(typed, &date))
        return client_fail(client, LEAVE_USAGE, ERR_BAD_DATE, "DATE",
                           "\"%.20s\" is not a date like 2027-03-21", typed);
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_date(&json, "date", date);
    end_with_reason(client, &json);
    enum leave leave = decide(client, "POST", "moves", body.bytes);
    text_release(&body);
    return leave;
}

static enum leave run_blind(struct client *client) {
    struct text body;
    struct json_writer json;
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_bool(&json, "blind", !arguments_given(&client->args, "lift"));
    end_with_reason(client, &json);
    enum leave leave = decide(client, "PUT", "blind", body.bytes);
    text_release(&body);
    return leave;
}

/* What each state means and allows, from the table that the server goes by. */
static void print_states(FILE *out) {
    fputs("\nstates of a day\n", out);
    for (int s = 0; s < DAY_STATES; s++) {
        struct text line;
        bool reason, any = false;
        text_init(&line, BODY_MAX);
        text_format(&line, "%s: %s. Possible: ", day_state_name((enum day_state)s),
                    day_state_meaning((enum day_state)s));
        for (int act = 0; act < DAY_ACTS; act++)
            if (day_state_allows((enum day_state)s, (enum day_act)act)) {
                text_format(&line, "%s%s", any ? ", " : "", day_act_words((enum day_act)act));
                any = true;
            }
        text_put(&line, ". May become ");
        any = false;
        for (int to = 0; to < DAY_STATES; to++)
            if (day_state_leads((enum day_state)s, (enum day_state)to, &reason)) {
                text_format(&line, "%s%s%s", any ? ", " : "", day_state_name((enum day_state)to),
                            reason ? " (with a reason)" : "");
                any = true;
            }
        text_put(&line, ".");
        screen_item(out, '-', line.bytes);
        text_release(&line);
    }
}

const struct command announce_command = {
    .name = "announce",
    .summary = "a planned day is there for everyone: schools join and measure (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_announce,
    .more_help = print_states,
    .example = "noonarc announce 2027-03-20",
};

const struct command close_command = {
    .name = "close",
    .summary = "a day is over: nothing comes in any more (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_close,
    .more_help = print_states,
    .example = "noonarc close 2027-03-20",
};

const struct command reopen_command = {
    .name = "reopen",
    .summary = "a closed or cancelled day goes on (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_announce,
    .more_help = print_states,
    .detail = "It needs a reason.",
    .example = "noonarc reopen 2027-03-20 --reason \"two schools had no network\"",
};

const struct command cancel_command = {
    .name = "cancel",
    .summary = "call a day off (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_cancel,
    .more_help = print_states,
    .detail = "It needs a reason. What came in is kept.",
    .example = "noonarc cancel 2027-03-20 --reason \"storm over the whole country\"",
};

const struct command move_command = {
    .name = "move",
    .summary = "move a day to one of its spare dates (organiser)",
    .operands = "DAY DATE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_move,
    .detail = "It needs a reason. The date it leaves becomes a spare one, so no run is lost: those "
              "that are in stay and count as a noon of their own, late ones are still taken, and a "
              "school that measures again sends that as a correction.",
    .example = "noonarc move 2027-03-20 2027-03-22 --reason \"cloud over the north\"",
};

static const struct option_row blind_rows[] = {
    {.name = "lift",
     .kind = OPTION_FLAG,
     .help = "tell the expected angle before the readings are in"},
    {.name = "reason", .kind = OPTION_TEXT, .value = "TEXT", .help = "why; everyone can read it"},
};

const struct command blind_command = {
    .name = "blind",
    .summary = "hold the expected angle back until a site has handed in, or not (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(blind_rows),
    .run = run_blind,
    .detail = "A day is blind from the start, so that nobody measures towards the answer. It needs "
              "a reason either way.",
    .example = "noonarc blind 2027-03-20 --lift --reason \"a day of practice for teachers\"",
};

static const char *told(const json_t *event, char *out, size_t size) {
    const char *kind = screen_string(event, "event");
    if (strcmp(kind, "open") == 0)
        snprintf(out, size, "opened for %s", screen_string(event, "date"));
    else if (strcmp(kind, "move") == 0)
        snprintf(out, size, "moved to %s", screen_string(event, "date"));
    else if (strcmp(kind, "blind") == 0)
        snprintf(out, size, "%s",
                 json_is_true(screen_get(event, "blind")) ? "blind" : "not blind any more");
    else
        snprintf(out, size, "%s", screen_string(event, "state"));
    return out;
}

static void print_history(const json_t *history) {
    size_t i;
    const json_t *event;
    json_array_foreach(screen_get(history, "history"), i, event) {
        char what[80];
        const char *at = screen_string(event, "at_utc"), *why = screen_string(event, "reason");
        printf("%.10s %.8s UTC  ", at, strlen(at) >= 19 ? at + 11 : "");
        screen_put(stdout, told(event, what, sizeof what));
        if (*why != '\0') {
            fputs(": ", stdout);
            screen_put(stdout, why);
        }
        putchar('\n');
    }
}

static enum leave run_history(struct client *client) {
    const char *day;
    char path[CLIENT_PATH_MAX];
    json_t *history = NULL;
    struct net_answer answer;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave != LEAVE_OK)
        return leave;
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/days/%s/history", day);
    leave = client_get_as_seen(client, path, &answer, &history);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        print_history(history);
    json_decref(history);
    net_answer_release(&answer);
    return leave;
}

const struct command history_command = {
    .name = "history",
    .summary = "what happened to a day, and why",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .run = run_history,
    .more_help = print_states,
    .example = "noonarc history 2027-03-20",
};
