/* SPDX-License-Identifier: MIT */
/* commands: the table, and the options they share. */
#include "client/commands.h"

#include <string.h>

/* One a line, so that two that are added do not meet. */
/* clang-format off */
const struct command *const commands[] = {
    &register_command,
    &keep_command,
    &accept_command,
    &site_command,
    &renew_command,
    &data_command,
    &remove_command,
    &days_command,
    &history_command,
    &join_command,
    &leave_command,
    &plan_command,
    &noon_command,
    &sky_command,
    &partner_command,
    &watch_command,
    &submit_command,
    &correct_command,
    &withdraw_command,
    &outbox_command,
    &show_command,
    &export_command,
    &seasons_command,
    &season_command,
    &invite_command,
    &invitations_command,
    &open_command,
    &announce_command,
    &move_command,
    &blind_command,
    &close_command,
    &reopen_command,
    &cancel_command,
    &approve_command,
    &refuse_command,
    &import_command,
    &login_command,
    &logout_command,
    &whoami_command,
    &organisers_command,
    &audit_command,
    &review_command,
    &publish_command,
    &editions_command,
    &verify_command,
    &sun_command,
    &reduce_command,
    &pair_command,
    NULL,
};
/* clang-format on */

static const struct option_row common_rows[] = {
    {.name = "json",
     .kind = OPTION_FLAG,
     .help = "print one JSON document: the server's own, or the result worked out here; an error "
             "is a problem document with its code and field"},
    {.name = "help", .kind = OPTION_FLAG, .help = "this help"},
};
const struct option_table common_options = OPTION_TABLE(common_rows);

static const struct option_row server_rows[] = {
    {.name = "server",
     .kind = OPTION_TEXT,
     .value = "URL",
     .help = "the server (else NOONARC_SERVER, else http://127.0.0.1:8480)"},
    {.name = "key-file",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "file with the key or code to use (else NOONARC_KEY, else the one kept here)"},
    {.name = "key",
     .kind = OPTION_TEXT,
     .value = "KEY",
     .help = "the key itself; careful: others on this computer can see it while the command runs"},
};
const struct option_table server_options = OPTION_TABLE(server_rows);

const struct command *command_find(const char *name) {
    for (size_t i = 0; commands[i] != NULL; i++)
        if (strcmp(commands[i]->name, name) == 0)
            return commands[i];
    return NULL;
}
