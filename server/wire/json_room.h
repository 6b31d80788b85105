/* SPDX-License-Identifier: MIT */
/* json_room: where jansson's trees live. A tree that is read, looked through and dropped
 * by one function costs over a hundred small allocations; between json_room_open and
 * json_room_close they are cut from one piece instead, of the calling thread. */
#ifndef NOONARC_JSON_ROOM_H
#define NOONARC_JSON_ROOM_H

#include <stdbool.h>

/* Trees made from here on by this thread must be gone before it closes. Does not nest. */
void json_room_open(void);
void json_room_close(void);

/* jansson takes a text that it has no memory for as one written wrongly, or cuts it
 * short without a word. Neither may happen to a run: so whoever reads one begins, and
 * asks afterwards whether memory was short meanwhile, on this thread. */
void json_room_begin(void);
bool json_room_was_short(void);

#endif
