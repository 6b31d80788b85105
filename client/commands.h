/* SPDX-License-Identifier: MIT */
/* commands: every command there is, each defined in a file of its own. */
#ifndef NOONARC_COMMANDS_H
#define NOONARC_COMMANDS_H

#include "client/client.h"

extern const struct command sun_command, noon_command, reduce_command, pair_command;
extern const struct command register_command, keep_command;
extern const struct command login_command, logout_command, whoami_command;
extern const struct command site_command, renew_command, data_command, remove_command;
extern const struct command organisers_command, audit_command;
extern const struct command days_command, open_command, join_command, leave_command;
extern const struct command announce_command, close_command, reopen_command, cancel_command;
extern const struct command move_command, blind_command, history_command;
extern const struct command invite_command, invitations_command, accept_command;
extern const struct command seasons_command, season_command, approve_command, refuse_command;
extern const struct command plan_command;
extern const struct command sky_command, partner_command, watch_command;
extern const struct command submit_command, correct_command, withdraw_command, outbox_command;
extern const struct command show_command, import_command, export_command;
extern const struct command review_command, publish_command, editions_command, verify_command;

/* In the order of the help; NULL at the end. */
extern const struct command *const commands[];

/* Options every command takes, and those of every command that talks to a server. */
extern const struct option_table common_options, server_options;

const struct command *command_find(const char *name);

#endif
