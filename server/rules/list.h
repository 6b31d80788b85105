/* SPDX-License-Identifier: MIT */
/* list: how lists are cut into pages. One row more than wanted is asked for; when
 * it comes there is a next page. */
#ifndef NOONARC_LIST_H
#define NOONARC_LIST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LIST_LIMIT_MAX 500
#define LIST_LIMIT_DEFAULT 100
#define LIST_LIMIT_ALL 0 /* for exports: everything */

/* How many rows to ask the store for. */
static inline int64_t list_ask(size_t limit) {
    return limit == LIST_LIMIT_ALL ? INT64_MAX : (int64_t)limit + 1;
}

/* True when there is more; count is then brought down to limit (>= 1). */
static inline bool list_more(size_t limit, size_t *count) {
    if (limit == LIST_LIMIT_ALL || *count <= limit)
        return false;
    *count = limit;
    return true;
}

#endif
