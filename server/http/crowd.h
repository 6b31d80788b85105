/* SPDX-License-Identifier: MIT */
/* crowd: how many connections each address has open. Memory grows with the
 * connections there are, which the listener bounds, and shrinks with them. */
#ifndef NOONARC_CROWD_H
#define NOONARC_CROWD_H

#include "server/http/address.h"

struct crowd;

/* most: connections an address may have, 1 and up. NULL when memory is short. */
struct crowd *crowd_new(int most);
void crowd_free(struct crowd *crowd);

enum crowd_entry {
    CROWD_ENTERED,
    CROWD_FULL, /* the address has all it may have */
    CROWD_NO_MEMORY
};

/* One connection more, counted only when it entered. Any thread. */
enum crowd_entry crowd_enter(struct crowd *crowd, const struct address *address);

/* One that entered is gone. */
void crowd_leave(struct crowd *crowd, const struct address *address);

#endif
