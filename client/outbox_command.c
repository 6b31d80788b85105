/* SPDX-License-Identifier: MIT */
/* outbox: the runs kept here: list, show, send, drop. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/delivery.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/json_write.h"

#define LISTING_BYTES_MAX ((size_t)64 << 20)

static const struct option_row rows[] = {
    {.name = "all", .kind = OPTION_FLAG, .help = "list: also the runs that are done"},
    {.name = "done", .kind = OPTION_FLAG, .help = "drop: forget all runs that are done"},
};

static const struct column columns[] = {
    {.title = "number", .key = "number"},
    {.title = "day", .key = "day"},
    {.title = "site", .key = "site"},
    {.title = "state", .key = "state"},
    {.title = "tries", .key = "tries"},
    {.title = "kept", .key = "created_utc", .kind = CELL_TIME},
    {.title = "server", .key = "server"},
};

static void write_item(struct json_writer *json, const char *key, const struct outbox_item *item) {
    json_write_object(json, key);
    json_write_integer(json, "number", item->number);
    json_write_text(json, "server", item->server);
    json_write_text(json, "day", item->day);
    json_write_text(json, "site", item->site);
    json_write_text(json, "state", outbox_state_name(item->state));
    json_write_integer(json, "tries", item->tries);
    json_write_instant(json, "created_utc", item->created_utc_s, 0);
    json_write_text(json, "idempotency_key", item->idempotency_key);
    json_write_text_or_null(json, "code", item->code);
    json_write_text_or_null(json, "reason", item->reason);
    if (item->run != 0)
        json_write_integer(json, "run", item->run);
    else
        json_write_null(json, "run");
    json_write_end(json);
}

static void print_items(const struct client *client, const json_t *items) {
    screen_table(stdout, client->terminal, columns, sizeof columns / sizeof columns[0], items);
    size_t i;
    const json_t *item;
    json_array_foreach(items, i, item) {
        const char *reason = screen_string(item, "reason");
        char line[512];
        snprintf(line, sizeof line, "%.0f: %s", screen_number(item, "number"), reason);
        if (*reason != '\0')
            screen_wrapped(stdout, 0, line);
    }
}

static enum leave list(struct client *client, struct outbox *outbox) {
    struct text text;
    struct json_writer json;
    bool all = arguments_given(&client->args, "all");
    text_init(&text, LISTING_BYTES_MAX);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    json_write_array(&json, "outbox");
    struct outbox_item item = {.number = 0};
    int next;
    while ((next = outbox_next(outbox, item.number, &item, &client->err)) > 0) {
        if (all || item.state != OUTBOX_DONE)
            write_item(&json, NULL, &item);
        outbox_item_release(&item);
    }
    json_write_end(&json);
    json_write_end(&json);
    if (next == 0 && client->json)
        client_print(text.bytes);
    if (next == 0 && !client->json) {
        json_t *whole = json_loadb(text.bytes, text.length, 0, NULL);
        const json_t *items = screen_get(whole, "outbox");
        if (json_array_size(items) == 0)
            puts("the outbox is empty");
        else
            print_items(client, items);
        json_decref(whole);
    }
    text_release(&text);
    return next == 0 ? LEAVE_OK : LEAVE_FILE;
}

/* The run whose number was typed. */
static enum leave find(struct client *client, struct outbox *outbox, struct outbox_item *item) {
    double number;
    if (client->args.operands < 2)
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "NUMBER",
                           "give the number of the run in the outbox");
    const char *word = client->args.operand[1];
    if (!number_parse(word, &number) || number < 1 || number > 1e15 || number != floor(number))
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_TYPE, "NUMBER",
                           "\"%.40s\" is not the number of a run in the outbox", word);
    int found = outbox_find(outbox, (int64_t)number, item, &client->err);
    if (found < 0)
        return LEAVE_FILE;
    return found > 0 ? LEAVE_OK
                     : client_fail(client, LEAVE_REFUSED, ERR_NOT_FOUND, "NUMBER",
                                   "there is no run %s in the outbox", word);
}

static enum leave show(struct client *client, struct outbox *outbox) {
    struct outbox_item item = {.number = 0};
    enum leave leave = find(client, outbox, &item);
    if (leave != LEAVE_OK)
        return leave;
    client_print(item.body);
    if (!client->json && item.reason[0] != '\0') {
        fprintf(stderr, "noonarc: %s: ", outbox_state_name(item.state));
        screen_put(stderr, item.reason);
        fputc('\n', stderr);
    }
    outbox_item_release(&item);
    return LEAVE_OK;
}

static void print_count(const struct client *client, const struct delivery_count *count) {
    if (!client->json) {
        if (count->sent + count->refused + count->waiting == 0)
            puts("nothing was waiting");
        return;
    }
    printf("{\"sent\":%d,\"refused\":%d,\"waiting\":%d}\n", count->sent, count->refused,
           count->waiting);
}

static enum leave send_one(struct client *client, struct outbox *outbox) {
    struct outbox_item item = {.number = 0};
    struct net_answer answer;
    json_t *result = NULL;
    enum leave leave = find(client, outbox, &item);
    if (leave != LEAVE_OK)
        return leave;
    net_answer_init(&answer);
    if (item.state == OUTBOX_DONE)
        leave = client_fail(client, LEAVE_REFUSED, ERR_RUN_EXISTS, "NUMBER",
                            "run %lld of the outbox is done", (long long)item.number);
    else if (outbox_retry(outbox, item.number, &client->err) != 0)
        leave = LEAVE_FILE;
    else
        leave = delivery_send(client, outbox, &item, NULL, &answer, &result);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        printf("sent: run %lld\n", (long long)json_integer_value(screen_get(result, "run/id")));
    json_decref(result);
    net_answer_release(&answer);
    outbox_item_release(&item);
    return leave;
}

static enum leave send(struct client *client, struct outbox *outbox) {
    if (client->args.operands == 2)
        return send_one(client, outbox);
    struct delivery_count count;
    enum leave leave = delivery_send_waiting(client, outbox, NULL, INT64_MAX,
                                             client->json ? NULL : stdout, &count);
    if (leave != LEAVE_FILE) {
        print_count(client, &count);
        client->told = true; /* run by run */
    }
    return leave;
}

static enum leave drop(struct client *client, struct outbox *outbox) {
    int dropped = 0;
    if (arguments_given(&client->args, "done") && client->args.operands == 1) {
        if (outbox_drop_done(outbox, &dropped, &client->err) != 0)
            return LEAVE_FILE;
    } else {
        struct outbox_item item = {.number = 0};
        enum leave leave = find(client, outbox, &item);
        if (leave != LEAVE_OK)
            return leave;
        dropped = outbox_drop(outbox, item.number, &client->err);
        outbox_item_release(&item);
        if (dropped < 0)
            return LEAVE_FILE;
    }
    printf(client->json ? "{\"dropped\":%d}\n" : "dropped: %d\n", dropped);
    return LEAVE_OK;
}

static enum leave run(struct client *client) {
    static const struct {
        const char *word;
        enum leave (*run)(struct client *client, struct outbox *outbox);
        int operands_max;
    } words[] = {{"list", list, 1}, {"show", show, 2}, {"send", send, 2}, {"drop", drop, 2}};
    const char *word = client->args.operands > 0 ? client->args.operand[0] : "list";
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(word, words[i].word) != 0 || client->args.operands > words[i].operands_max)
            continue;
        struct outbox *outbox;
        if (outbox_open(&outbox, &client->err) != 0)
            return LEAVE_FILE;
        enum leave leave = words[i].run(client, outbox);
        outbox_close(outbox);
        return leave;
    }
    return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "outbox",
                       "say outbox list, show NUMBER, send [NUMBER] or drop NUMBER");
}

const struct command outbox_command = {
    .name = "outbox",
    .summary = "runs that wait for the network, or were refused",
    .operands = "[list | show NUMBER | send [NUMBER] | drop NUMBER]",
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "send sends what waits; with a number it tries that run again, also a refused one. "
              "show prints the run document, to be mended and handed in with submit --file. Runs "
              "of every server are here; each goes to its own.",
    .example = "noonarc outbox send",
};
