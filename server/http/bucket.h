/* SPDX-License-Identifier: MIT */
/* bucket: token buckets by name, in a table that never grows. A bucket holds
 * burst tokens at most and gains rate a second; a request takes one. A full
 * table forgets the fullest of the buckets a name may lie among: a full bucket
 * forgotten is no loss, and an emptied one is kept. Names are kept as 64 bits
 * of a hash with a secret of this process. */
#ifndef NOONARC_BUCKET_H
#define NOONARC_BUCKET_H

#include <stddef.h>
#include <stdint.h>

#define BUCKET_TABLE_SIZE 8192 /* names remembered; 24 bytes each */

struct bucket_table;

/* rate_per_s and burst are positive. NULL when memory is short. */
struct bucket_table *bucket_table_new(double rate_per_s, double burst);
void bucket_table_free(struct bucket_table *table);

/* Takes a token of this name. Returns 0, or, when there is none, the seconds
 * until there is one. now_us: microseconds of a clock that never steps back.
 * Any thread. */
double bucket_take(struct bucket_table *table, const void *name, size_t length, int64_t now_us);

#endif
