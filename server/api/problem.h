/* SPDX-License-Identifier: MIT */
/* problem: the one place where an error becomes an answer (RFC 9457). The type
 * is urn:noonarc:problem:CODE; code and field are members of their own. */
#ifndef NOONARC_PROBLEM_H
#define NOONARC_PROBLEM_H

#include "server/api/exchange.h"

#define PROBLEM_CONTENT_TYPE "application/problem+json"

/* Replaces whatever the response held by the problem document of err, with the
 * status of its code. err->code is not ERR_NONE. */
void problem_render(const struct err *err, struct response *response);

#endif
