/* SPDX-License-Identifier: MIT */
/* moved: since when nothing has moved, so that what a reader checked need not be
 * checked again by the writer. Most of what is written on a day are runs, each of one
 * site; a run is entered by its site, anything else as everything. A site may stand for
 * others too: "moved" can be said too often, never too seldom.
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

/* The commit that begins this moment moves a site's runs; or whatever there is. */
void moved_enter_site(struct moved *moved, int64_t site, uint64_t moment);
void moved_enter_all(struct moved *moved, uint64_t moment);

/* Whether anything but runs has moved after a moment, or is about to; whether that, or
 * runs of the site. */
bool moved_any_since(const struct moved *moved, uint64_t moment);
bool moved_since(const struct moved *moved, int64_t site, uint64_t moment);

#endif
