/* SPDX-License-Identifier: MIT */
/* wide: whole numbers of 192 bits, for sums that must not depend on the order of what is
 * added. They wrap round as unsigned ones do, so that a difference is right whenever it
 * fits itself. */
#ifndef NOONARC_WIDE_H
#define NOONARC_WIDE_H

#include <stdbool.h>
#include <stdint.h>

struct wide {
    uint64_t limb[3]; /* the least first; two's complement */
};

static inline struct wide wide_of(__int128 value) {
    return (struct wide){{(uint64_t)value, (uint64_t)(value >> 64), value < 0 ? UINT64_MAX : 0}};
}

static inline struct wide wide_plus(struct wide one, struct wide two) {
    unsigned __int128 low = (unsigned __int128)one.limb[0] + two.limb[0];
    unsigned __int128 middle = (unsigned __int128)one.limb[1] + two.limb[1] + (uint64_t)(low >> 64);
    return (struct wide){
        {(uint64_t)low, (uint64_t)middle, one.limb[2] + two.limb[2] + (uint64_t)(middle >> 64)}};
}

static inline struct wide wide_minus(struct wide one, struct wide two) {
    unsigned __int128 low = (unsigned __int128)one.limb[0] - two.limb[0];
    unsigned __int128 middle =
        (unsigned __int128)one.limb[1] - two.limb[1] - (uint64_t)(low >> 64 ? 1 : 0);
    return (struct wide){{(uint64_t)low, (uint64_t)middle,
                          one.limb[2] - two.limb[2] - (uint64_t)(middle >> 64 ? 1 : 0)}};
}

static inline struct wide wide_times(struct wide one, int64_t factor) {
    const uint64_t by = (uint64_t)factor, borrow = factor < 0 ? UINT64_MAX : 0;
    unsigned __int128 low = (unsigned __int128)one.limb[0] * by;
    unsigned __int128 middle = (unsigned __int128)one.limb[1] * by + (uint64_t)(low >> 64);
    struct wide product = {
        {(uint64_t)low, (uint64_t)middle, one.limb[2] * by + (uint64_t)(middle >> 64)}};
    /* A negative factor was taken for one greater by 2^64. */
    struct wide excess = {{0, one.limb[0] & borrow, one.limb[1] & borrow}};
    return wide_minus(product, excess);
}

/* A number of 128 bits times one of at least 0. */
static inline struct wide wide_product(__int128 value, int64_t factor) {
    const unsigned __int128 low = (unsigned __int128)(uint64_t)value * (uint64_t)factor;
    const __int128 high = (__int128)(int64_t)(value >> 64) * factor + (uint64_t)(low >> 64);
    return (struct wide){{(uint64_t)low, (uint64_t)high, (uint64_t)(high >> 64)}};
}

/* The lower 128 bits. */
static inline __int128 wide_low(struct wide value) {
    return (__int128)((unsigned __int128)value.limb[1] << 64 | value.limb[0]);
}

/* Nearest, but for a unit or two in the last place. */
static inline double wide_double(struct wide value) {
    const bool is_negative = value.limb[2] >> 63;
    if (is_negative)
        value = wide_minus((struct wide){{0, 0, 0}}, value);
    const double size =
        (double)value.limb[2] * 0x1p128 + (double)value.limb[1] * 0x1p64 + (double)value.limb[0];
    return is_negative ? -size : size;
}

#endif
