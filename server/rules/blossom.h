/* SPDX-License-Identifier: MIT */
/* blossom: a matching of greatest weight in a general graph, exact. Edmonds'
 * primal-dual method in the O(n^3) form (J. Edmonds, "Maximum matching and a
 * polyhedron with 0,1-vertices", 1965; Z. Galil, "Efficient algorithms for finding
 * maximum matching in graphs", ACM Computing Surveys 18 (1986) 23): duals on
 * vertices and on odd sets (blossoms), a search forest from all free vertices, and
 * the least slack to each vertex kept, so that each stage costs n^2.
 *
 * Weights are whole numbers, so that nothing is lost to rounding and equal input
 * gives equal output. Memory: about 80 n^2 bytes. */
#ifndef NOONARC_BLOSSOM_H
#define NOONARC_BLOSSOM_H

#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"

#define BLOSSOM_VERTICES_MAX 1000
#define BLOSSOM_WEIGHT_MAX (INT64_MAX / 16)
#define BLOSSOM_FREE (-1)

/* weight: n * n, symmetric, 0 for no edge, at most BLOSSOM_WEIGHT_MAX. mate: room for
 * n, filled with each vertex's partner or BLOSSOM_FREE. Fails when memory is short. */
int blossom_match(const int64_t *weight, int n, int *mate, struct err *err)
    __attribute__((warn_unused_result));

#endif
