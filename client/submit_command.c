/* SPDX-License-Identifier: MIT */
/* submit, correct: a run into the outbox and on to the server. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "client/commands.h"
#include "client/delivery.h"
#include "client/known_site.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/own_clock.h"
#include "client/results.h"
#include "client/run_input.h"
#include "client/run_prompt.h"
#include "client/screen.h"
#include "client/working.h"
#include "server/wire/json_write.h"

struct handing {
    const char *day, *site;
    bool asked; /* a person typed the readings in */
    bool site_is_known;
    struct site_record known;
    struct run_record run;
    struct text body;    /* as it will be sent */
    struct text working; /* the reduction worked out here, JSON; empty when it cannot be */
    struct outbox_item item;
};

/* The site's current run on the day, which a correction supersedes. */
static enum leave find_current(struct client *client, const struct handing *handing, int64_t *run) {
    char path[CLIENT_PATH_MAX];
    json_t *list = NULL;
    bool json = client->json;
    snprintf(path, sizeof path, "/api/v1/days/%s/runs", handing->day);
    client->json = false; /* a step on the way, not the answer */
    enum leave leave = listing_get(client, path, "runs", &list);
    client->json = json;
    if (leave != LEAVE_OK)
        return leave;
    size_t i;
    const json_t *row;
    *run = 0;
    json_array_foreach(screen_get(list, "runs"), i,
                       row) if (strcmp(screen_string(row, "run/site"), handing->site) == 0) *run =
        json_integer_value(screen_get(row, "run/id"));
    json_decref(list);
    return *run != 0 ? LEAVE_OK
                     : client_fail(client, LEAVE_REFUSED, ERR_NOT_FOUND, "",
                                   "site %s has no run on %s to correct: use submit", handing->site,
                                   handing->day);
}

/* Without the network: the run this computer handed in last for the site and day. */
static enum leave recall_current(struct client *client, struct outbox *outbox,
                                 const struct handing *handing, int64_t *run) {
    struct outbox_item item;
    int64_t number = 0;
    int found;
    *run = 0;
    err_clear(&client->err);
    while ((found = outbox_next(outbox, number, &item, &client->err)) > 0) {
        number = item.number;
        if (item.state == OUTBOX_DONE && strcmp(item.server, client->server) == 0 &&
            strcmp(item.site, handing->site) == 0 && strcmp(item.day, handing->day) == 0)
            *run = item.run;
        outbox_item_release(&item);
    }
    if (found < 0)
        return LEAVE_FILE;
    if (*run != 0)
        return LEAVE_OK;
    return client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                       "no answer from the server, and this computer does not know which run to "
                       "correct: give its number with --supersedes, and it is kept in the outbox");
}

static enum leave take_run(struct client *client, struct outbox *outbox, struct handing *handing,
                           bool correct) {
    const struct site_record *known = handing->site_is_known ? &handing->known : NULL;
    handing->asked = arguments_given(&client->args, "ask") || !run_input_given(client);
    enum leave leave =
        handing->asked
            ? run_prompt(client, outbox, handing->day, handing->site, known, &handing->run)
            : run_input_take(client, known, &handing->run, &handing->body);
    if (leave != LEAVE_OK)
        return leave;
    int64_t given = correct ? (int64_t)arguments_number(&client->args, "supersedes", 0) : 0;
    if (correct && given == 0 && handing->run.supersedes == 0) {
        leave = find_current(client, handing, &given);
        if (leave == LEAVE_NETWORK)
            leave = recall_current(client, outbox, handing, &given);
    }
    if (given != 0)
        handing->run.supersedes = given;
    if (leave == LEAVE_OK && (handing->asked || given != 0))
        leave = run_input_document(client, &handing->run, &handing->body);
    if (leave == LEAVE_OK && handing->body.failed)
        leave = client_fail(client, LEAVE_FILE, ERR_STORAGE, "", "out of memory");
    return leave;
}

static void work_out(struct client *client, struct handing *handing) {
    struct err err = {.code = ERR_NONE};
    if (handing->run.run.clock.sigma_s > 0.0)
        (void)own_clock_rule(client, handing->day, &handing->run.run.clock);
    if (!handing->site_is_known ||
        working_reduction(&handing->known, &handing->run.run, &handing->working, &err) != 0)
        text_release(&handing->working);
    if (handing->asked || client->json) /* the person has seen it */
        return;
    if (handing->working.length == 0) {
        puts("(the site's position is not known here: the server will work the angle out)");
        return;
    }
    json_t *reduction = json_loadb(handing->working.bytes, handing->working.length, 0, NULL);
    results_print_reduction(stdout, reduction, handing->known.zone);
    json_decref(reduction);
    fflush(stdout);
}

static enum leave store(struct client *client, struct outbox *outbox, struct handing *handing) {
    struct outbox_item *item = &handing->item;
    snprintf(item->server, sizeof item->server, "%s", client->server);
    snprintf(item->site, sizeof item->site, "%s", handing->site);
    snprintf(item->day, sizeof item->day, "%s", handing->day);
    item->body = handing->body.bytes;
    item->created_utc_s = (double)time(NULL);
    item->from_draft = handing->asked;
    return outbox_add(outbox, item, &client->err) == 0 ? LEAVE_OK : LEAVE_FILE;
}

static void print_answer(const struct client *client, const json_t *answer) {
    const json_t *reduction = screen_get(answer, "reduction");
    printf("recorded as run %lld: noon angle ",
           (long long)json_integer_value(screen_get(answer, "run/id")));
    screen_measure(stdout, screen_number(reduction, "noon_angle_deg"),
                   screen_number(reduction, "sigma_deg"), "°\n\n");
    results_print_pairs(stdout, client->terminal, screen_get(answer, "pairs"));
    organise_tell_warnings(answer);
}

/* The problem document of a run that waits: with its number and what is known already. */
static void explain_waiting(struct client *client, const struct handing *handing) {
    long long number = (long long)handing->item.number;
    snprintf(client->note, sizeof client->note,
             "the run is kept in the outbox as number %lld; `noonarc outbox send` sends it later",
             number);
    struct json_writer json;
    char type[64];
    text_release(&client->problem);
    json_write_init(&json, &client->problem);
    snprintf(type, sizeof type, "urn:noonarc:problem:%s", err_name(client->err.code));
    json_write_object(&json, NULL);
    json_write_text(&json, "type", type);
    json_write_text(&json, "title", err_title(client->err.code));
    json_write_text(&json, "detail", client->err.text);
    json_write_text(&json, "code", err_name(client->err.code));
    json_write_text_or_null(&json, "field", client->err.field);
    json_write_integer(&json, "outbox", number);
    if (handing->working.length > 0)
        json_write_raw(&json, "reduction", handing->working.bytes, handing->working.length);
    json_write_end(&json);
}

static void explain_refusal(struct client *client, struct outbox *outbox,
                            const struct handing *handing) {
    long long number = (long long)handing->item.number;
    struct err ignored = {.code = ERR_NONE};
    if (handing->asked && outbox_draft_keep(outbox, client->server, handing->site, handing->day,
                                            handing->body.bytes, &ignored) == 0)
        snprintf(client->note, sizeof client->note,
                 "to mend it, run the same command again: it goes on from these readings "
                 "(`noonarc outbox drop %lld` forgets the refused run)",
                 number);
    else
        snprintf(client->note, sizeof client->note,
                 "it stays in the outbox, refused: `noonarc outbox show %lld` prints it for "
                 "mending, `noonarc outbox drop %lld` forgets it",
                 number, number);
}

static enum leave deliver(struct client *client, struct outbox *outbox,
                          const struct handing *handing) {
    struct delivery_count count;
    struct net_answer answer;
    json_t *result = NULL;
    net_answer_init(&answer);
    enum leave leave = delivery_send_waiting(client, outbox, handing->site, handing->item.number,
                                             client->json ? NULL : stderr, &count);
    if (leave != LEAVE_FILE && client->err.code != ERR_NETWORK) {
        err_clear(&client->err); /* how earlier runs fared has been told */
        leave = delivery_send(client, outbox, &handing->item, handing->site, &answer, &result);
    }
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        print_answer(client, result);
    else if (leave == LEAVE_NETWORK)
        explain_waiting(client, handing);
    else if (leave == LEAVE_REFUSED)
        explain_refusal(client, outbox, handing);
    json_decref(result);
    net_answer_release(&answer);
    return leave;
}

static enum leave hand_in(struct client *client, bool correct) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_CLASS, KEY_ORGANISER};
    struct handing *handing = calloc(1, sizeof *handing);
    struct outbox *outbox = NULL;
    if (handing == NULL)
        return client_fail(client, LEAVE_FILE, ERR_STORAGE, "", "out of memory");
    text_init(&handing->body, RUN_DOCUMENT_MAX);
    text_init(&handing->working, RUN_DOCUMENT_MAX);
    char secret[KEYS_SECRET_MAX];
    enum leave leave = client_identifier(client, 0, "day", &handing->day);
    if (leave == LEAVE_OK)
        leave = client_identifier(client, 1, "site", &handing->site);
    if (leave == LEAVE_OK) /* asked for before the work of typing, used when sending */
        leave = client_key(client, handing->site, kinds, 3, secret, &handing->item.key_kind);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && outbox_open(&outbox, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK) {
        handing->site_is_known = known_site_find(client, outbox, handing->site, &handing->known);
        leave = take_run(client, outbox, handing, correct);
    }
    if (leave == LEAVE_OK) {
        work_out(client, handing);
        leave = store(client, outbox, handing);
    }
    if (leave == LEAVE_OK)
        leave = deliver(client, outbox, handing);
    outbox_close(outbox);
    text_release(&handing->working);
    text_release(&handing->body);
    free(handing);
    return leave;
}

static enum leave run_submit(struct client *client) {
    return hand_in(client, false);
}

static enum leave run_correct(struct client *client) {
    return hand_in(client, true);
}

#define ASK_ROW                                                                                    \
    {                                                                                              \
        .name = "ask", .kind = OPTION_FLAG,                                                        \
        .help = "ask for the readings one by one, also when standard input is not a terminal"      \
    }
static const struct option_row submit_rows[] = {ASK_ROW};
static const struct option_row correct_rows[] = {
    ASK_ROW,
    {.name = "supersedes",
     .kind = OPTION_COUNT,
     .value = "RUN",
     .min = 1,
     .max = 9007199254740992.0,
     .help = "number of the run it takes the place of (else the site's current run, asked of the "
             "server)"},
};

#define HOW_RUNS_COME                                                                              \
    "Readings come from --reading, from --file or from standard input; at a terminal they are "    \
    "asked for one by one. The run is worked out here first, then kept in the outbox, then sent. " \
    "With no network it stays there, and the next submit or `noonarc outbox send` sends it; the "  \
    "server counts it once however often it is sent."

const struct command submit_command = {
    .name = "submit",
    .summary = "hand in the readings of a site's noon",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(submit_rows),
    .more_options = &run_options,
    .run = run_submit,
    .detail = HOW_RUNS_COME,
    .example = "noonarc submit 2027-03-20 hillside --gnomon 2880+300 --file readings.csv",
};

const struct command correct_command = {
    .name = "correct",
    .summary = "hand in a run that takes the place of an earlier one",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(correct_rows),
    .more_options = &run_options,
    .run = run_correct,
    .detail = "The earlier run stays on record; results use the new one. " HOW_RUNS_COME,
    .example = "noonarc correct 2027-03-20 hillside --file readings-mended.csv",
};
