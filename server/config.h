/* SPDX-License-Identifier: MIT */
/* config: what can be set about noonarcd. One table gives every setting its
 * option, environment variable, default, unit and range, and prints itself as
 * the help; the option wins over the environment. Nobody else asks the
 * environment. */
#ifndef NOONARC_CONFIG_H
#define NOONARC_CONFIG_H

#include <stdbool.h>
#include <stdio.h>

#include "server/base/err.h"
#include "server/http/limits.h"

struct config {
    char address[64]; /* listened on, numeric */
    unsigned port;    /* 0: a free one */
    char store[1024]; /* the SQLite file */
    char web[1024];   /* folder of the pages */
    struct listener_limits limits;
    int drain_s;         /* longest wait for answers under way when stopping */
    int keep_days;       /* purge: how long what people told is kept */
    bool apply;          /* purge: does it; else only says what it would do */
    bool password;       /* organiser: logs in by a password, which is asked for */
    bool replace;        /* restore: a store that is there is set aside */
    const char *command; /* first word that is no option, NULL none; borrowed from argv */
    const char *operand; /* second one */
};

/* Defaults, then the environment, then the options. Errors name the option or
 * the variable: ERR_UNKNOWN_FIELD, ERR_OUT_OF_RANGE, ERR_MISSING_FIELD. */
int config_read(int argc, char **argv, struct config *out, struct err *err)
    __attribute__((warn_unused_result));

/* Whether there is a page in the folder of the pages. */
bool config_has_pages(const struct config *config);

/* The table, for the help. */
void config_print(FILE *file);

#endif
