/* SPDX-License-Identifier: MIT */
/* moved: since when nothing but runs has moved, so that what a reader looked up need not be
 * looked up again. Most of what is written on a day are runs, and a run changes no site, no
 * key, no day and nobody's part in one.
 *
 * Moments are those of the book. The writer enters before it commits; all functions may
 * be called from any thread. */
#ifndef NOONARC_MOVED_H
#define NOONARC_MOVED_H

#include <stdbool.h>
#include <stdint.h>

struct moved;

/* NULL when memory is short. */
struct moved *moved_new(void);
void moved_free(struct moved *moved);

/* The commit that begins this moment moves something else than runs. */
void moved_enter(struct moved *moved, uint64_t moment);

/* Whether something else than runs has moved after a moment, or is about to. */
bool moved_since(const struct moved *moved, uint64_t moment);

#endif
