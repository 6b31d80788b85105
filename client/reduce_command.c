/* SPDX-License-Identifier: MIT */
/* reduce: a whole day from two spreadsheets, worked out here with the server's
 * own code. Needs no server. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/results.h"
#include "client/rule_options.h"
#include "server/wire/analysis.h"

#define SHEET_BYTES_MAX ((size_t)1 << 30)

static const struct option_row rows[] = {
    RULE_OPTION_ROWS,
};

/* Puts the file's name before what is wrong in it. */
static enum leave blame(struct client *client, const char *path) {
    if (client->err.code == ERR_STORAGE)
        return LEAVE_FILE;
    struct err inner = client->err;
    err_clear(&client->err);
    return client_fail(client, LEAVE_REFUSED, inner.code, inner.field, "%s: %.230s", path,
                       inner.text);
}

static enum leave read_sheets(struct client *client, struct site_record **sites, size_t *count,
                              struct sheet_readings *readings) {
    const char *path = client->args.operand[0];
    enum leave leave = LEAVE_OK;
    struct text bytes;
    text_init(&bytes, SHEET_BYTES_MAX);
    if (files_read(path, &bytes, &client->err) != 0 ||
        sheet_read_sites(bytes.bytes, bytes.length, sites, count, &client->err) != 0) {
        leave = blame(client, path);
        goto cleanup;
    }
    for (size_t i = 0; i < *count; i++)
        site_record_settle(&(*sites)[i]);
    text_release(&bytes);
    path = client->args.operand[1];
    if (files_read(path, &bytes, &client->err) != 0 ||
        sheet_read_readings(bytes.bytes, bytes.length, readings, &client->err) != 0)
        leave = blame(client, path);
cleanup:
    text_release(&bytes);
    return leave;
}

static enum leave print(struct client *client, const struct analysis *analysis) {
    struct text text;
    text_init(&text, SHEET_BYTES_MAX);
    analysis_write(analysis, &text);
    enum leave leave = LEAVE_OK;
    json_t *result = NULL;
    if (text.failed) {
        leave = client_fail(client, LEAVE_FILE, ERR_STORAGE, "", "the result is too large");
    } else if (client->json) {
        client_print(text.bytes);
    } else {
        result = json_loadb(text.bytes, text.length, 0, NULL);
        results_print_analysis(stdout, client->terminal, result);
        json_decref(result);
    }
    text_release(&text);
    return leave;
}

static enum leave run(struct client *client) {
    struct site_record *sites = NULL;
    size_t count = 0;
    struct sheet_readings readings = {0};
    const struct arguments *args = &client->args;
    const struct pair_rules rules = {
        .lon_tolerance_deg =
            arguments_number(args, "tolerance", analysis_default_rules.lon_tolerance_deg),
        .min_separation_m =
            1000.0 * arguments_number(args, "min-separation",
                                      analysis_default_rules.min_separation_m / 1000.0),
        .max_sigma_km = arguments_number(args, "max-sigma", (double)INFINITY),
    };
    enum leave leave = read_sheets(client, &sites, &count, &readings);
    if (leave == LEAVE_OK) {
        struct analysis analysis;
        if (analysis_make(sites, count, &readings, &rules, &analysis, &client->err) != 0) {
            leave = blame(client, args->operand[1]);
        } else {
            leave = print(client, &analysis);
            analysis_release(&analysis);
        }
    }
    sheet_readings_release(&readings);
    free(sites);
    return leave;
}

const struct command reduce_command = {
    .name = "reduce",
    .summary = "angles, pairs and circumference from two spreadsheets (no server needed)",
    .operands = "SITES.csv READINGS.csv",
    .operands_min = 2,
    .operands_max = 2,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail =
        "SITES.csv has the columns site,lat_deg,lon_deg,elev_m,gnomon_mm,edge (and, if wanted, "
        "name,zone,contact), READINGS.csv site,utc,shadow_mm. edge is umbra, penumbra or centre; "
        "utc is a time with an offset, such as 2027-03-20T11:58:03Z.\n"
        "Nothing is sent anywhere.",
    .example = "noonarc reduce sites.csv readings.csv --tolerance 0.5",
};
