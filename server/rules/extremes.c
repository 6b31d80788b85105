/* SPDX-License-Identifier: MIT */
#include "server/rules/extremes.h"

#include <stdlib.h>

int extremes_init(struct extremes *extremes, size_t count, struct err *err) {
    *extremes = (struct extremes){.count = count};
    extremes->value = calloc(count + 1, sizeof *extremes->value);
    extremes->least = malloc((2 * count + 1) * sizeof(size_t));
    extremes->greatest = malloc((2 * count + 1) * sizeof(size_t));
    if (extremes->value == NULL || extremes->least == NULL || extremes->greatest == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < 2 * count; i++)
        extremes->least[i] = extremes->greatest[i] = EXTREMES_NONE;
    return 0;
}

void extremes_release(struct extremes *extremes) {
    free(extremes->value);
    free(extremes->least);
    free(extremes->greatest);
    *extremes = (struct extremes){0};
}

/* Of equals the first place. */
static size_t lesser(const struct extremes *extremes, size_t a, size_t b) {
    if (a == EXTREMES_NONE || b == EXTREMES_NONE)
        return a == EXTREMES_NONE ? b : a;
    if (extremes->value[a] != extremes->value[b])
        return extremes->value[a] < extremes->value[b] ? a : b;
    return a < b ? a : b;
}

static size_t greater(const struct extremes *extremes, size_t a, size_t b) {
    if (a == EXTREMES_NONE || b == EXTREMES_NONE)
        return a == EXTREMES_NONE ? b : a;
    if (extremes->value[a] != extremes->value[b])
        return extremes->value[a] > extremes->value[b] ? a : b;
    return a < b ? a : b;
}

void extremes_set(struct extremes *extremes, size_t place, bool in) {
    size_t node = place + extremes->count;
    extremes->least[node] = extremes->greatest[node] = in ? place : EXTREMES_NONE;
    for (node /= 2; node >= 1; node /= 2) {
        extremes->least[node] =
            lesser(extremes, extremes->least[2 * node], extremes->least[2 * node + 1]);
        extremes->greatest[node] =
            greater(extremes, extremes->greatest[2 * node], extremes->greatest[2 * node + 1]);
    }
}

void extremes_find(const struct extremes *extremes, size_t from, size_t to, size_t *least,
                   size_t *greatest) {
    size_t low = EXTREMES_NONE, high = EXTREMES_NONE;
    size_t left = from + extremes->count, right = to + extremes->count;
    for (; left < right; left /= 2, right /= 2) {
        if (left % 2 == 1) {
            low = lesser(extremes, low, extremes->least[left]);
            high = greater(extremes, high, extremes->greatest[left++]);
        }
        if (right % 2 == 1) {
            low = lesser(extremes, low, extremes->least[--right]);
            high = greater(extremes, high, extremes->greatest[right]);
        }
    }
    *least = low;
    *greatest = high;
}
