/* SPDX-License-Identifier: MIT */
/* help: printed from the tables that also check the command line. */
#include "client/help.h"

#include <string.h>

#include "client/cautions.h"
#include "client/commands.h"
#include "client/screen.h"

void help_overview(FILE *out) {
    fputs("noonarc: schools measure the Earth together, one noon shadow each.\n\n"
          "usage: noonarc COMMAND [words] [options]\n"
          "       noonarc help COMMAND\n\n",
          out);
    for (size_t i = 0; commands[i] != NULL; i++)
        fprintf(out, "  %-10s %s\n", commands[i]->name, commands[i]->summary);
    fputs("\nEvery command takes --json and --help; noonarc --version tells the version.\n\n"
          "exit codes\n"
          "  0  done\n"
          "  1  refused, by the server or by a check\n"
          "  2  the command line is wrong\n"
          "  3  no answer from the server; a run is kept in the outbox\n"
          "  4  a local file could not be read or written\n\n"
          "kept on this computer\n"
          "  keys    $XDG_CONFIG_HOME/noonarc/keys.json (else ~/.config), for your eyes only\n"
          "  outbox  $XDG_STATE_HOME/noonarc/outbox.sqlite (else ~/.local/state)\n\n",
          out);
    screen_wrapped(out, 0, CAUTION_SUN);
}

void help_command(FILE *out, const struct command *command) {
    fprintf(out, "noonarc %s: %s\n\n", command->name, command->summary);
    fprintf(out, "usage: noonarc %s%s%s [options]\n", command->name,
            *command->operands != '\0' ? " " : "", command->operands);
    const char *at = command->detail != NULL ? command->detail : "";
    while (*at != '\0') {
        char paragraph[1024];
        size_t length = strcspn(at, "\n");
        snprintf(paragraph, sizeof paragraph, "%.*s", (int)length, at);
        fputc('\n', out);
        screen_wrapped(out, 0, paragraph);
        at += length + (at[length] == '\n');
    }
    if (command->more_help != NULL)
        command->more_help(out);
    fputs("\noptions\n", out);
    options_print(out, &command->options);
    if (command->more_options != NULL)
        options_print(out, command->more_options);
    if (command->server)
        options_print(out, &server_options);
    options_print(out, &common_options);
    fprintf(out, "\nexample\n  %s\n", command->example);
}
