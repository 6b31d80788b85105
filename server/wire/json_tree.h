/* SPDX-License-Identifier: MIT */
/* json_tree: a whole document as jansson's tree, for what is compared, taken apart and put
 * together again: editions, and results. Records come in through json_read.h. */
#ifndef NOONARC_JSON_TREE_H
#define NOONARC_JSON_TREE_H

#include <jansson.h>
#include <stddef.h>

#include "server/base/err.h"

/* One JSON object or list, no key twice; the caller owns *out (json_decref). ERR_BAD_JSON
 * with line and column, ERR_INTERNAL when memory is short. */
int json_tree_read(const char *bytes, size_t length, json_t **out, struct err *err)
    __attribute__((warn_unused_result));

#endif
