/* SPDX-License-Identifier: MIT */
/* array: doubling, with the multiplications checked. */
#include "server/wire/array.h"

#include <stdint.h>
#include <stdlib.h>

#define ROOM_FIRST 64

void *array_with_room(void *array, size_t count, size_t *room, size_t size) {
    if (count < *room)
        return array;
    if (count > SIZE_MAX / 2 / size - ROOM_FIRST)
        return NULL;
    size_t wanted = count == 0 ? ROOM_FIRST : 2 * count;
    void *grown = realloc(array, wanted * size);
    if (grown != NULL)
        *room = wanted;
    return grown;
}
