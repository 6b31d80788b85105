/* SPDX-License-Identifier: MIT */
/* keep: a key that was given to you on paper, kept for later commands; or a new
 * class code in the place of one that has got about. */
#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "client/commands.h"
#include "client/screen.h"

#define CLASS_CODE_MAX 12 /* class codes are shorter than school keys: XXXXX-XXXXX */

static const struct option_row rows[] = {
    {.name = "organiser",
     .kind = OPTION_FLAG,
     .help = "it is the organiser's key of this server; no SITE then"},
    {.name = "new-class-code",
     .kind = OPTION_FLAG,
     .help = "have the server make a new class code for the site and keep that; the old one stops "
             "working"},
};

/* One line from standard input, unseen when that is a terminal. */
static bool ask_secret(char *secret) {
    struct termios shown, hidden;
    bool terminal = isatty(STDIN_FILENO) != 0 && tcgetattr(STDIN_FILENO, &shown) == 0;
    if (terminal) {
        hidden = shown;
        hidden.c_lflag &= ~(tcflag_t)ECHO;
        fputs("key or code (it is not shown): ", stderr);
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    }
    bool read = fgets(secret, KEYS_SECRET_MAX, stdin) != NULL;
    if (terminal) {
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &shown);
        fputc('\n', stderr);
    }
    if (read)
        secret[strcspn(secret, "\r\n")] = '\0';
    return read && keys_secret_valid(secret);
}

static enum leave take_secret(struct client *client, char *secret) {
    enum key_kind kind;
    if (arguments_given(&client->args, "key") || arguments_given(&client->args, "key-file"))
        return client_key(client, "", NULL, 0, secret, &kind);
    if (!ask_secret(secret))
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_KEY, "key", "that is not a key");
    return LEAVE_OK;
}

static enum leave renew(struct client *client, const char *site) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX], path[CLIENT_PATH_MAX];
    enum key_kind kind;
    enum leave leave = client_key(client, site, kinds, 2, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    json_t *result = NULL;
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/sites/%s/class_code", site);
    const struct net_request request = {.method = "POST", .path = path, .key = secret};
    leave = client_send_json(client, &request, &answer, &result);
    if (leave == LEAVE_OK) {
        const char *code = screen_string(result, "class_code");
        if (client->json)
            client_print(answer.body.bytes);
        else
            printf("new class code  %s\n", keys_secret_valid(code) ? code : "?");
        if (keys_save(client->server, site, KEY_CLASS, code, &client->err) != 0)
            leave = LEAVE_FILE;
        client->told = leave == LEAVE_OK;
    }
    explicit_bzero(secret, sizeof secret);
    json_decref(result);
    net_answer_release(&answer);
    return leave;
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
    if (arguments_given(&client->args, "new-class-code"))
        return renew(client, site);
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
