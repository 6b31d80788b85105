/* SPDX-License-Identifier: MIT */
/* config: the table and its reading. */
#include "server/config.h"

#include <libgen.h>
#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum setting_kind { SETTING_TEXT, SETTING_WHOLE, SETTING_LISTEN, SETTING_FLAG };

struct setting {
    const char *option, *variable; /* variable NULL: must be said each time */
    enum setting_kind kind;
    const char *value; /* default, as one would type it */
    const char *unit;
    int min, max; /* SETTING_WHOLE, both included */
    size_t offset, size;
    const char *help;
};

#define AT(member) offsetof(struct config, member), sizeof(((struct config *)0)->member)

static const struct setting settings[] = {
    {"--listen", "NOONARC_LISTEN", SETTING_LISTEN, "127.0.0.1:8480", "address:port", 0, 0,
     AT(address), "where to listen; port 0 takes a free one"},
    {"--store", "NOONARC_STORE", SETTING_TEXT, "noonarc.sqlite", "file", 0, 0, AT(store),
     "the store; made when missing"},
    {"--web", "NOONARC_WEB", SETTING_TEXT, "", "folder", 0, 0, AT(web),
     "the pages; found beside the program when not given"},
    {"--connections", "NOONARC_CONNECTIONS", SETTING_WHOLE, "4000", "", 16, 20000,
     AT(limits.connections), "most connections at once"},
    {"--address-connections", "NOONARC_ADDRESS_CONNECTIONS", SETTING_WHOLE, "512", "", 1, 20000,
     AT(limits.address_connections), "of those, most from one address"},
    {"--timeout", "NOONARC_TIMEOUT", SETTING_WHOLE, "15", "s", 1, 600, AT(limits.idle_s),
     "a connection silent for so long is closed"},
    {"--patience", "NOONARC_PATIENCE", SETTING_WHOLE, "30", "s", 1, 600, AT(limits.patience_s),
     "longest for a request to arrive, and a second more per 1000 bytes"},
    {"--address-reads", "NOONARC_ADDRESS_READS", SETTING_WHOLE, "1000", "a second", 0, 1000000,
     AT(limits.address_reads), "reads of one address, ten times that at once, 0 no limit"},
    {"--address-writes", "NOONARC_ADDRESS_WRITES", SETTING_WHOLE, "200", "a second", 0, 1000000,
     AT(limits.address_writes), "writes of one address, likewise"},
    {"--key-reads", "NOONARC_KEY_READS", SETTING_WHOLE, "200", "a second", 0, 1000000,
     AT(limits.key_reads), "reads with one key, likewise"},
    {"--key-writes", "NOONARC_KEY_WRITES", SETTING_WHOLE, "100", "a second", 0, 1000000,
     AT(limits.key_writes), "writes with one key, likewise"},
    {"--address-logins", "NOONARC_ADDRESS_LOGINS", SETTING_WHOLE, "20", "a minute", 0, 100000,
     AT(limits.address_logins), "passwords of one address, as many at once"},
    {"--proxy", "NOONARC_PROXY", SETTING_TEXT, "", "address", 0, 0, AT(limits.proxy),
     "of a proxy in front; its X-Forwarded-For says who calls"},
    {"--queue", "NOONARC_QUEUE", SETTING_WHOLE, "2000", "", 1, LIMITS_QUEUE_MAX, AT(limits.queue),
     "most writes that wait to be committed"},
    {"--bodies", "NOONARC_BODIES", SETTING_WHOLE, "128", "MiB", 1, 65536, AT(limits.body_mib),
     "most memory for what is being sent"},
    {"--live", "NOONARC_LIVE", SETTING_WHOLE, "1000", "", 1, 20000, AT(limits.live),
     "most who watch a day at once"},
    {"--address-live", "NOONARC_ADDRESS_LIVE", SETTING_WHOLE, "100", "", 1, 20000,
     AT(limits.address_live), "of those, most from one address"},
    {"--drain", "NOONARC_DRAIN", SETTING_WHOLE, "10", "s", 0, 600, AT(drain_s),
     "longest wait for answers under way when stopping"},
    {"--keep-days", "NOONARC_KEEP_DAYS", SETTING_WHOLE, "1095", "days", 30, 36500, AT(keep_days),
     "purge: how long what people told is kept"},
    {"--apply", NULL, SETTING_FLAG, "", "", 0, 0, AT(apply),
     "purge: do it; else it only says what it would do"},
    {"--password", NULL, SETTING_FLAG, "", "", 0, 0, AT(password),
     "organiser: logs in by a password, which is asked for"},
    {"--replace", NULL, SETTING_FLAG, "", "", 0, 0, AT(replace),
     "restore: set a store that is there aside"},
};
#define SETTINGS (sizeof settings / sizeof settings[0])

static int set_whole(const struct setting *setting, const char *name, const char *value,
                     struct config *config, struct err *err) {
    char *end;
    long number = strtol(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end != '\0' || number < setting->min ||
        number > setting->max)
        return err_set(err, ERR_OUT_OF_RANGE, name, "%s takes a whole number from %d to %d %s",
                       name, setting->min, setting->max, setting->unit);
    int whole = (int)number;
    memcpy((char *)config + setting->offset, &whole, sizeof whole);
    return 0;
}

static int set_text(const struct setting *setting, const char *name, const char *value,
                    size_t length, struct config *config, struct err *err) {
    char *out = (char *)config + setting->offset;
    if (length >= setting->size)
        return err_set(err, ERR_OUT_OF_RANGE, name, "%s is too long", name);
    memcpy(out, value, length);
    out[length] = '\0';
    return 0;
}

/* "127.0.0.1:8480" or "[::1]:8480". */
static int set_listen(const struct setting *setting, const char *name, const char *value,
                      struct config *config, struct err *err) {
    const char *colon = strrchr(value, ':');
    size_t host = colon == NULL ? 0 : (size_t)(colon - value);
    char *end = NULL;
    unsigned long port =
        colon != NULL && colon[1] >= '0' && colon[1] <= '9' ? strtoul(colon + 1, &end, 10) : 0;
    if (host > 2 && value[0] == '[' && value[host - 1] == ']') {
        value++;
        host -= 2;
    }
    if (host == 0 || end == NULL || *end != '\0' || port > 65535)
        return err_set(err, ERR_OUT_OF_RANGE, name, "%s takes an address and a port, as in %s",
                       name, setting->value);
    config->port = (unsigned)port;
    return set_text(setting, name, value, host, config, err);
}

static int set(const struct setting *setting, const char *name, const char *value,
               struct config *config, struct err *err) {
    switch (setting->kind) {
    case SETTING_TEXT:
        return set_text(setting, name, value, strlen(value), config, err);
    case SETTING_WHOLE:
        return set_whole(setting, name, value, config, err);
    case SETTING_FLAG:
        *(bool *)((char *)config + setting->offset) = true;
        return 0;
    case SETTING_LISTEN:
        break;
    }
    return set_listen(setting, name, value, config, err);
}

/* One option at argv[*at], "--store FILE" or "--store=FILE"; *at moves to its
 * last word. */
static int take_option(int argc, char **argv, int *at, struct config *config, struct err *err) {
    const char *word = argv[*at];
    size_t length = strcspn(word, "=");
    for (size_t i = 0; i < SETTINGS; i++) {
        const struct setting *setting = &settings[i];
        if (strlen(setting->option) != length || strncmp(setting->option, word, length) != 0)
            continue;
        if (setting->kind == SETTING_FLAG && word[length] == '\0')
            return set(setting, setting->option, "", config, err);
        if (setting->kind == SETTING_FLAG)
            return err_set(err, ERR_OUT_OF_RANGE, setting->option, "%s takes no value",
                           setting->option);
        if (word[length] == '=')
            return set(setting, setting->option, word + length + 1, config, err);
        if (++*at == argc)
            return err_set(err, ERR_MISSING_FIELD, setting->option, "%s takes a value",
                           setting->option);
        return set(setting, setting->option, argv[*at], config, err);
    }
    return err_set(err, ERR_UNKNOWN_FIELD, word, "there is no option %s", word);
}

static bool holds_page(const char *folder) {
    char page[PATH_MAX];
    int length = snprintf(page, sizeof page, "%s/index.html", folder);
    return length > 0 && (size_t)length < sizeof page && access(page, R_OK) == 0;
}

/* As built: build/noonarcd and build/web. As installed: bin/noonarcd and
 * share/noonarc/web. */
static void find_web(struct config *config) {
    static const char *const beside[] = {"web", "../share/noonarc/web"};
    char program[PATH_MAX];
    ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
    if (length <= 0)
        return;
    program[length] = '\0';
    const char *folder = dirname(program);
    for (size_t i = 0; i < sizeof beside / sizeof beside[0]; i++) {
        int wanted = snprintf(config->web, sizeof config->web, "%s/%s", folder, beside[i]);
        if (wanted > 0 && (size_t)wanted < sizeof config->web && holds_page(config->web))
            return;
    }
    config->web[0] = '\0';
}

int config_read(int argc, char **argv, struct config *out, struct err *err) {
    struct config config = {0};
    for (size_t i = 0; i < SETTINGS; i++) {
        if (settings[i].kind == SETTING_FLAG)
            continue;
        const char *value = getenv(settings[i].variable);
        bool given = value != NULL && value[0] != '\0';
        if (set(&settings[i], given ? settings[i].variable : settings[i].option,
                given ? value : settings[i].value, &config, err) != 0)
            return -1;
    }
    for (int at = 1; at < argc; at++) {
        if (argv[at][0] == '-' && argv[at][1] != '\0') {
            if (take_option(argc, argv, &at, &config, err) != 0)
                return -1;
        } else if (config.command == NULL)
            config.command = argv[at];
        else if (config.operand == NULL)
            config.operand = argv[at];
        else
            return err_set(err, ERR_UNKNOWN_FIELD, argv[at], "\"%s\" is one word too many",
                           argv[at]);
    }
    if (config.web[0] == '\0')
        find_web(&config);

    *out = config;
    return 0;
}

bool config_has_pages(const struct config *config) {
    return config->web[0] != '\0' && holds_page(config->web);
}

void config_print(FILE *file) {
    for (size_t i = 0; i < SETTINGS; i++) {
        const struct setting *setting = &settings[i];
        char option[48];
        snprintf(option, sizeof option, "%s %s", setting->option,
                 setting->kind == SETTING_WHOLE ? "N" : setting->unit);
        fprintf(file, "  %-24s %s", option, setting->help);
        if (setting->kind == SETTING_WHOLE)
            fprintf(file, ", %d to %d%s%s", setting->min, setting->max,
                    setting->unit[0] == '\0' ? "" : " ", setting->unit);
        if (setting->value[0] != '\0')
            fprintf(file, " [%s]", setting->value);
        fprintf(file, "\n");
        if (setting->variable != NULL)
            fprintf(file, "  %-24s   or %s\n", "", setting->variable);
    }
}
