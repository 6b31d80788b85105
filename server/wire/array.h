/* SPDX-License-Identifier: MIT */
/* array: room for one more in an array that grows by doubling. */
#ifndef NOONARC_ARRAY_H
#define NOONARC_ARRAY_H

#include <stddef.h>

/* Returns array, moved where need be, with room for more than count elements of
 * size bytes, and notes the room it has. NULL when memory runs out: array is then
 * as it was and still the caller's.
 *
 *     struct thing *grown = array_with_room(things, count, &room, sizeof *things);
 *     if (grown == NULL)
 *         return out_of_memory(err);
 *     things = grown;
 */
void *array_with_room(void *array, size_t count, size_t *room, size_t size)
    __attribute__((warn_unused_result));

#endif
