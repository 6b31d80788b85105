/* SPDX-License-Identifier: MIT */
/* ring: the newest events of all days, numbered, for those who listen and for
 * those who come back with the number of the last one they heard. Older ones make
 * room. Not safe to share: its owner locks. */
#ifndef NOONARC_RING_H
#define NOONARC_RING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RING_EVENTS 4096

struct ring_event {
    int64_t day;
    char *bytes; /* owned, as sent */
    size_t length;
};

struct ring {
    struct ring_event event[RING_EVENTS]; /* number n stands at n % RING_EVENTS */
    uint64_t next;                        /* the number the next one gets; the first has 1 */
    uint64_t first;                       /* the oldest there is; next when there is none */
};

void ring_init(struct ring *ring);
void ring_release(struct ring *ring);

/* Takes the bytes over and numbers the event. */
void ring_add(struct ring *ring, int64_t day, char *bytes, size_t length);

/* Forgets all events and lets a number pass unused, so that nobody who heard the
 * last of them is told that it missed nothing. */
void ring_forget(struct ring *ring);

/* Whether all events after number `heard` are there still. */
bool ring_has_after(const struct ring *ring, uint64_t heard);

/* The first event of a day with a number from `from` on; NULL when there is none.
 * *number is its number, or that of the next event to come. */
const struct ring_event *ring_find(const struct ring *ring, int64_t day, uint64_t from,
                                   uint64_t *number);

#endif
