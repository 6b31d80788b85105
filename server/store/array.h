/* SPDX-License-Identifier: MIT */
/* array: room for one more in a list that grows, for rows as they come. The
 * capacity follows from the count (8, 16, 32 ...), so nobody has to keep it. */
#ifndef NOONARC_ARRAY_H
#define NOONARC_ARRAY_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "server/base/err.h"

/* items: NULL or what this returned for count - 1. Returns the list with room for
 * item number count, or NULL with err and the old list untouched. */
static inline void *array_room(void *items, size_t count, size_t size, struct err *err) {
    if (count != 0 && (count < 8 || (count & (count - 1)) != 0))
        return items;
    size_t capacity = count == 0 ? 8 : 2 * count;
    void *grown = capacity > SIZE_MAX / size ? NULL : realloc(items, capacity * size);
    if (!grown)
        err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    return grown;
}

#endif
