/* SPDX-License-Identifier: MIT */
/* order: selection by parting about a middle value, sorting by the digits of the doubles' bits. */
#include "server/science/order.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FEW 24
#define PLACES 6 /* digits of 11 bits in a double */
#define DIGIT_BITS 11
#define DIGITS (1 << DIGIT_BITS)

static void insert_values(double *value, size_t count) {
    for (size_t i = 1; i < count; i++) {
        double own = value[i];
        size_t at = i;
        for (; at > 0 && value[at - 1] > own; at--)
            value[at] = value[at - 1];
        value[at] = own;
    }
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static void swap(double *a, double *b) {
    double value = *a;
    *a = *b;
    *b = value;
}

static double middle_of(double a, double b, double c) {
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

double order_select(double *value, size_t count, size_t rank) {
    size_t from = 0, to = count;
    /* Each parting halves what is left, about. Values that resist are sorted. */
    for (int rounds = 0; to - from > FEW; rounds++) {
        if (rounds == 64) {
            qsort(value + from, to - from, sizeof *value, ascending);
            return value[rank];
        }
        double pivot = middle_of(value[from], value[from + (to - from) / 2], value[to - 1]);
        size_t low = from, high = to - 1;
        for (;;) {
            while (value[low] < pivot)
                low++;
            while (value[high] > pivot)
                high--;
            if (low >= high)
                break;
            swap(&value[low++], &value[high--]);
        }
        /* [from, low) is at most the pivot, [low, to) at least: unless low stands on it. */
        if (low == high)
            low++;
        if (rank < low)
            to = low;
        else
            from = low;
    }
    insert_values(value + from, to - from);
    return value[rank];
}

double order_median(double *value, size_t count) {
    size_t half = count / 2;
    double upper = order_select(value, count, half), lower = upper;
    if (count % 2 == 0) {
        lower = value[0];
        for (size_t i = 1; i < half; i++)
            lower = fmax(lower, value[i]);
    }
    return 0.5 * lower + 0.5 * upper;
}

/* Bits that are in the order of the values; one zero. */
static uint64_t bits_of(double value) {
    uint64_t bits;
    value += 0.0;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 63 ? ~bits : bits | (uint64_t)1 << 63;
}

static void insert_keys(struct order_key *key, size_t count) {
    for (size_t i = 1; i < count; i++) {
        struct order_key own = key[i];
        size_t at = i;
        for (; at > 0 && key[at - 1].value > own.value; at--)
            key[at] = key[at - 1];
        key[at] = own;
    }
}

static size_t digit_of(uint64_t bits, int place) {
    return bits >> (DIGIT_BITS * place) & (DIGITS - 1);
}

void order_sort(struct order_key *key, struct order_key *spare, size_t count) {
    uint32_t times[PLACES][DIGITS] = {{0}};
    struct order_key *from = key, *to = spare;
    if (count <= FEW) {
        insert_keys(key, count);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const uint64_t bits = bits_of(key[i].value);
        for (int place = 0; place < PLACES; place++)
            times[place][digit_of(bits, place)]++;
    }
    for (int place = 0; place < PLACES; place++) {
        uint32_t *first = times[place], sum = 0; /* place of the first with each digit */
        if (first[digit_of(bits_of(from[0].value), place)] == count)
            continue; /* all the same */
        for (int digit = 0; digit < DIGITS; digit++) {
            const uint32_t with = first[digit];
            first[digit] = sum;
            sum += with;
        }
        for (size_t i = 0; i < count; i++)
            to[first[digit_of(bits_of(from[i].value), place)]++] = from[i];
        struct order_key *other = from;
        from = to;
        to = other;
    }
    if (from != key)
        memcpy(key, from, count * sizeof *key);
}
