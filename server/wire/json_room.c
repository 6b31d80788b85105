/* SPDX-License-Identifier: MIT */
/* json_room: a bump allocator that starts over when it closes; what does not fit comes
 * from malloc. */
#include "server/wire/json_room.h"

#include <assert.h>
#include <jansson.h>
#include <pthread.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#define ROOM_BYTES ((size_t)32 * 1024) /* a run of 12 readings takes 10 KB */

struct room {
    bool open, was_short;
    size_t used;
    int pieces; /* not given back */
    _Alignas(max_align_t) char bytes[ROOM_BYTES];
};
static _Thread_local struct room room;

static void *allocate(size_t size) {
    const size_t piece =
        (size + sizeof(max_align_t) - 1) / sizeof(max_align_t) * sizeof(max_align_t);
    if (room.open && piece >= size && piece <= ROOM_BYTES - room.used) {
        void *bytes = room.bytes + room.used;
        room.used += piece;
        room.pieces++;
        return bytes;
    }
    void *memory = malloc(size);
    room.was_short = room.was_short || memory == NULL;
    return memory;
}

static void give_back(void *memory) {
    const uintptr_t at = (uintptr_t)memory, first = (uintptr_t)room.bytes;
    if (at >= first && at < first + ROOM_BYTES)
        room.pieces--;
    else
        free(memory);
}

static void take_over(void) {
    json_set_alloc_funcs(allocate, give_back);
}

void json_room_begin(void) {
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, take_over);
    room.was_short = false;
}

bool json_room_was_short(void) {
    return room.was_short;
}

void json_room_open(void) {
    json_room_begin();
    assert(!room.open && room.used == 0);
    room.open = true;
}

void json_room_close(void) {
    assert(room.open && room.pieces == 0);
    room.open = false;
    room.used = 0;
}
