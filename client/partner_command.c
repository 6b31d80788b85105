/* SPDX-License-Identifier: MIT */
/* partner: who works with whom on a day, and having partners chosen. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/listing.h"
#include "client/screen.h"

static const struct option_row rows[] = {
    {.name = "choose",
     .kind = OPTION_FLAG,
     .help = "have partners chosen for all who take part, in place of those before (organiser)"},
};

static void print_partner(const char *site, const json_t *partner) {
    const char *because = screen_string(partner, "because"), *sky = screen_string(partner, "sky");
    printf("%s with %s, expected ± %.0f km", site, screen_string(partner, "site"),
           screen_number(partner, "expected_sigma_km"));
    if (strcmp(screen_string(partner, "kind"), "assigned") != 0)
        printf(", %s%s%s", screen_string(partner, "kind"), because[0] != '\0' ? " because of " : "",
               because);
    printf("; its sky: %s, %.0f readings\n", sky[0] != '\0' ? sky : "not said",
           screen_number(partner, "readings"));
}

static void print_partners(const json_t *site) {
    const json_t *partners = screen_get(site, "partners"), *partner;
    size_t i;
    json_array_foreach(partners, i, partner) print_partner(screen_string(site, "site"), partner);
    if (json_array_size(partners) == 0)
        printf("%s has no partner\n", screen_string(site, "site"));
}

static enum leave show_one(struct client *client, const char *day, const char *site) {
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    json_t *partners = NULL;
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s/partner", day, site);
    net_answer_init(&answer);
    enum leave leave = client_get(client, path, &answer, &partners);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        print_partners(partners);
    json_decref(partners);
    net_answer_release(&answer);
    return leave;
}

static enum leave show_all(struct client *client, const char *day) {
    char path[CLIENT_PATH_MAX];
    json_t *list = NULL;
    const json_t *site;
    size_t i;
    snprintf(path, sizeof path, "/api/v1/days/%s/partners", day);
    enum leave leave = listing_get(client, path, "sites", &list);
    if (leave == LEAVE_OK && !client->json) {
        if (screen_string(list, "chosen_utc")[0] == '\0')
            printf("partners of day %s were not chosen yet\n", day);
        else
            json_array_foreach(screen_get(list, "sites"), i, site) print_partners(site);
    }
    json_decref(list);
    return leave;
}

static enum leave choose(struct client *client, const char *day) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX], path[CLIENT_PATH_MAX];
    enum key_kind kind;
    struct net_answer answer;
    json_t *chosen = NULL;
    enum leave leave = client_key(client, "", kinds, 1, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/days/%s/partners", day);
    const struct net_request request = {.method = "POST", .path = path, .key = secret};
    net_answer_init(&answer);
    leave = client_send_json(client, &request, &answer, &chosen);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        printf("%.0f schools: %.0f pairs, of which %.0f are threes, and %.0f alone; expected "
               "± %.0f km for a pair in the mean\n",
               screen_number(chosen, "sites"), screen_number(chosen, "pairs"),
               screen_number(chosen, "threes"), screen_number(chosen, "alone"),
               screen_number(chosen, "mean_expected_sigma_km"));
    json_decref(chosen);
    net_answer_release(&answer);
    return leave;
}

static enum leave run_partner(struct client *client) {
    const char *day, *site;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave != LEAVE_OK)
        return leave;
    if (arguments_given(&client->args, "choose"))
        return client->args.operands == 1
                   ? choose(client, day)
                   : client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "SITE",
                                 "--choose is for the whole day: give no site");
    if (client->args.operands == 1)
        return show_all(client, day);
    leave = client_identifier(client, 1, "site", &site);
    return leave == LEAVE_OK ? show_one(client, day, site) : leave;
}

const struct command partner_command = {
    .name = "partner",
    .summary = "who works with whom on a day",
    .operands = "DAY [SITE]",
    .operands_min = 1,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run_partner,
    .detail = "As many schools as can be get a partner, and the expected uncertainty over all is "
              "least. A school whose partner has cloud is offered the best free one at once.\n"
              "All pairs on one meridian count in the results, partners or not.",
    .example = "noonarc partner 2027-03-20 hillside",
};
