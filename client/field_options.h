/* SPDX-License-Identifier: MIT */
/* field_options: options whose texts go into a record, by the field table that a request
 * goes through. */
#ifndef NOONARC_FIELD_OPTIONS_H
#define NOONARC_FIELD_OPTIONS_H

#include "client/options.h"
#include "server/base/err.h"
#include "server/wire/field.h"

/* Puts the text of the option called as the table's key, if it was given, into record.
 * -1 when it may not stand there: err names the option. */
int field_option_take(const struct arguments *args, const struct field_table *table,
                      const char *key, void *record, struct err *err)
    __attribute__((warn_unused_result));

#endif
