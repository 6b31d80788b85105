/* SPDX-License-Identifier: MIT */
/* run_prompt: asks a person for a run, pin by pin. Each entry is checked at once;
 * readings are kept as a draft as they come, so that a closed lid or a dead
 * battery costs at most the line being typed. Questions and remarks go to standard
 * error, so that standard output has the answer alone. */
#ifndef NOONARC_RUN_PROMPT_H
#define NOONARC_RUN_PROMPT_H

#include "client/client.h"
#include "client/outbox.h"
#include "server/wire/records.h"

/* Asks. known may be NULL. run is initialised here. LEAVE_REFUSED when the person
 * stops before sending: the draft stays. */
enum leave run_prompt(struct client *client, struct outbox *outbox, const char *day,
                      const char *site, const struct site_record *known, struct run_record *run);

#endif
