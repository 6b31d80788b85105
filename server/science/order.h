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

/* The middle value, or the mean of the two middle ones; count >= 1. Values change places. */
double order_median(double *value, size_t count);

/* A number with what it belongs to. */
struct order_key {
    double value;
    uint32_t index;
};

/* Sorts ascending; equals stay as they were. spare: room for count. */
void order_sort(struct order_key *key, struct order_key *spare, size_t count);

#endif
