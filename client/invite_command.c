/* SPDX-License-Identifier: MIT */
/* invite, invitations, accept: a season's invitations, and a school's answer to one. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/screen.h"
#include "server/wire/csv.h"
#include "server/wire/json_write.h"

#define SHEET_BYTES_MAX ((size_t)16 << 20)

static const struct column code_columns[] = {
    {.title = "name", .key = "name"},
    {.title = "contact", .key = "contact"},
    {.title = "invitation", .key = "invitation"},
};
#define CODE_COLUMNS (sizeof code_columns / sizeof code_columns[0])

static enum leave write_codes(struct client *client, const char *path, const json_t *rows) {
    struct text text;
    struct csv_writer csv;
    size_t i;
    const json_t *row;
    text_init(&text, SHEET_BYTES_MAX);
    csv_writer_init(&csv, &text);
    for (size_t c = 0; c < CODE_COLUMNS; c++)
        csv_write_text(&csv, code_columns[c].key);
    csv_write_row_end(&csv);
    json_array_foreach(rows, i, row) {
        for (size_t c = 0; c < CODE_COLUMNS; c++)
            csv_write_text(&csv, screen_string(row, code_columns[c].key));
        csv_write_row_end(&csv);
    }
    int result = text.failed ? err_set(&client->err, ERR_STORAGE, path, "out of memory")
                             : files_write(path, text.bytes, text.length, 0600, &client->err);
    explicit_bzero(text.bytes, text.length);
    text_release(&text);
    return result == 0 ? LEAVE_OK : LEAVE_FILE;
}

/* Every wrong row, not the first alone. */
static void tell_rows(const struct client *client) {
    json_t *problem = json_loadb(client->problem.bytes, client->problem.length, 0, NULL);
    size_t i;
    const json_t *row;
    json_array_foreach(screen_get(problem, "errors"), i, row) {
        const char *field = screen_string(row, "field"), *detail = screen_string(row, "detail");
        bool named = strstr(detail, field) != NULL;
        char line[512];
        snprintf(line, sizeof line, "%s%s%s", named ? "" : field, named ? "" : ": ", detail);
        if (!client->json)
            screen_item(stderr, '-', line);
    }
    json_decref(problem);
}

static enum leave tell(struct client *client, const char *bytes, const json_t *answer) {
    const json_t *rows = screen_get(answer, "invited");
    const char *path = arguments_text(&client->args, "codes-csv", NULL);
    enum leave leave = path != NULL ? write_codes(client, path, rows) : LEAVE_OK;
    if (client->json) { /* one document only, and that one is needed */
        client_print(bytes);
        if (leave != LEAVE_OK)
            fprintf(stderr, "noonarc: %s\n", client->err.text);
        client->told = true;
        return leave;
    }
    printf("invited: %zu schools\n", json_array_size(rows));
    if (path != NULL && leave == LEAVE_OK) {
        printf("their codes are in %s: hand them out and delete it\n", path);
    } else {
        puts("\ntheir codes, shown only this once:");
        screen_table(stdout, client->terminal, code_columns, CODE_COLUMNS, rows);
    }
    return leave;
}

static enum leave run_invite(struct client *client) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX] = "", path[CLIENT_PATH_MAX];
    const char *season;
    enum key_kind kind;
    struct text sheet;
    struct net_answer answer;
    json_t *result = NULL;
    enum leave leave = client_identifier(client, 0, "season", &season);
    if (leave == LEAVE_OK)
        leave = client_key(client, "", kinds, 1, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    text_init(&sheet, SHEET_BYTES_MAX);
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/seasons/%s/invitations.csv", season);
    if (files_read(client->args.operand[1], &sheet, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK) {
        const struct net_request request = {.method = "POST",
                                            .path = path,
                                            .key = secret,
                                            .content_type = "text/csv",
                                            .body = sheet.bytes,
                                            .body_length = sheet.length};
        leave = client_send_json(client, &request, &answer, &result);
        if (leave == LEAVE_REFUSED)
            tell_rows(client);
    }
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK)
        leave = tell(client, answer.body.bytes, result);
    json_decref(result);
    net_answer_release(&answer);
    text_release(&sheet);
    return leave;
}

static const struct option_row invite_rows[] = {
    {.name = "codes-csv",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "write the codes to FILE (name,contact,invitation), readable by you alone, and do not "
             "print them"},
};

const struct command invite_command = {
    .name = "invite",
    .summary = "invite the schools of a spreadsheet to a season (organiser)",
    .operands = "SEASON FILE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(invite_rows),
    .run = run_invite,
    .detail = "FILE has the column name and, if wanted, contact. Each school gets a code: with it "
              "it registers, or says `noonarc accept`, and need not wait for approval. Every wrong "
              "row is named, and nothing of the spreadsheet counts then. - is standard input.",
    .example = "noonarc invite 2027 schools.csv --codes-csv codes.csv",
};

static const struct column invitation_columns[] = {
    {.title = "name", .key = "name"},
    {.title = "contact", .key = "contact"},
    {.title = "invited UTC", .key = "invited_utc", .kind = CELL_TIME},
    {.title = "site", .key = "site"},
    {.title = "used UTC", .key = "used_utc", .kind = CELL_TIME},
};

/* The list is for organisers: it carries a key, unlike those of listing.h. */
static enum leave run_invitations(struct client *client) {
    const char *season;
    char path[CLIENT_PATH_MAX];
    json_t *list = NULL;
    enum leave leave = client_identifier(client, 0, "season", &season);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/seasons/%s/invitations", season);
    leave = listing_get_as_organiser(client, path, "invitations", &list);
    if (leave == LEAVE_OK && !client->json) {
        if (json_array_size(screen_get(list, "invitations")) == 0)
            puts("nobody is invited yet");
        else
            screen_table(stdout, client->terminal, invitation_columns,
                         sizeof invitation_columns / sizeof invitation_columns[0],
                         screen_get(list, "invitations"));
    }
    json_decref(list);
    return leave;
}

const struct command invitations_command = {
    .name = "invitations",
    .summary = "who was invited to a season, and who came (organiser)",
    .operands = "SEASON",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .run = run_invitations,
    .example = "noonarc invitations 2027",
};

static enum leave run_accept(struct client *client) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX], path[CLIENT_PATH_MAX];
    const char *site;
    enum key_kind kind;
    struct text body;
    struct json_writer json;
    struct net_answer answer;
    json_t *result = NULL;
    enum leave leave = client_identifier(client, 0, "site", &site);
    if (leave == LEAVE_OK)
        leave = client_key(client, site, kinds, 2, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    text_init(&body, 4096);
    net_answer_init(&answer);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_text(&json, "invitation", client->args.operand[1]);
    json_write_end(&json);
    snprintf(path, sizeof path, "/api/v1/sites/%s/invitations", site);
    const struct net_request request = {.method = "POST",
                                        .path = path,
                                        .key = secret,
                                        .content_type = "application/json",
                                        .body = body.bytes,
                                        .body_length = body.length};
    leave = client_send_json(client, &request, &answer, &result);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json) {
        client_print(answer.body.bytes);
    } else if (leave == LEAVE_OK) {
        printf("site %s is invited to season ", site);
        screen_put(stdout, screen_string(result, "season"));
        puts(": join its days, also those it waits for");
    }
    json_decref(result);
    net_answer_release(&answer);
    text_release(&body);
    return leave;
}

const struct command accept_command = {
    .name = "accept",
    .summary = "accept an invitation to a season with its code",
    .operands = "SITE CODE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .run = run_accept,
    .detail = "A school that is not registered yet gives its code to `noonarc register "
              "--invitation`.",
    .example = "noonarc accept hillside 7KQ2M-9XJ4T",
};
