/* SPDX-License-Identifier: MIT */
/* crew: a thread for every processor, for lists of things that can be worked on each by
 * itself: whoever hands a list over can do something else meanwhile, and then helps. */
#ifndef NOONARC_CREW_H
#define NOONARC_CREW_H

#include <stddef.h>

struct crew;

/* Works on one thing, on any thread. */
typedef void (*crew_work)(void *context, void *thing);

/* NULL when memory is short; where threads cannot be had there are fewer, or none: then
 * crew_finish does it all. */
struct crew *crew_new(crew_work work, void *context);

/* No list may be under way. NULL is fine. */
void crew_free(struct crew *crew);

/* Hands a list over, which stays the caller's and must not change until crew_finish; one
 * at a time. */
void crew_begin(struct crew *crew, void **thing, size_t count);

/* Returns when all of the list is done: the caller helps. */
void crew_finish(struct crew *crew);

#endif
