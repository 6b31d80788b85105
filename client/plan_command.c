/* SPDX-License-Identifier: MIT */
/* plan: when to measure and with whom. Not what to expect: a class that knows the
 * answer beforehand measures it. */
#include <math.h>
#include <stdio.h>

#include "client/cautions.h"
#include "client/commands.h"
#include "client/screen.h"
#include "server/base/instant.h"

static const struct column partner_columns[] = {
    {.title = "partner", .key = "site"},
    {.title = "name", .key = "name"},
    {.title = "apart km", .key = "separation_km", .kind = CELL_FIXED, .decimals = 1},
    {.title = "longitudes differ °",
     .key = "lon_difference_deg",
     .kind = CELL_FIXED,
     .decimals = 3},
    {.title = "σ to expect km", .key = "expected_sigma_km", .kind = CELL_FIXED},
    {.title = "would count", .key = "allowed", .kind = CELL_YES},
};

static void print_when(const char *label, const json_t *date, const char *key) {
    double t_utc_s;
    if (instant_parse(screen_string(date, key), &t_utc_s, NULL, NULL) != 0)
        return;
    printf("  %-9s ", label);
    screen_time(stdout, t_utc_s, "");
    putchar('\n');
}

static void print_date(const json_t *date) {
    screen_put(stdout, screen_string(date, "date"));
    putchar('\n');
    if (*screen_string(date, "start_utc") == '\0') {
        screen_wrapped(stdout, 2, screen_string(date, "reason"));
        return;
    }
    print_when("noon", date, "transit_utc");
    print_when("start", date, "start_utc");
    print_when("stop", date, "stop_utc");
    printf("  the Sun   %s in the sky\n", screen_string(date, "sun_height"));
    double fuzzy_mm = screen_number(date, "fuzzy_mm");
    if (isfinite(fuzzy_mm))
        printf(
            "  shadow    its end is about %.0f mm fuzzy with a gnomon of %.0f mm: always mark the "
            "same edge\n",
            fuzzy_mm, screen_number(date, "gnomon_mm"));
}

static void print_plan(const struct client *client, const json_t *plan) {
    size_t i;
    const json_t *date;
    json_array_foreach(screen_get(plan, "dates"), i, date) {
        print_date(date);
    }
    putchar('\n');
    const json_t *partners = screen_get(plan, "partners");
    if (json_array_size(partners) == 0)
        puts("no partner on your meridian has joined yet");
    else
        screen_table(stdout, client->terminal, partner_columns,
                     sizeof partner_columns / sizeof partner_columns[0], partners);
    putchar('\n');
    cautions_print(stdout);
}

static enum leave run(struct client *client) {
    const char *day, *site;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave == LEAVE_OK)
        leave = client_identifier(client, 1, "site", &site);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    json_t *plan = NULL;
    char path[CLIENT_PATH_MAX];
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s/plan", day, site);
    leave = client_get(client, path, &answer, &plan);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        print_plan(client, plan);
    json_decref(plan);
    net_answer_release(&answer);
    return leave;
}

const struct command plan_command = {
    .name = "plan",
    .summary = "when to measure on a day, and which partners are on your meridian",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .run = run,
    .detail =
        "It does not tell the angle or the length of the shadow to expect: measure first. The "
        "smaller the sigma to expect, the more a partner is worth.",
    .example = "noonarc plan 2027-03-20 hillside",
};
