/* SPDX-License-Identifier: MIT */
/* plan: when to measure and with whom. Not what to expect: a class that knows the
 * answer beforehand measures it. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/cautions.h"
#include "client/commands.h"
#include "client/screen.h"
#include "server/wire/records.h"

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

/* "13:43:11 -03 (2027-03-18 16:43:11 UTC)": by the site's clocks, as the server has
 * them; without a zone UTC, and by the meridian's mean Sun. */
static void print_when(const char *label, const json_t *date, const char *utc_key,
                       const char *local_key, const char *solar_key) {
    const char *utc = screen_string(date, utc_key), *local = screen_string(date, local_key);
    const char *solar = solar_key == NULL ? "" : screen_string(date, solar_key);
    if (strlen(utc) < 19)
        return;
    printf("  %-9s ", label);
    if (strlen(local) >= 19) {
        if (strncmp(utc, local, 10) != 0)
            printf("%.10s ", local);
        printf("%.8s ", local + 11);
        screen_put(stdout, screen_string(date, "abbreviation"));
        printf(" (%.10s %.8s UTC)\n", utc, utc + 11);
        return;
    }
    printf("%.10s %.8s UTC", utc, utc + 11);
    if (*solar != '\0') {
        fputs(" (", stdout);
        screen_put(stdout, solar);
        fputs(" local mean solar time)", stdout);
    }
    putchar('\n');
}

/* "577 to 1732 mm", or one number when it is known. */
static void print_range(const char *label, const json_t *date, const char *from_key,
                        const char *to_key, const char *said) {
    double from_mm = screen_number(date, from_key), to_mm = screen_number(date, to_key);
    if (!isfinite(from_mm) || !isfinite(to_mm))
        return;
    printf("  %-9s ", label);
    if (from_mm == to_mm)
        printf("%.0f mm %s\n", to_mm, said);
    else
        printf("%.0f to %.0f mm %s\n", from_mm, to_mm, said);
}

static void print_date(const json_t *date) {
    screen_put(stdout, screen_string(date, "date"));
    putchar('\n');
    if (*screen_string(date, "start_utc") == '\0') {
        screen_wrapped(stdout, 2, screen_string(date, "reason"));
        return;
    }
    print_when("noon", date, "transit_utc", "transit_local", "transit_mean_solar");
    print_when("start", date, "start_utc", "start_local", NULL);
    print_when("stop", date, "stop_utc", "stop_local", NULL);
    printf("  the Sun   %s in the sky\n", screen_string(date, "sun_height"));
    printf("  gnomon    %.0f mm; %.0f mm would serve well\n", screen_number(date, "gnomon_mm"),
           screen_number(date, "suggested_gnomon_mm"));
    printf("  ground    %.1f m, level and without shade\n",
           screen_number(date, "ground_mm") / 1000.0);
    print_range("shadow", date, "shadow_from_mm", "shadow_to_mm", "at noon");
    print_range("its end", date, "fuzzy_from_mm", "fuzzy_to_mm",
                "fuzzy: always mark the same edge");
    double angle_deg = screen_number(date, "expected_angle_deg");
    if (isfinite(angle_deg))
        printf("  expected  noon angle %.3f°\n", angle_deg);
}

static void print_plan(const struct client *client, const json_t *plan) {
    size_t i;
    const json_t *item;
    const char *zone = screen_string(plan, "zone");
    json_array_foreach(screen_get(plan, "dates"), i, item) print_date(item);
    putchar('\n');
    if (*zone != '\0') {
        fputs("times are those of ", stdout);
        screen_put(stdout, zone);
        puts(", and UTC");
    } else {
        puts("the site has no time zone: times are UTC");
    }
    if (json_is_true(screen_get(plan, "blind")))
        screen_wrapped(stdout, 0,
                       "What is said of the shadow follows from how high the Sun is, roughly: the "
                       "angle is told once your readings are in.");
    putchar('\n');
    const json_t *partners = screen_get(plan, "partners");
    if (json_array_size(partners) == 0)
        puts("no partner on your meridian has joined yet");
    else
        screen_table(stdout, client->terminal, partner_columns,
                     sizeof partner_columns / sizeof partner_columns[0], partners);
    puts("\nbring");
    json_array_foreach(screen_get(plan, "bring"), i, item)
        screen_item(stdout, '-', json_is_string(item) ? json_string_value(item) : "");
    putchar('\n');
    cautions_print(stdout);
}

static const struct option_row rows[] = {
    {.name = "gnomon",
     .kind = OPTION_NUMBER,
     .value = "MM",
     .min = SITE_GNOMON_MIN_MM,
     .max = SITE_GNOMON_MAX_MM,
     .help = "plan with a gnomon of this height (else the site's usual one)"},
    {.name = "partner",
     .kind = OPTION_TEXT,
     .value = "SITE",
     .help = "how good a partner this one would be (else the best there are)"},
};

/* The address with what was asked for. */
static enum leave ask(struct client *client, const char *day, const char *site,
                      struct net_answer *answer, json_t **plan) {
    const char *partner = arguments_text(&client->args, "partner", NULL);
    struct text path;
    text_init(&path, 4096);
    text_format(&path, "/api/v1/days/%s/sites/%s/plan", day, site);
    if (arguments_given(&client->args, "gnomon"))
        text_format(&path, "?gnomon_mm=%.10g", arguments_number(&client->args, "gnomon", 0.0));
    if (partner != NULL) {
        text_put(&path, arguments_given(&client->args, "gnomon") ? "&partner=" : "?partner=");
        net_encode(&path, partner);
    }
    enum leave leave = path.failed ? client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--partner",
                                                 "that is too long")
                                   : client_get(client, path.bytes, answer, plan);
    text_release(&path);
    return leave;
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
    net_answer_init(&answer);
    leave = ask(client, day, site, &answer, &plan);
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
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail =
        "Times are those of the site's zone and UTC. On a blind day the angle to expect is not "
        "told "
        "before your readings are in: measure first. The smaller the sigma to expect, the more a "
        "partner is worth.",
    .example = "noonarc plan 2027-03-20 hillside",
};
