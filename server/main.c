/* SPDX-License-Identifier: MIT */
/* main: noonarcd, the server. Serving is the list of what is started, stopped in
 * reverse; the other commands stand in commands.c. Exit status: 0 done, 1 it
 * failed, 2 it was called wrongly. */
#include <signal.h>
#include <sodium.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>

#include "server/base/log.h"
#include "server/base/version.h"
#include "server/commands.h"
#include "server/config.h"
#include "server/http/listener.h"
#include "server/http/remaker.h"
#include "server/rules/almanac.h"
#include "server/rules/book.h"
#include "server/rules/writer.h"
#include "server/store/pool.h"

/* Files that are open besides connections: store, journal, pages, standard streams. */
#define FILES_OF_OURS 64

static void allow_files(int connections) {
    struct rlimit files;
    rlim_t wanted = (rlim_t)connections + FILES_OF_OURS;
    if (getrlimit(RLIMIT_NOFILE, &files) != 0 || files.rlim_cur >= wanted)
        return;
    files.rlim_cur = files.rlim_max < wanted ? files.rlim_max : wanted;
    if (setrlimit(RLIMIT_NOFILE, &files) != 0 || files.rlim_cur < wanted)
        log_line(NOONARC_LOG_WARNING, "fewer files than connections: %llu may be open",
                 (unsigned long long)files.rlim_cur);
}

static void wait_for_signal(const sigset_t *signals) {
    int received = 0;
    while (sigwait(signals, &received) != 0)
        continue;
    log_line(NOONARC_LOG_INFO, "stopping on %s", strsignal(received));
}

static int serve(const struct config *config, struct err *err) {
    struct claim claim = {.file = -1};
    struct db *store = NULL;
    struct pool *pool = NULL;
    struct almanac *almanac = NULL;
    struct book *book = NULL;
    struct writer *writer = NULL;
    struct steady *steady = NULL;
    struct remaker *remaker = NULL;
    struct listener *listener = NULL;
    const struct listener_options options = {.address = config->address,
                                             .port = config->port,
                                             .limits = config->limits,
                                             .web_directory = config->web};
    sigset_t signals;
    int status = -1;

    /* Blocked before the first thread starts, so that all inherit it and only
     * wait_for_signal hears of them. */
    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    sigprocmask(SIG_BLOCK, &signals, NULL);
    signal(SIGPIPE, SIG_IGN);
    allow_files(config->limits.connections);

    if (config->web[0] != '\0' && !config_has_pages(config)) {
        err_set(err, ERR_NOT_FOUND, "--web", "--web: there is no index.html in %.200s",
                config->web);
        goto cleanup;
    }
    almanac = almanac_new();
    book = book_new();
    if (almanac == NULL || book == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
        goto cleanup;
    }
    if (commands_open_store(config, &claim, &store, err) != 0 ||
        pool_new(config->store, LISTENER_READERS + 1, &pool, err) != 0 || /* and the remaker's */
        remaker_new(pool, book, &remaker, err) != 0 ||
        steady_new(config->store, LISTENER_THREADS, book, &steady, err) != 0)
        goto cleanup;
    if (writer_new(store, almanac, book, steady, &writer, err) != 0)
        goto cleanup;
    store = NULL; /* the writer's now */
    const struct listener_house house = {pool, steady, writer, almanac, book};
    if (listener_new(&options, &house, &listener, err) != 0)
        goto cleanup;

    bool v6 = strchr(config->address, ':') != NULL;
    printf("listening on http://%s%s%s:%u\n", v6 ? "[" : "", config->address, v6 ? "]" : "",
           listener_port(listener));
    fflush(stdout);
    if (config->web[0] == '\0')
        log_line(NOONARC_LOG_WARNING, "no pages found; see --web");
    wait_for_signal(&signals);
    status = 0;

    int left = listener_drain(listener, config->drain_s);
    if (left > 0)
        log_line(NOONARC_LOG_WARNING, "%d requests were left unanswered", left);
cleanup:
    listener_free(listener);
    writer_free(writer);
    remaker_free(remaker);
    steady_free(steady);
    pool_free(pool);
    db_close(store);
    book_free(book);
    almanac_free(almanac);
    claim_release(&claim);
    return status;
}

static const struct command {
    const char *name;
    const char *operand; /* "" none */
    command_run *run;
    const char *help;
} commands[] = {
    {"serve", "", serve, "answer requests until a SIGTERM or SIGINT; one server a store"},
    {"organiser", "NAME", command_organiser, "print a new organiser's key, or set a password"},
    {"backup", "FILE", command_backup, "copy the store into a new file, verified; print its sum"},
    {"check", "", command_check, "prove the store: its pages, and derived against recorded"},
    {"migrate", "", command_migrate, "bring the store to this program's form *"},
    {"purge", "", command_purge, "say what is kept longer than it may be; --apply erases it"},
    {"rebuild", "", command_rebuild, "make all that is derived anew from what was recorded *"},
    {"restore", "FILE", command_restore, "make the store anew from a backup, verified *"},
};
#define COMMANDS (sizeof commands / sizeof commands[0])

static void print_help(FILE *file) {
    fprintf(file, "noonarcd, the server of noonarc: schools measure the Earth together\n\n"
                  "usage: noonarcd [options] command\n\ncommands:\n");
    for (size_t i = 0; i < COMMANDS; i++) {
        char usage[48];
        snprintf(usage, sizeof usage, "%s %s", commands[i].name, commands[i].operand);
        fprintf(file, "  %-24s %s\n", usage, commands[i].help);
    }
    fprintf(file,
            "\n* stop the server first; the others may run beside it. The sum of a backup is\n"
            "BLAKE2b-256: `b2sum -l 256 -c` compares it.\n\noptions:\n");
    config_print(file);
}

static const struct command *find_command(const char *name) {
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(commands[i].name, name) == 0)
            return &commands[i];
    return NULL;
}

static const struct command *check_words(const struct config *config, struct err *err) {
    if (config->command == NULL) {
        err_set(err, ERR_MISSING_FIELD, NULL, "no command was given");
        return NULL;
    }
    const struct command *command = find_command(config->command);
    if (command == NULL)
        err_set(err, ERR_UNKNOWN_FIELD, NULL, "there is no command \"%.40s\"", config->command);
    else if (command->operand[0] == '\0' && config->operand != NULL)
        err_set(err, ERR_UNKNOWN_FIELD, NULL, "%s takes no word after it, not \"%.40s\"",
                command->name, config->operand);
    else if (command->operand[0] != '\0' && config->operand == NULL)
        err_set(err, ERR_MISSING_FIELD, NULL, "%s takes a word after it: %s %s", command->name,
                command->name, command->operand);
    else
        return command;
    return NULL;
}

static bool has_word(int argc, char **argv, const char *word) {
    for (int i = 1; i < argc; i++)
        if (strcmp(argv[i], word) == 0)
            return true;
    return false;
}

int main(int argc, char **argv) {
    struct config config;
    struct err err = {0};
    if (has_word(argc, argv, "--help") || (argc == 2 && strcmp(argv[1], "help") == 0)) {
        print_help(stdout);
        return 0;
    }
    if (has_word(argc, argv, "--version")) {
        printf("noonarcd %s\n", NOONARC_VERSION);
        return 0;
    }
    const struct command *command = NULL;
    if (config_read(argc, argv, &config, &err) == 0)
        command = check_words(&config, &err);
    if (command == NULL) {
        fprintf(stderr, "noonarcd: %s\nusage: noonarcd [options] command; see noonarcd --help\n",
                err.text);
        return 2;
    }
    if (sodium_init() < 0) {
        fprintf(stderr, "noonarcd: no source of random numbers\n");
        return 1;
    }
    if (command->run(&config, &err) != 0) {
        fprintf(stderr, "noonarcd: %s\n", err.text[0] == '\0' ? err_title(err.code) : err.text);
        return 1;
    }
    return 0;
}
