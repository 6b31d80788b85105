/* SPDX-License-Identifier: MIT */
/* import: an organiser's spreadsheets, all or nothing. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/organise.h"
#include "client/results.h"
#include "client/screen.h"
#include "server/wire/csv.h"

#define SHEET_BYTES_MAX ((size_t)64 << 20)

static const struct option_row rows[] = {
    {.name = "keys-csv",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help =
         "sites: write the new keys and codes to FILE (site,school_key,class_code), readable by "
         "you alone, and do not print them"},
};

static const struct column key_columns[] = {
    {.title = "site", .key = "site"},
    {.title = "school key", .key = "school_key"},
    {.title = "class code", .key = "class_code"},
};

static enum leave write_keys(struct client *client, const char *path, const json_t *keys) {
    struct text text;
    struct csv_writer csv;
    text_init(&text, SHEET_BYTES_MAX);
    csv_writer_init(&csv, &text);
    csv_write_text(&csv, "site");
    csv_write_text(&csv, "school_key");
    csv_write_text(&csv, "class_code");
    csv_write_row_end(&csv);
    size_t i;
    const json_t *row;
    json_array_foreach(keys, i, row) {
        for (size_t c = 0; c < 3; c++)
            csv_write_text(&csv, screen_string(row, key_columns[c].key));
        csv_write_row_end(&csv);
    }
    int result = text.failed ? err_set(&client->err, ERR_STORAGE, path, "out of memory")
                             : files_write(path, text.bytes, text.length, 0600, &client->err);
    explicit_bzero(text.bytes, text.length);
    text_release(&text);
    return result == 0 ? LEAVE_OK : LEAVE_FILE;
}

static enum leave tell_sites(struct client *client, const char *bytes, const json_t *answer) {
    const json_t *keys = screen_get(answer, "keys");
    const char *path = arguments_text(&client->args, "keys-csv", NULL);
    enum leave leave = path != NULL ? write_keys(client, path, keys) : LEAVE_OK;
    bool kept = path != NULL && leave == LEAVE_OK;
    if (client->json) {
        client_print(bytes);
        if (leave != LEAVE_OK)
            fprintf(stderr, "noonarc: %s\n", client->err.text);
        client->told = true;
        return leave;
    }
    organise_tell_warnings(answer);
    printf("sites: %.0f new, %.0f changed, %.0f as they were\n", screen_number(answer, "sites"),
           screen_number(answer, "changed"), screen_number(answer, "unchanged"));
    if (kept) {
        printf("their keys are in %s: hand them out and delete it\n", path);
    } else if (json_array_size(keys) > 0) {
        puts("\nkeys and codes of the new sites, shown only this once:");
        screen_table(stdout, client->terminal, key_columns,
                     sizeof key_columns / sizeof key_columns[0], keys);
    }
    return leave;
}

static void tell_readings(struct client *client, const char *bytes, const json_t *answer) {
    if (client->json) {
        client_print(bytes);
        return;
    }
    printf("runs: %.0f new, %.0f replaced, %.0f unchanged\n", screen_number(answer, "new"),
           screen_number(answer, "replaced"), screen_number(answer, "unchanged"));
    results_print_reductions(stdout, client->terminal, screen_get(answer, "reductions"));
}

static enum leave send_sheet(struct client *client, const char *address, const char *path,
                             struct net_answer *answer, json_t **out) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX];
    enum key_kind kind;
    struct text sheet;
    text_init(&sheet, SHEET_BYTES_MAX);
    enum leave leave = client_key(client, "", kinds, 1, secret, &kind);
    if (leave == LEAVE_OK && files_read(path, &sheet, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK) {
        const struct net_request request = {.method = "POST",
                                            .path = address,
                                            .key = secret,
                                            .content_type = "text/csv",
                                            .body = sheet.bytes,
                                            .body_length = sheet.length};
        leave = client_send_json(client, &request, answer, out);
    }
    explicit_bzero(secret, sizeof secret);
    text_release(&sheet);
    return leave;
}

static enum leave run(struct client *client) {
    const struct arguments *args = &client->args;
    bool sites = strcmp(args->operand[0], "sites") == 0;
    bool readings = strcmp(args->operand[0], "readings") == 0;
    const char *day = "";
    char address[CLIENT_PATH_MAX] = "/api/v1/sites.csv";
    if ((!sites && !readings) || args->operands != (sites ? 2 : 3))
        return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "import",
                           "say import sites FILE or import readings DAY FILE");
    if (readings) {
        enum leave leave = client_identifier(client, 1, "day", &day);
        if (leave != LEAVE_OK)
            return leave;
        snprintf(address, sizeof address, "/api/v1/days/%s/readings.csv", day);
    }
    struct net_answer answer;
    json_t *result = NULL;
    net_answer_init(&answer);
    enum leave leave =
        send_sheet(client, address, args->operand[args->operands - 1], &answer, &result);
    if (leave == LEAVE_OK && sites)
        leave = tell_sites(client, answer.body.bytes, result);
    else if (leave == LEAVE_OK)
        tell_readings(client, answer.body.bytes, result);
    json_decref(result);
    net_answer_release(&answer);
    return leave;
}

const struct command import_command = {
    .name = "import",
    .summary = "hand in a spreadsheet of sites, or a day's readings (organiser)",
    .operands = "sites FILE | readings DAY FILE",
    .operands_min = 2,
    .operands_max = 3,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "sites has the columns site,lat_deg,lon_deg,elev_m,gnomon_mm,edge (and, if wanted, "
              "name,zone,contact), readings site,utc,shadow_mm. An error names its row and column, "
              "and nothing of the spreadsheet counts then. - is standard input.",
    .example = "noonarc import readings 2027-03-20 readings.csv",
};
