/* SPDX-License-Identifier: MIT */
/* matching_sums: the greatest weight of matchings in random graphs, as networkx 3.6.1
 * finds it (max_weight_matching). How the graphs are drawn stands in matching_test.c. */
#ifndef NOONARC_MATCHING_SUMS_H
#define NOONARC_MATCHING_SUMS_H

#include <stdint.h>

static const struct {
    int n;            /* vertices */
    double dense;     /* share of the edges there are */
    int64_t heaviest; /* weights are 1 to this */
    int64_t sum;
} matching_sums[] = {
    {40, 1.0, 1000, 19389},      {60, 0.1, 1000000, 21563234},
    {60, 0.5, 7, 209},           {90, 0.06, 1000000000, 32014481918},
    {120, 0.3, 100000, 5704063}, {150, 0.05, 3, 212},
};

#endif
