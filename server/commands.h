/* SPDX-License-Identifier: MIT */
/* commands: what noonarcd does besides serving: looking after its store. Each
 * prints what it did on standard output. */
#ifndef NOONARC_COMMANDS_H
#define NOONARC_COMMANDS_H

#include "server/config.h"
#include "server/store/claim.h"
#include "server/store/db.h"

/* Claims the store, opens it for writing and brings it to the form this program
 * knows. ERR_BUSY when another noonarcd has it. The claim is the caller's, to be
 * released after the connection is closed. */
int commands_open_store(const struct config *config, struct claim *claim, struct db **out,
                        struct err *err) __attribute__((warn_unused_result));

typedef int command_run(const struct config *config, struct err *err);

command_run command_migrate;   /* brings the store up to date and says how much was missing */
command_run command_rebuild;   /* makes everything derived anew from what was recorded */
command_run command_organiser; /* a key for the organiser named by the operand, shown once;
                                  or a password */
command_run command_check;     /* whether file and derived tables are what they must be */
command_run command_purge;     /* what is over by the rule of how long things are kept */
command_run command_backup;    /* a verified copy in the file named by the operand */
command_run command_restore;   /* the store anew from that file */

/* Seconds since 1970-01-01 UTC. */
double commands_now_utc_s(void);

#endif
