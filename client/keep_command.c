/* SPDX-License-Identifier: MIT */
/* keep: a key that was given to you on paper, kept for later commands. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/prompt.h"

#define CLASS_CODE_MAX 12 /* class codes are shorter than school keys: XXXXX-XXXXX */

static const struct option_row rows[] = {
    {.name = "organiser",
     .kind = OPTION_FLAG,
     .help = "it is the organiser's key of this server; no SITE then"},
};

static enum leave take_secret(struct client *client, char *secret) {
    enum key_kind kind;
    if (arguments_given(&client->args, "key") || arguments_given(&client->args, "key-file"))
        return client_key(client, "", NULL, 0, secret, &kind);
    if (!prompt_secret("key or code (it is not shown): ", secret, KEYS_SECRET_MAX) ||
        !keys_secret_valid(secret))
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_KEY, "key", "that is not a key");
    return LEAVE_OK;
}

static enum leave run(struct client *client) {
    bool organiser = arguments_given(&client->args, "organiser");
    const char *site = KEYS_ORGANISER_SITE;
    if (organiser == (client->args.operands == 1))
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "SITE",
                           "name the site the key is for, or say --organiser");
    if (!organiser) {
        enum leave leave = client_identifier(client, 0, "site", &site);
        if (leave != LEAVE_OK)
            return leave;
    }
    char secret[KEYS_SECRET_MAX];
    enum leave leave = take_secret(client, secret);
    if (leave != LEAVE_OK)
        return leave;
    enum key_kind kind = organiser                          ? KEY_ORGANISER
                         : strlen(secret) <= CLASS_CODE_MAX ? KEY_CLASS
                                                            : KEY_SCHOOL;
    int result = keys_save(client->server, site, kind, secret, &client->err);
    explicit_bzero(secret, sizeof secret);
    if (result != 0)
        return LEAVE_FILE;
    printf(client->json ? "{\"kept\":\"%s\"}\n" : "kept: %s\n", key_kind_name(kind));
    return LEAVE_OK;
}

const struct command keep_command = {
    .name = "keep",
    .summary = "keep a school key, class code or organiser's key on this computer",
    .operands = "SITE",
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "The key is asked for and not shown; in a script, give it on standard input or with "
              "--key-file. It is kept for the server named by --server or NOONARC_SERVER.",
    .example = "noonarc keep hillside --server https://noon.example.org",
};
