/* SPDX-License-Identifier: MIT */
/* ask_password: a password from whoever sits at the machine. */
#ifndef NOONARC_ASK_PASSWORD_H
#define NOONARC_ASK_PASSWORD_H

#include <stddef.h>

#include "server/base/err.h"

/* From a terminal: asked for twice, not shown. Else the first line of standard input,
 * so that a script can hand one over. size counts the NUL; ERR_OUT_OF_RANGE when it
 * does not fit or the two differ, ERR_MISSING_FIELD when there is none. */
int ask_password(char *out, size_t size, struct err *err) __attribute__((warn_unused_result));

#endif
