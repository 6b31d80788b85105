/* SPDX-License-Identifier: MIT */
/* noon: one run worked out here with the server's own code. Needs no server. */
#include <stdio.h>

#include "client/commands.h"
#include "client/place_options.h"
#include "client/results.h"
#include "client/rule_options.h"
#include "client/run_input.h"
#include "client/screen.h"
#include "client/working.h"

static const struct option_row noon_rows[] = {PLACE_OPTION_ROWS, CLOCK_RULE_OPTION_ROWS};

static enum leave run(struct client *client) {
    struct site_record site;
    struct run_record run;
    struct run judged;
    struct day_record day;
    json_t *reduction = NULL;
    struct text text;
    text_init(&text, RUN_DOCUMENT_MAX);
    site_record_init(&site);
    enum leave leave = place_options_take(client, &site.place);
    if (leave == LEAVE_OK)
        leave = run_input_take(client, NULL, &run, NULL);
    day_record_init(&day);
    rule_options_clock(&client->args, &day);
    if (leave == LEAVE_OK)
        run_under_day(&run.run, &day, &judged);
    if (leave == LEAVE_OK && working_reduction(&site, &judged, &text, &client->err) != 0)
        leave = client_leave(client, LEAVE_REFUSED);
    if (leave == LEAVE_OK && client->json)
        client_print(text.bytes);
    if (leave == LEAVE_OK) {
        reduction = json_loadb(text.bytes, text.length, 0, NULL);
        if (!client->json)
            results_print_reduction(stdout, reduction, "");
        client->told = true;
        if (!json_is_number(screen_get(reduction, "noon_angle_deg")))
            leave = LEAVE_REFUSED;
    }
    json_decref(reduction);
    text_release(&text);
    return leave;
}

const struct command noon_command = {
    .name = "noon",
    .summary = "angle, noon and sigma of one run, worked out here (no server needed)",
    .operands = "",
    .options = OPTION_TABLE(noon_rows),
    .more_options = &run_options,
    .run = run,
    .detail = "The same code as the server's, by the rule of a day for the clock that a run's "
              "document tells of. Readings come from --reading, from --file, or from "
              "standard input. Nothing is sent or kept. Exit code 1 when the readings give no "
              "angle; what is printed says why.",
    .example = "noonarc noon --lat 44.5 --lon 3.2 --gnomon 2880+300 --file readings.csv",
};
