/* SPDX-License-Identifier: MIT */
/* order: selection by parting about a middle value; sorting by digits, first of the values
 * on a scale of 22 bits from the least to the greatest, which leaves little to do. */
#include "server/science/order.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define FEW 24
#define SAMPLED 600 /* of more values a sample tells where to part them */
#define DIGIT_BITS 11
#define DIGITS (1 << DIGIT_BITS)
#define SCALE 4194303.0 /* no step beyond 22 bits, however it is rounded */

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

/* A value beside that of the rank, a little towards the middle of [from, to), by a sample of
 * those about its place: parting there leaves little. Floyd and Rivest, Commun. ACM 18 (1975)
 * 165. */
static double pivot_about(double *value, size_t from, size_t to, size_t rank) {
    const double n = (double)(to - from), at = (double)(rank - from);
    const double sample = 0.5 * exp(2.0 / 3.0 * log(n));
    const double aside =
        0.5 * sqrt(log(n) * sample * (n - sample) / n) * (at < 0.5 * n ? -1.0 : 1.0);
    const double before = at * sample / n - aside, behind = (n - at) * sample / n + aside;
    const size_t first = before < at ? rank - (size_t)fmax(before, 0.0) : from;
    const size_t last = behind < n - at - 1.0 ? rank + (size_t)fmax(behind, 0.0) : to - 1;
    return order_select(value + first, last - first + 1, rank - first);
}

double order_select(double *value, size_t count, size_t rank) {
    size_t from = 0, to = count;
    /* Each parting leaves less than half, about. Values that resist are sorted. */
    for (int rounds = 0; to - from > FEW; rounds++) {
        if (rounds == 64) {
            qsort(value + from, to - from, sizeof *value, ascending);
            return value[rank];
        }
        double pivot = to - from > SAMPLED
                           ? pivot_about(value, from, to, rank)
                           : middle_of(value[from], value[from + (to - from) / 2], value[to - 1]);
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

double order_select_low(const double *value, size_t count, size_t rank, double *few) {
    const size_t wanted = rank + 1;
    double bar = INFINITY; /* so many are known that are not greater */
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (value[i] > bar)
            continue;
        few[kept++] = value[i];
        if (kept == ORDER_FEW * wanted) {
            bar = order_select(few, kept, rank);
            kept = wanted;
        }
    }
    return order_select(few, kept, rank);
}

double order_median(double *value, size_t count) {
    size_t half = count / 2;
    double upper = order_select(value, count, half), lower = upper;
    if (count % 2 == 0) {
        lower = value[0];
        for (size_t i = 1; i < half; i++)
            lower = value[i] > lower ? value[i] : lower;
    }
    return 0.5 * lower + 0.5 * upper;
}

/* Puts places that are nearly in order in order; equals stay. False when it would take more
 * than so many moves: they are in no order then. */
static bool insert_places(const double *value, size_t count, uint32_t *place, size_t moves) {
    for (size_t i = 1; i < count; i++) {
        const uint32_t own = place[i];
        size_t at = i;
        for (; at > 0 && value[place[at - 1]] > value[own]; at--)
            place[at] = place[at - 1];
        place[at] = own;
        if (i - at > moves)
            return false;
        moves -= i - at;
    }
    return true;
}

static void number_places(size_t count, uint32_t *place) {
    for (size_t i = 0; i < count; i++)
        place[i] = (uint32_t)(count - 1 - i);
}

/* From how often each digit comes to the place of the first that has it. */
static void place_digits(uint32_t *times) {
    uint32_t sum = 0;
    for (int digit = 0; digit < DIGITS; digit++) {
        const uint32_t with = times[digit];
        times[digit] = sum;
        sum += with;
    }
}

static size_t digit_of(uint64_t bits, int shift) {
    return bits >> shift & (DIGITS - 1);
}

/* By the scale: a value's place on it above the place it has. */
static void sort_scaled(const double *value, size_t count, double least, double steps,
                        uint32_t *place, uint64_t *spare) {
    static const int shift[] = {32, 32 + DIGIT_BITS};
    uint32_t times[2][DIGITS] = {{0}};
    uint64_t *from = spare, *to = spare + count;
    for (size_t i = 0; i < count; i++) {
        const size_t at = count - 1 - i;
        const uint64_t scaled = (uint64_t)((value[at] - least) * steps) << 32 | at;
        for (int k = 0; k < 2; k++)
            times[k][digit_of(scaled, shift[k])]++;
        from[i] = scaled;
    }
    for (int k = 0; k < 2; k++) {
        place_digits(times[k]);
        for (size_t i = 0; i < count; i++)
            to[times[k][digit_of(from[i], shift[k])]++] = from[i];
        uint64_t *other = from;
        from = to;
        to = other;
    }
    for (size_t i = 0; i < count; i++)
        place[i] = (uint32_t)from[i];
}

/* Bits that are in the order of the values; one zero. */
static uint64_t bits_of(double value) {
    uint64_t bits;
    value += 0.0;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 63 ? ~bits : bits | (uint64_t)1 << 63;
}

/* By all digits of the bits: values crowded together, of all magnitudes, infinite. */
static void sort_bits(const double *value, size_t count, uint32_t *place, uint32_t *spare) {
    uint32_t *from = place, *to = spare;
    number_places(count, place);
    for (int shift = 0; shift < 64; shift += DIGIT_BITS) {
        uint32_t times[DIGITS] = {0};
        for (size_t i = 0; i < count; i++)
            times[digit_of(bits_of(value[i]), shift)]++;
        place_digits(times);
        for (size_t i = 0; i < count; i++)
            to[times[digit_of(bits_of(value[from[i]]), shift)]++] = from[i];
        uint32_t *other = from;
        from = to;
        to = other;
    }
    if (from != place)
        memcpy(place, from, count * sizeof *place);
}

void order_places(const double *value, size_t count, uint32_t *place, uint64_t *spare) {
    if (count <= FEW) {
        number_places(count, place);
        (void)insert_places(value, count, place, (size_t)FEW * FEW);
        return;
    }
    double least = value[0], greatest = value[0];
    for (size_t i = 1; i < count; i++) {
        least = value[i] < least ? value[i] : least;
        greatest = value[i] > greatest ? value[i] : greatest;
    }
    const double steps = SCALE / (greatest - least);
    if (isfinite(greatest - least) && isfinite(steps)) {
        sort_scaled(value, count, least, steps, place, spare);
        if (insert_places(value, count, place, 4 * count))
            return;
    }
    sort_bits(value, count, place, (uint32_t *)spare);
}
