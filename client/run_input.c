/* SPDX-License-Identifier: MIT */
/* run_input: the document or spreadsheet first, then the options over it. */
#include "client/run_input.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "client/field_options.h"
#include "client/files.h"
#include "client/own_clock.h"
#include "client/place_options.h"
#include "client/run_entry.h"
#include "server/wire/csv.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

static const struct option_row rows[] = {
    {.name = "gnomon",
     .kind = OPTION_TEXT,
     .value = "MM[~MM]+...",
     .help = "height in mm, parts added: 2880+300; ~ gives a part's standard uncertainty: "
             "2880~1+300~0.5 (else the site's usual gnomon)"},
    {.name = "edge",
     .kind = OPTION_TEXT,
     .value = "EDGE",
     .help = "the edge you mark: umbra (end of full shadow), penumbra (its last trace) or centre "
             "(else the site's usual one, else umbra)"},
    {.name = "reading",
     .kind = OPTION_TEXT,
     .value = "TIME=MM[~MM]",
     .many = true,
     .help = "one reading: 2027-03-20T11:50:00Z=1780; give it again for each"},
    {.name = "file",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "a run document (JSON) or a spreadsheet with the columns utc,shadow_mm (if wanted "
             "sigma_mm); - is standard input"},
    {.name = "sky", .kind = OPTION_TEXT, .value = "TEXT", .help = "what the sky was like"},
    {.name = "level",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "how the ground and the gnomon were levelled"},
    {.name = "note",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "anything else; no names of pupils, please"},
    AIR_OPTION_ROWS,
    {.name = "clock-sigma",
     .kind = OPTION_NUMBER,
     .value = "S",
     .min = 0.001,
     .max = 3600,
     .help = "how well the clock was set, seconds (else 15)"},
    {.name = "clock",
     .kind = OPTION_FLAG,
     .help = "the times were read from this computer's clock: measure it against the server's and "
             "send along how far it is off"},
    {.name = "tilt-sigma",
     .kind = OPTION_NUMBER,
     .value = "DEG",
     .min = 0.0001,
     .max = 10,
     .help = "how well plumb and level were, degrees (else 0.03)"},
};
const struct option_table run_options = OPTION_TABLE(rows);

/* Options that change a run which came as a document. */
static bool any_but_file(const struct client *client) {
    for (size_t i = 0; i < run_options.count; i++)
        if (strcmp(rows[i].name, "file") != 0 && arguments_given(&client->args, rows[i].name))
            return true;
    return false;
}

bool run_input_given(const struct client *client) {
    return arguments_given(&client->args, "file") || arguments_given(&client->args, "reading") ||
           isatty(STDIN_FILENO) == 0;
}

bool run_input_usual_gnomon(const struct site_record *known, struct gnomon *gnomon) {
    if (known == NULL || !isfinite(known->gnomon_mm))
        return false;
    *gnomon =
        (struct gnomon){.part = {{.value_m = known->gnomon_mm / 1000.0, .sigma_m = (double)NAN}},
                        .parts = 1,
                        .edge = known->edge};
    return true;
}

enum leave run_input_document(struct client *client, const struct run_record *run,
                              struct text *body) {
    struct json_writer json;
    text_release(body);
    json_write_init(&json, body);
    record_write_run_request(&json, NULL, run);
    if (body->failed)
        return client_fail(client, LEAVE_FILE, ERR_STORAGE, "", "out of memory");
    return LEAVE_OK;
}

enum sheet_column { COLUMN_UTC, COLUMN_SHADOW, COLUMN_SIGMA, COLUMN_COUNT };
static const char *const column_names[COLUMN_COUNT] = {"utc", "shadow_mm", "sigma_mm"};

static int find_columns(const struct csv_reader *csv, int at[COLUMN_COUNT], struct err *err) {
    for (int c = 0; c < COLUMN_COUNT; c++)
        at[c] = -1;
    for (size_t i = 0; i < csv->columns; i++) {
        int c = 0;
        while (c < COLUMN_COUNT && strcmp(csv->cell[i].text, column_names[c]) != 0)
            c++;
        if (c == COLUMN_COUNT || at[c] >= 0)
            return err_set(err, ERR_BAD_CSV, "row 1",
                           "the columns are utc, shadow_mm and if wanted sigma_mm, once each; "
                           "\"%.40s\" is not one",
                           csv->cell[i].text);
        at[c] = (int)i;
    }
    for (int c = 0; c < COLUMN_SIGMA; c++)
        if (at[c] < 0)
            return err_set(err, ERR_BAD_CSV, "row 1", "the column %s is missing", column_names[c]);
    return 0;
}

static int read_sheet_row(const struct csv_reader *csv, const int at[COLUMN_COUNT], struct run *run,
                          struct err *err) {
    char place[COLUMN_COUNT][48];
    for (int c = 0; c < COLUMN_COUNT; c++)
        snprintf(place[c], sizeof place[c], "row %zu, %s", csv->row, column_names[c]);
    struct reading reading;
    char shadow[128];
    const char *sigma = at[COLUMN_SIGMA] >= 0 ? csv->cell[at[COLUMN_SIGMA]].text : "";
    snprintf(shadow, sizeof shadow, "%.60s%s%.60s", csv->cell[at[COLUMN_SHADOW]].text,
             *sigma != '\0' ? "~" : "", sigma);
    if (run_entry_instant(csv->cell[at[COLUMN_UTC]].text, place[COLUMN_UTC], &reading, err) != 0 ||
        run_entry_shadow(shadow, place[COLUMN_SHADOW], &reading, err) != 0)
        return -1;
    return run_entry_add(run, &reading, place[COLUMN_UTC], err);
}

static int read_sheet(const struct text *bytes, struct run *run, struct err *err) {
    struct csv_reader csv;
    int at[COLUMN_COUNT];
    int result = csv_reader_init(&csv, bytes->bytes, bytes->length, err);
    int next = result == 0 ? csv_reader_next(&csv, err) : -1;
    if (next == 0)
        err_set(err, ERR_BAD_CSV, "", "the spreadsheet is empty");
    result = next == 1 ? find_columns(&csv, at, err) : -1;
    while (result == 0 && (next = csv_reader_next(&csv, err)) == 1)
        result = read_sheet_row(&csv, at, run, err);
    if (next < 0)
        result = -1;
    csv_reader_release(&csv);
    return result;
}

/* Reads a file of either kind; *is_document tells which. */
static enum leave take_file(struct client *client, const char *path, struct run_record *run,
                            struct text *bytes, bool *is_document) {
    if (files_read(path, bytes, &client->err) != 0)
        return LEAVE_FILE;
    *is_document = bytes->bytes[strspn(bytes->bytes, " \t\r\n")] == '{';
    int result = *is_document ? record_read_run(bytes->bytes, bytes->length, run, &client->err)
                              : read_sheet(bytes, &run->run, &client->err);
    return result == 0 ? LEAVE_OK : LEAVE_REFUSED;
}

static int take_gnomon(const struct client *client, const struct site_record *known,
                       struct run *run, struct err *err) {
    const char *gnomon = arguments_text(&client->args, "gnomon", NULL);
    const char *edge = arguments_text(&client->args, "edge", NULL);
    if (run->gnomon.parts == 0 && !run_input_usual_gnomon(known, &run->gnomon) && gnomon == NULL)
        return err_set(err, ERR_MISSING_FIELD, "--gnomon",
                       "give the gnomon's height in mm with --gnomon");
    if (run->gnomon.parts == 0 && known != NULL)
        run->gnomon.edge = known->edge;
    if (gnomon != NULL && run_entry_gnomon(gnomon, "--gnomon", &run->gnomon, err) != 0)
        return -1;
    return edge != NULL ? run_entry_edge(edge, "--edge", &run->gnomon, err) : 0;
}

static int take_readings(const struct client *client, struct run *run, struct err *err) {
    const char *text;
    for (int i = 0; (text = arguments_nth(&client->args, "reading", i)) != NULL; i++) {
        char place[48];
        struct reading reading;
        snprintf(place, sizeof place, "--reading %.36s", text);
        if (run_entry_reading(text, place, &reading, err) != 0 ||
            run_entry_add(run, &reading, place, err) != 0)
            return -1;
    }
    if (run->readings == 0)
        return err_set(err, ERR_MISSING_FIELD, "--reading", "there is no reading");
    return 0;
}

static enum leave take_options(struct client *client, const struct site_record *known,
                               struct run_record *run) {
    struct run *of = &run->run;
    struct err *err = &client->err;
    const struct arguments *args = &client->args;
    if (take_gnomon(client, known, of, err) != 0 || take_readings(client, of, err) != 0 ||
        field_option_take(args, &run_fields, "sky", run, err) != 0 ||
        field_option_take(args, &run_fields, "level", run, err) != 0 ||
        field_option_take(args, &run_fields, "note", run, err) != 0)
        return LEAVE_USAGE;
    of->pressure_hpa = arguments_number(args, "pressure", of->pressure_hpa);
    of->temperature_c = arguments_number(args, "temperature", of->temperature_c);
    of->clock_sigma_s = arguments_number(args, "clock-sigma", of->clock_sigma_s);
    of->tilt_sigma_deg = arguments_number(args, "tilt-sigma", of->tilt_sigma_deg);
    if (arguments_given(args, "clock") && client->server == NULL) {
        err_set(err, ERR_OUT_OF_RANGE, "--clock", "there is no server here to measure against");
        return LEAVE_USAGE;
    }
    if (arguments_given(args, "clock") && own_clock_measure(client, &of->clock) && !client->json)
        own_clock_print(stdout, &of->clock);
    return LEAVE_OK;
}

enum leave run_input_take(struct client *client, const struct site_record *known,
                          struct run_record *run, struct text *body) {
    enum leave leave = LEAVE_OK;
    struct text bytes;
    text_init(&bytes, RUN_DOCUMENT_MAX);
    bool is_document = false;
    bool readings = arguments_given(&client->args, "reading");
    const char *path = arguments_text(&client->args, "file", readings ? NULL : "-");
    run_record_init(run);
    run->run.gnomon.parts = 0;
    if (path != NULL)
        leave = take_file(client, path, run, &bytes, &is_document);
    if (leave == LEAVE_OK)
        leave = take_options(client, known, run);
    if (leave == LEAVE_OK && body != NULL) {
        if (is_document && !any_but_file(client)) {
            text_release(body);
            text_add(body, bytes.bytes, bytes.length);
        } else {
            leave = run_input_document(client, run, body);
        }
    }
    text_release(&bytes);
    return leave;
}
