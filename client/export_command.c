/* SPDX-License-Identifier: MIT */
/* export: the server's spreadsheets and maps, byte for byte. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/files.h"

static const struct option_row rows[] = {
    {.name = "output",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "write to FILE, which is replaced in one step (else to standard output)"},
    {.name = "geojson",
     .kind = OPTION_FLAG,
     .help = "sites, reductions: as points of a map (GeoJSON)"},
};

static const struct {
    const char *word;
    bool of_day;
    bool geojson;
    const char *resource;
} kinds[] = {
    {"sites", false, false, "sites.csv"},
    {"sites", false, true, "sites.geojson"},
    {"sites", true, false, "sites.csv"},
    {"sites", true, true, "sites.geojson"},
    {"readings", true, false, "readings.csv"},
    {"pairs", true, false, "pairs.csv"},
    {"reductions", true, false, "reductions.csv"},
    {"line", true, false, "line.csv"},
    {"reductions", true, true, "reductions.geojson"},
    {"everything", true, false, "everything.json"},
};

static enum leave find_address(struct client *client, char *address, size_t size) {
    const struct arguments *args = &client->args;
    bool of_day = args->operands == 2;
    bool geojson = arguments_given(args, "geojson");
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        if (strcmp(args->operand[0], kinds[i].word) != 0 || of_day != kinds[i].of_day ||
            geojson != kinds[i].geojson)
            continue;
        const char *day = "";
        enum leave leave = of_day ? client_identifier(client, 1, "day", &day) : LEAVE_OK;
        snprintf(address, size, "/api/v1/%s%s%s%s", of_day ? "days/" : "", day, of_day ? "/" : "",
                 kinds[i].resource);
        return leave;
    }
    return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "export",
                       "say export sites [DAY] [--geojson], readings DAY, reductions DAY "
                       "[--geojson], pairs DAY, line DAY or everything DAY");
}

static enum leave run(struct client *client) {
    char address[CLIENT_PATH_MAX];
    enum leave leave = find_address(client, address, sizeof address);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    net_answer_init(&answer);
    const struct net_request request = {.method = "GET", .path = address};
    const char *output = arguments_text(&client->args, "output", NULL);
    leave = client_send(client, &request, &answer);
    if (leave == LEAVE_OK && output == NULL)
        fwrite(answer.body.bytes, 1, answer.body.length, stdout);
    else if (leave == LEAVE_OK &&
             files_write(output, answer.body.bytes, answer.body.length, 0644, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && output != NULL && client->json)
        printf("{\"bytes\":%zu}\n", answer.body.length);
    net_answer_release(&answer);
    return leave;
}

const struct command export_command = {
    .name = "export",
    .summary = "take home sites, readings, angles, pairs or the line as a spreadsheet",
    .operands =
        "sites [DAY] | readings DAY | reductions DAY | pairs DAY | line DAY | everything DAY",
    .operands_min = 1,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Sites and readings have the columns that import and reduce take; line is every noon "
              "angle against its distance along the meridian; everything is one JSON document, as "
              "an edition would hold it. With --json only errors are JSON; "
              "the spreadsheet stays one.",
    .example = "noonarc export readings 2027-03-20 --output readings.csv",
};
