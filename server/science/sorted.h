/* SPDX-License-Identifier: MIT */
/* sorted: a run's few numbers in order. */
#ifndef NOONARC_SORTED_H
#define NOONARC_SORTED_H

/* Ascending, in place. By insertion: fit for some dozen values, or any number that are
 * nearly in order. */
static inline void sort_ascending(double *values, int count) {
    for (int i = 1; i < count; i++) {
        double value = values[i];
        int at = i;
        for (; at > 0 && values[at - 1] > value; at--)
            values[at] = values[at - 1];
        values[at] = value;
    }
}

#endif
