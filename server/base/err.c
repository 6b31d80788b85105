/* SPDX-License-Identifier: MIT */
/* err: the one table of error codes and the setter that keeps the first. */
#include "server/base/err.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

static const struct {
    const char *name;
    int status;
    const char *title;
} codes[] = {
#define ERR_ROW(code, name, status, title) [code] = {name, status, title},
    ERR_CODES(ERR_ROW)
#undef ERR_ROW
};

/* Where snprintf had to cut, it may have cut through a UTF-8 character: drop its
 * beginning. */
static void end_at_character(char *text, size_t length) {
    size_t lead = length;
    while (lead > 0 && length - lead < 3 && ((unsigned char)text[lead - 1] & 0xC0) == 0x80)
        lead--;
    if (lead == 0)
        return;
    const unsigned char first = (unsigned char)text[--lead];
    const size_t wanted = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : first >= 0xC0 ? 2 : 1;
    if (length - lead < wanted)
        text[lead] = '\0';
}

static void set_field(struct err *err, const char *field) {
    int length = snprintf(err->field, sizeof err->field, "%s", field);
    if (length >= (int)sizeof err->field)
        end_at_character(err->field, sizeof err->field - 1);
}

int err_set(struct err *err, enum err_code code, const char *field, const char *format, ...) {
    if (err == NULL || err->code != ERR_NONE)
        return -1;
    err->code = code;
    set_field(err, field != NULL ? field : "");
    va_list args;
    va_start(args, format);
    int length = vsnprintf(err->text, sizeof err->text, format, args);
    va_end(args);
    if (length >= (int)sizeof err->text)
        end_at_character(err->text, sizeof err->text - 1);
    return -1;
}

int err_at(struct err *err, const char *field) {
    if (err != NULL && err->code != ERR_NONE && err->field[0] == '\0')
        set_field(err, field);
    return -1;
}

void err_clear(struct err *err) {
    *err = (struct err){.code = ERR_NONE};
}

const char *err_name(enum err_code code) {
    return codes[code].name;
}

int err_status(enum err_code code) {
    return codes[code].status;
}

const char *err_title(enum err_code code) {
    return codes[code].title;
}

enum err_code err_from_name(const char *name) {
    for (int code = 0; code < ERR_CODE_COUNT; code++)
        if (strcmp(codes[code].name, name) == 0)
            return (enum err_code)code;
    return ERR_INTERNAL;
}
