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

int err_set(struct err *err, enum err_code code, const char *field, const char *format, ...) {
    if (err == NULL || err->code != ERR_NONE)
        return -1;
    err->code = code;
    snprintf(err->field, sizeof err->field, "%s", field != NULL ? field : "");
    va_list args;
    va_start(args, format);
    vsnprintf(err->text, sizeof err->text, format, args);
    va_end(args);
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
