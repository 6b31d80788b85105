/* SPDX-License-Identifier: MIT */
/* prompt: the terminal's own line editing serves; but for secrets nothing is done to its
 * modes. */
#include "client/prompt.h"

#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "client/screen.h"

bool prompt_ask(const char *question, char *line) {
    fputs(question, stderr);
    fflush(stderr);
    if (fgets(line, PROMPT_LINE_MAX, stdin) == NULL) {
        fputc('\n', stderr);
        return false;
    }
    size_t length = strlen(line);
    if (length == PROMPT_LINE_MAX - 1 && line[length - 1] != '\n') {
        for (int c = getchar(); c != '\n' && c != EOF;)
            c = getchar();
        fputs("  that line is too long\n", stderr);
        length = 0;
    }
    size_t blanks = strspn(line, " \t");
    while (length > blanks && strchr(" \t\r\n", line[length - 1]) != NULL)
        length--;
    if (length <= blanks)
        length = blanks = 0;
    memmove(line, line + blanks, length - blanks);
    line[length - blanks] = '\0';
    return true;
}

bool prompt_secret(const char *question, char *out, size_t size) {
    struct termios shown, hidden;
    bool terminal = isatty(STDIN_FILENO) != 0 && tcgetattr(STDIN_FILENO, &shown) == 0;
    if (terminal) {
        hidden = shown;
        hidden.c_lflag &= ~(tcflag_t)ECHO;
        fputs(question, stderr);
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    }
    bool read = fgets(out, (int)size, stdin) != NULL;
    if (terminal) {
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &shown);
        fputc('\n', stderr);
    }
    if (!read)
        return false;
    size_t length = strcspn(out, "\r\n");
    bool whole = out[length] != '\0' || length + 1 < size;
    out[length] = '\0';
    return whole;
}

bool prompt_yes(const char *question, bool *yes) {
    char line[PROMPT_LINE_MAX];
    for (;;) {
        if (!prompt_ask(question, line))
            return false;
        *yes = line[0] != 'n' && line[0] != 'N';
        if (line[0] == '\0' || strchr("yYnN", line[0]) != NULL)
            return true;
        fputs("  y or n\n", stderr);
    }
}

void prompt_complain(struct err *err) {
    fputs("  ", stderr);
    if (err->field[0] != '\0')
        fprintf(stderr, "%s: ", err->field);
    screen_put(stderr, err->text);
    fputc('\n', stderr);
    err_clear(err);
}
