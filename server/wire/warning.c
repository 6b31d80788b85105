/* SPDX-License-Identifier: MIT */
/* warning: names, and how they are told. */
#include "server/wire/warning.h"

#include <stdarg.h>
#include <stdio.h>

static const char *const names[] = {
#define WARNING_NAME(code, name) [code] = (name),
    WARNING_CODES(WARNING_NAME)
#undef WARNING_NAME
};

const char *warning_name(enum warning_code code) {
    return names[code];
}

void warning_add(struct warnings *warnings, enum warning_code code, const char *field,
                 const char *format, ...) {
    if (warnings->count == WARNINGS_MAX)
        return;
    struct warning *warning = &warnings->item[warnings->count++];
    warning->code = code;
    snprintf(warning->field, sizeof warning->field, "%s", field != NULL ? field : "");
    va_list args;
    va_start(args, format);
    vsnprintf(warning->detail, sizeof warning->detail, format, args);
    va_end(args);
}

void warning_write(struct json_writer *json, const struct warnings *warnings) {
    json_write_array(json, "warnings");
    for (int i = 0; i < warnings->count; i++) {
        json_write_object(json, NULL);
        json_write_text(json, "code", names[warnings->item[i].code]);
        json_write_text_or_null(json, "field", warnings->item[i].field);
        json_write_text(json, "detail", warnings->item[i].detail);
        json_write_end(json);
    }
    json_write_end(json);
}
