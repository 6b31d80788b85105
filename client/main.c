/* SPDX-License-Identifier: MIT */
/* main: finds the command, checks its words against its tables, runs it, and
 * tells once how it went: a sentence on standard error, or with --json a problem
 * document (RFC 9457) on standard output. */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "client/client.h"
#include "client/commands.h"
#include "client/help.h"
#include "client/screen.h"
#include "server/base/version.h"
#include "server/wire/json_write.h"

#define DEFAULT_SERVER "http://127.0.0.1:8480"

/* Whether a flag stands among the words, before any "--". */
static bool has_flag(int count, char *const *words, const char *flag) {
    for (int i = 0; i < count && strcmp(words[i], "--") != 0; i++)
        if (strcmp(words[i], flag) == 0)
            return true;
    return false;
}

static void print_problem(const struct client *client) {
    if (client->problem.length > 0) {
        client_print(client->problem.bytes);
        return;
    }
    struct text text;
    struct json_writer json;
    text_init(&text, 65536);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    char type[96];
    snprintf(type, sizeof type, "urn:noonarc:problem:%s", err_name(client->err.code));
    json_write_text(&json, "type", type);
    json_write_text(&json, "title", err_title(client->err.code));
    json_write_text(&json, "detail", client->err.text);
    json_write_text(&json, "code", err_name(client->err.code));
    json_write_text_or_null(&json, "field", client->err.field);
    json_write_end(&json);
    client_print(text.bytes);
    text_release(&text);
}

static void tell(const struct client *client, enum leave leave) {
    if (client->json) {
        print_problem(client);
        return;
    }
    fputs("noonarc: ", stderr);
    screen_put(stderr, client->err.text);
    if (client->err.field[0] != '\0' && strstr(client->err.text, client->err.field) == NULL) {
        fputs(" (", stderr);
        screen_put(stderr, client->err.field);
        fputc(')', stderr);
    }
    fputc('\n', stderr);
    if (client->note[0] != '\0')
        fprintf(stderr, "noonarc: %s\n", client->note);
    if (leave == LEAVE_USAGE)
        fprintf(stderr, "noonarc: see `noonarc help%s%s`\n", client->command != NULL ? " " : "",
                client->command != NULL ? client->command->name : "");
}

static enum leave check_server(struct client *client) {
    const char *environment = getenv("NOONARC_SERVER");
    if (environment == NULL || *environment == '\0')
        environment = DEFAULT_SERVER;
    client->server = arguments_text(&client->args, "server", environment);
    if (strlen(client->server) > 200 || !net_server_valid(client->server))
        return client_fail(client, LEAVE_USAGE, ERR_BAD_TEXT, "--server",
                           "\"%.80s\" is not the address of a server: it looks like "
                           "https://noon.example.org",
                           client->server);
    return LEAVE_OK;
}

static enum leave check_words(struct client *client, int count, char *const *words) {
    const struct command *command = client->command;
    struct arguments *args = &client->args;
    args->table[args->tables++] = common_options;
    args->table[args->tables++] = command->options;
    if (command->more_options != NULL)
        args->table[args->tables++] = *command->more_options;
    if (command->server)
        args->table[args->tables++] = server_options;
    if (arguments_parse(args, count, words, &client->err) != 0)
        return LEAVE_USAGE;
    if (args->operands < command->operands_min || args->operands > command->operands_max)
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, command->operands,
                           "the words wanted after %s are: %s", command->name,
                           *command->operands != '\0' ? command->operands : "none");
    return command->server ? check_server(client) : LEAVE_OK;
}

static enum leave run(struct client *client, int count, char *const *words) {
    if (count == 0) {
        if (!client->json)
            help_overview(stderr);
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "command", "no command given");
    }
    const char *name = words[0];
    if (strcmp(name, "--version") == 0 || strcmp(name, "version") == 0) {
        printf("noonarc %s\n", NOONARC_VERSION);
        return LEAVE_OK;
    }
    bool asks_help = strcmp(name, "help") == 0 || strcmp(name, "--help") == 0;
    if (asks_help && (count == 1 || words[1][0] == '-')) {
        help_overview(stdout);
        return LEAVE_OK;
    }
    client->command = command_find(asks_help ? words[1] : name);
    if (client->command == NULL)
        return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "command",
                           "there is no command \"%.40s\"", asks_help ? words[1] : name);
    if (asks_help || has_flag(count, words, "--help")) {
        help_command(stdout, client->command);
        return LEAVE_OK;
    }
    enum leave leave = check_words(client, count - 1, words + 1);
    return leave == LEAVE_OK ? client->command->run(client) : leave;
}

int main(int argc, char **argv) {
    struct client client = {.json = has_flag(argc, argv, "--json"),
                            .terminal = isatty(STDOUT_FILENO) != 0};
    text_init(&client.problem, NET_ANSWER_MAX);
    signal(SIGPIPE, SIG_IGN); /* a lost connection or reader is an error, not an end */
    enum leave leave = run(&client, argc - 1, argv + 1);
    if (leave != LEAVE_OK && !client.told)
        tell(&client, leave);
    if ((fflush(stdout) != 0 || ferror(stdout)) && leave == LEAVE_OK) {
        if (errno != EPIPE)
            fprintf(stderr, "noonarc: cannot write the answer: %s\n", strerror(errno));
        leave = LEAVE_FILE;
    }
    text_release(&client.problem);
    return (int)leave;
}
