/* SPDX-License-Identifier: MIT */
/* help: the command table as pages to read. */
#ifndef NOONARC_HELP_H
#define NOONARC_HELP_H

#include <stdio.h>

#include "client/client.h"

/* All commands, exit codes, where things are kept. */
void help_overview(FILE *out);

/* One command with its options and an example. */
void help_command(FILE *out, const struct command *command);

#endif
