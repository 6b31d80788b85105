/* SPDX-License-Identifier: MIT */
#include "server/http/ring.h"

#include <stdlib.h>

void ring_init(struct ring *ring) {
    *ring = (struct ring){.next = 1, .first = 1};
}

static void drop(struct ring_event *event) {
    free(event->bytes);
    *event = (struct ring_event){0};
}

void ring_release(struct ring *ring) {
    for (size_t i = 0; i < RING_EVENTS; i++)
        drop(&ring->event[i]);
    ring->first = ring->next;
}

void ring_add(struct ring *ring, int64_t day, char *bytes, size_t length) {
    struct ring_event *event = &ring->event[ring->next % RING_EVENTS];
    drop(event);
    *event = (struct ring_event){.day = day, .bytes = bytes, .length = length};
    ring->next++;
    if (ring->next - ring->first > RING_EVENTS)
        ring->first = ring->next - RING_EVENTS;
}

void ring_forget(struct ring *ring) {
    ring_release(ring);
    ring->next++;
    ring->first = ring->next;
}

bool ring_has_after(const struct ring *ring, uint64_t heard) {
    return heard < ring->next && heard + 1 >= ring->first;
}

const struct ring_event *ring_find(const struct ring *ring, int64_t day, uint64_t from,
                                   uint64_t *number) {
    uint64_t at = from < ring->first ? ring->first : from;
    while (at < ring->next && ring->event[at % RING_EVENTS].day != day)
        at++;
    *number = at;
    return at < ring->next ? &ring->event[at % RING_EVENTS] : NULL;
}
