/* SPDX-License-Identifier: MIT */
/* organise: what the organiser's commands share: one JSON body sent with the
 * organiser's key, and what the server found odd about it. */
#ifndef NOONARC_ORGANISE_H
#define NOONARC_ORGANISE_H

#include "client/client.h"

/* Sends body (JSON text, NULL: none) to path and parses the answer, which with --json
 * is printed as it came. The caller owns *out. */
enum leave organise(struct client *client, const char *method, const char *path, const char *body,
                    json_t **out);

/* Tells an answer's warnings on standard error, each on lines of its own. */
void organise_tell_warnings(const json_t *answer);

#endif
