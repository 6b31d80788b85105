/* SPDX-License-Identifier: MIT */
#include "client/field_options.h"

#include <stdio.h>
#include <string.h>

int field_option_take(const struct arguments *args, const struct field_table *table,
                      const char *key, void *record, struct err *err) {
    const char *text = arguments_text(args, key, NULL);
    const struct field *field = field_find(table, key, strlen(key));
    char option[32];
    if (text == NULL || field_set_text(field, text, strlen(text), record, err) == 0)
        return 0;
    snprintf(option, sizeof option, "--%s", key);
    return err_at(err, option);
}
