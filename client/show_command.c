/* SPDX-License-Identifier: MIT */
/* show: what the server knows, to read. Each word after show is a row of a table:
 * its address and how it is printed. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/known_site.h"
#include "client/listing.h"
#include "client/results.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/field.h"
#include "server/wire/records.h"

static const struct column site_columns[] = {
    {.title = "site", .key = "site"},
    {.title = "name", .key = "name"},
    {.title = "lat °", .key = "lat_deg", .kind = CELL_FIXED, .decimals = 4},
    {.title = "lon °", .key = "lon_deg", .kind = CELL_FIXED, .decimals = 4},
    {.title = "height m", .key = "elev_m", .kind = CELL_FIXED},
    {.title = "gnomon mm", .key = "gnomon_mm", .kind = CELL_FIXED},
    {.title = "edge", .key = "edge"},
};

static const struct column run_columns[] = {
    {.title = "run", .key = "run/id"},
    {.title = "site", .key = "run/site"},
    {.title = "noon UTC", .key = "reduction/transit_utc", .kind = CELL_TIME},
    {.title = "noon angle °",
     .key = "reduction/noon_angle_deg",
     .kind = CELL_MEASURE,
     .sigma_key = "reduction/sigma_deg"},
    {.title = "readings", .key = "run/readings", .kind = CELL_LENGTH},
    {.title = "left out", .key = "reduction/left_out", .kind = CELL_LENGTH},
    {.title = "status", .key = "reduction/status", .kind = CELL_CODE},
};

static const struct column reading_columns[] = {
    {.title = "time UTC", .key = "time", .kind = CELL_TIME},
    {.title = "shadow mm", .key = "shadow_mm", .kind = CELL_FIXED, .decimals = 1},
    {.title = "σ mm", .key = "sigma_mm", .kind = CELL_FIXED, .decimals = 1},
};

static void print_sites(struct client *client, const json_t *answer) {
    screen_table(stdout, client->terminal, site_columns,
                 sizeof site_columns / sizeof site_columns[0], screen_get(answer, "sites"));
}

static void print_runs(struct client *client, const json_t *answer) {
    screen_table(stdout, client->terminal, run_columns, sizeof run_columns / sizeof run_columns[0],
                 screen_get(answer, "runs"));
}

static void print_pairs(struct client *client, const json_t *answer) {
    results_print_pairs(stdout, client->terminal, screen_get(answer, "pairs"));
}

/* "label  text", when there is a text. */
static void line(const char *label, const char *text) {
    if (*text == '\0')
        return;
    printf("%-12s", label);
    screen_put(stdout, text);
    putchar('\n');
}

static void print_site(struct client *client, const json_t *site) {
    known_site_note(client, site);
    line(screen_string(site, "site"), screen_string(site, "name"));
    double lat_deg = screen_number(site, "lat_deg"), lon_deg = screen_number(site, "lon_deg");
    printf("%-12s%.5f° %s, %.5f° %s, %g m above the sea\n", "position", fabs(lat_deg),
           lat_deg < 0.0 ? "south" : "north", fabs(lon_deg), lon_deg < 0.0 ? "west" : "east",
           screen_number(site, "elev_m"));
    double gnomon_mm = screen_number(site, "gnomon_mm");
    if (isfinite(gnomon_mm))
        printf("%-12s%g mm, marks the %s\n", "gnomon", gnomon_mm, screen_string(site, "edge"));
    line("zone", screen_string(site, "zone"));
}

static void print_day(struct client *client, const json_t *day) {
    (void)client;
    line(screen_string(day, "day"), screen_string(day, "name"));
    line("state", screen_string(day, "state"));
    line("season", screen_string(day, "season"));
    line("date", screen_string(day, "date"));
    size_t i;
    const json_t *spare;
    json_array_foreach(screen_get(day, "spare_dates"), i, spare) if (json_is_string(spare))
        line("spare date", json_string_value(spare));
    printf("%-12slongitudes within %g°, at least %g km apart", "pairs",
           screen_number(day, "lon_tolerance_deg"), screen_number(day, "min_separation_km"));
    if (isfinite(screen_number(day, "max_sigma_km")))
        printf(", sigma at most %g km", screen_number(day, "max_sigma_km"));
    putchar('\n');
}

/* The site's time zone, "" when it cannot be had: the run is shown all the same. */
static void find_zone(struct client *client, const char *site, char *out, size_t size) {
    struct err before = client->err;
    struct net_answer answer;
    json_t *record = NULL;
    char path[CLIENT_PATH_MAX];
    out[0] = '\0';
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/sites/%s", site);
    if (field_is_id(site) && client_get(client, path, &answer, &record) == LEAVE_OK)
        snprintf(out, size, "%s", screen_string(record, "zone"));
    json_decref(record);
    net_answer_release(&answer);
    client->err = before;
    text_release(&client->problem);
}

static void print_run(struct client *client, const json_t *answer) {
    const json_t *run = screen_get(answer, "run");
    char zone[ZONE_MAX + 1];
    find_zone(client, screen_string(run, "site"), zone, sizeof zone);
    results_print_reduction(stdout, screen_get(answer, "reduction"), zone);
    if (json_is_false(screen_get(answer, "of_date")))
        printf("\nof %s, which is not the date the day is on now\n",
               screen_string(answer, "noon_date"));
    printf("\nrun %lld of site ", (long long)json_integer_value(screen_get(run, "id")));
    screen_put(stdout, screen_string(run, "site"));
    fputs(" on ", stdout);
    screen_put(stdout, screen_string(run, "day"));
    putchar('\n');
    if (json_is_integer(screen_get(run, "superseded_by")))
        printf("corrected by run %lld\n",
               (long long)json_integer_value(screen_get(run, "superseded_by")));
    if (*screen_string(run, "withdrawn_utc") != '\0')
        line("withdrawn", screen_string(run, "withdrawn_utc"));
    line("sky", screen_string(run, "sky"));
    line("level", screen_string(run, "level"));
    line("note", screen_string(run, "note"));
    putchar('\n');
    screen_table(stdout, client->terminal, reading_columns,
                 sizeof reading_columns / sizeof reading_columns[0], screen_get(run, "readings"));
}

static void print_result(struct client *client, const json_t *answer) {
    (void)client;
    results_print_combined(stdout, answer);
}

static void print_leaderboard(struct client *client, const json_t *answer) {
    results_print_leaderboard(stdout, client->terminal, answer);
}

struct view {
    const char *word;
    const char *address; /* below /api/v1; %s takes the word after it */
    const char *of;      /* what that word is, NULL: none */
    const char *list;    /* member that is paged, NULL: not a list */
    void (*print)(struct client *client, const json_t *answer);
};

static const struct view views[] = {
    {"sites", "/sites", NULL, "sites", print_sites},
    {"sites", "/days/%s/sites", "day", "sites", print_sites},
    {"waiting", "/days/%s/sites?status=waiting", "day", "sites", print_sites},
    {"refused", "/days/%s/sites?status=refused", "day", "sites", print_sites},
    {"site", "/sites/%s", "site", NULL, print_site},
    {"day", "/days/%s", "day", NULL, print_day},
    {"runs", "/days/%s/runs", "day", "runs", print_runs},
    {"run", "/runs/%s", "run", NULL, print_run},
    {"pairs", "/days/%s/pairs", "day", "pairs", print_pairs},
    {"result", "/days/%s/result", "day", NULL, print_result},
    {"leaderboard", "/days/%s/leaderboard", "day", NULL, print_leaderboard},
};

#define ROWS_ALL 1e9
static const struct option_row show_rows[] = {
    {.name = "first",
     .kind = OPTION_COUNT,
     .value = "N",
     .min = 1,
     .max = 1000000,
     .help = "only the first N rows of a table, and how many there are"},
};

/* Cuts the tables of an answer to their first rows and says so below them. */
static void print_first(struct client *client, const struct view *view, json_t *answer,
                        size_t most) {
    const char *member;
    json_t *table;
    struct text said;
    text_init(&said, 1024);
    json_object_foreach(answer, member, table) {
        size_t rows = json_array_size(table);
        if (rows <= most)
            continue;
        for (size_t i = rows; i > most; i--)
            json_array_remove(table, i - 1);
        text_format(&said, "%s%zu of %zu %s", said.length == 0 ? "\nshown: " : ", ", most, rows,
                    member);
    }
    view->print(client, answer);
    if (said.length > 0)
        printf("%s\n", said.bytes);
    text_release(&said);
}

static enum leave show(struct client *client, const struct view *view, const char *of) {
    char path[CLIENT_PATH_MAX] = "/api/v1";
    const char *hole = strstr(view->address, "%s");
    int before = (int)(hole != NULL ? hole - view->address : (long)strlen(view->address));
    snprintf(path, sizeof path, "/api/v1%.*s%s%s", before, view->address, of,
             hole != NULL ? hole + 2 : "");
    json_t *answer = NULL;
    enum leave leave;
    if (view->list != NULL) {
        leave = listing_get(client, path, view->list, &answer);
    } else {
        struct net_answer bytes;
        net_answer_init(&bytes);
        leave = view->print == print_day ? client_get_as_seen(client, path, &bytes, &answer)
                                         : client_get(client, path, &bytes, &answer);
        if (leave == LEAVE_OK && client->json)
            client_print(bytes.body.bytes);
        net_answer_release(&bytes);
    }
    if (leave == LEAVE_OK && !client->json)
        print_first(client, view, answer,
                    (size_t)arguments_number(&client->args, "first", ROWS_ALL));
    json_decref(answer);
    return leave;
}

static enum leave run(struct client *client) {
    const char *word = client->args.operand[0];
    bool has_of = client->args.operands == 2;
    for (size_t i = 0; i < sizeof views / sizeof views[0]; i++) {
        if (strcmp(word, views[i].word) != 0 || has_of != (views[i].of != NULL))
            continue;
        const char *of = "";
        enum leave leave = has_of ? client_identifier(client, 1, views[i].of, &of) : LEAVE_OK;
        return leave == LEAVE_OK ? show(client, &views[i], of) : leave;
    }
    return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "show",
                       "say show sites [DAY], waiting DAY, refused DAY, site SITE, day DAY, runs "
                       "DAY, run RUN, pairs DAY, "
                       "result DAY or leaderboard DAY");
}

const struct command show_command = {
    .name = "show",
    .summary = "sites, runs, pairs, the result, the leaderboard",
    .operands = "sites [DAY] | waiting DAY | refused DAY | site SITE | day DAY | runs DAY | run "
                "RUN | pairs DAY | result DAY | "
                "leaderboard DAY",
    .operands_min = 1,
    .operands_max = 2,
    .options = OPTION_TABLE(show_rows),
    .server = true,
    .run = run,
    .detail = "Tables are aligned at a terminal and tab-separated in a pipe.",
    .example = "noonarc show result 2027-03-20",
};
