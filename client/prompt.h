/* SPDX-License-Identifier: MIT */
/* prompt: one question to a person, one line for an answer. Questions go to
 * standard error; answers come from standard input. */
#ifndef NOONARC_PROMPT_H
#define NOONARC_PROMPT_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"

#define PROMPT_LINE_MAX 512

/* Asks; line has PROMPT_LINE_MAX bytes and gets the answer without the blanks
 * around it. A line that is too long is told and counts as empty. False at the
 * end of input. */
bool prompt_ask(const char *question, char *line) __attribute__((warn_unused_result));

/* Asks for something that is not shown while it is typed. Without a terminal it is the
 * next line of standard input. False when there is none, or it does not fit. */
bool prompt_secret(const char *question, char *out, size_t size)
    __attribute__((warn_unused_result));

/* Asks until the answer is yes (or empty) or no. False at the end of input. */
bool prompt_yes(const char *question, bool *yes) __attribute__((warn_unused_result));

/* Tells what is wrong with an answer, by its field, and clears err. */
void prompt_complain(struct err *err);

#endif
