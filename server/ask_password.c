/* SPDX-License-Identifier: MIT */
#include "server/ask_password.h"

#include <sodium.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

static int read_line(char *out, size_t size, struct err *err) {
    if (fgets(out, (int)size, stdin) == NULL || out[0] == '\n')
        return err_set(err, ERR_MISSING_FIELD, "password", "no password was given");
    size_t length = strcspn(out, "\n");
    if (out[length] != '\n' && length + 1 == size)
        return err_set(err, ERR_OUT_OF_RANGE, "password", "a password has at most %zu bytes",
                       size - 2);
    out[length] = '\0';
    return 0;
}

/* What is typed is not shown, whatever comes of it. */
static int read_hidden(const char *question, char *out, size_t size, struct err *err) {
    struct termios shown, hidden;
    bool terminal = tcgetattr(STDIN_FILENO, &shown) == 0;
    if (terminal) {
        hidden = shown;
        hidden.c_lflag &= ~(tcflag_t)ECHO;
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    }
    fputs(question, stderr);
    int status = read_line(out, size, err);
    if (terminal)
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &shown);
    fputc('\n', stderr);
    return status;
}

int ask_password(char *out, size_t size, struct err *err) {
    char again[512];
    if (!isatty(STDIN_FILENO))
        return read_line(out, size, err);
    int status = read_hidden("Password: ", out, size, err);
    if (status == 0)
        status = read_hidden("The same again: ", again, sizeof again, err);
    if (status == 0 && strcmp(out, again) != 0)
        status = err_set(err, ERR_OUT_OF_RANGE, "password", "the two are not the same");
    sodium_memzero(again, sizeof again);
    return status;
}
