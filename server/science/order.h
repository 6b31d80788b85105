/* SPDX-License-Identifier: MIT */
/* order: doubles by rank and in order, in time that grows like their number. None may
 * be NAN. */
#ifndef NOONARC_ORDER_H
#define NOONARC_ORDER_H

#include <stddef.h>
#include <stdint.h>

/* The value of this rank (0: the least); rank < count. Values change places, so that none
 * before the rank is greater and none behind it is less. */
double order_select(double *value, size_t count, size_t rank);

/* The same where the rank is small beside count: in one passage, and values stay where they
 * are. few: room for ORDER_FEW (rank + 1). */
#define ORDER_FEW 4
double order_select_low(const double *value, size_t count, size_t rank, double *few);

/* The middle value, or the mean of the two middle ones; count >= 1. Values change places. */
double order_median(double *value, size_t count);

/* Fills place with 0 .. count - 1 in ascending order of their values; of equal ones the
 * later place comes first. count is below 2^32; spare: room for 2 count. */
void order_places(const double *value, size_t count, uint32_t *place, uint64_t *spare);

#endif
