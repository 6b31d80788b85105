/* SPDX-License-Identifier: MIT */
/* matching: who works with whom, so that as many schools as can be have a partner
 * and, of all such choices, the sum over the pairs of the expected sigma of the
 * circumference is least. A pure function of the sites; equal input, in the order of
 * the identifiers, gives equal output on every machine.
 *
 * Two sites may pair when their longitudes differ by the tolerance at most, they are
 * the least separation apart, and the expected sigma is below the most allowed.
 * Sites fall into bands: between two bands lies a gap wider than the tolerance.
 *
 * A band of MATCHING_EXACT_MAX sites or fewer is solved exactly (blossom.h; sigma to
 * the metre): most pairs, and among those the least sum, proven. Cost n^3; half a
 * second for 600.
 *
 * A larger band is built and then improved. Built: strips of longitude as wide as the
 * tolerance, in each the k most southern sites paired with the k most northern in
 * the same order, k as large as the separation allows. For equal sigma at every site,
 * and within the strip, this is the best there is: the expected sigma goes as 1 over
 * the separation, decreasing and convex, so (a) of two pairs on the same side of the
 * median both gain when they exchange across it, and (b) of two pairs across it, which
 * keep the sum of their separations however they exchange, the sum of a convex
 * function is least uncrossed, in the same order. Then singles are joined to singles
 * along alternating paths (Hopcroft and Karp's rounds, the farthest neighbours found in
 * a tournament tree; paths along odd circles are not looked for), and groups of some
 * thirty sites, pairs and singles together, are solved anew exactly: by longitude, by
 * southern member, by sigma, for 1 to 12 rounds; no group makes it worse. That nothing
 * better exists is not proven there. Held against the exact answer for 600 to 1000
 * sites (matching_test.c): as many pairs and a sum within 0.7 % where schools are spread
 * over the land; where most of them crowd in one city, so that there are not half
 * enough partners for them, up to 1.5 % fewer pairs. Cost n log n and a small constant
 * for each group: 3 s for 100 000.
 *
 * Those left over join the pair with whom they are expected to do best and make a
 * three of it; where no pair is left without a third, they stay alone and are told. */
#ifndef NOONARC_MATCHING_H
#define NOONARC_MATCHING_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"

#define MATCHING_METHOD "partners-1"
#define MATCHING_EXACT_MAX 600

struct match_site {
    double lon_deg;
    double meridian_km; /* along the ellipsoid from the equator, north positive */
    double sigma_deg;   /* expected, of its noon angle; above 0 */
    bool measurable;    /* its noon is; otherwise it stays alone */
};

struct match_rules {
    double lon_tolerance_deg; /* below 90 */
    double min_separation_km; /* above 0 */
    double max_sigma_km;      /* of a pair's circumference; INFINITY: any */
    size_t exact_max;         /* MATCHING_EXACT_MAX; less only to look at the other way */
};

/* Whether two may be partners, and the expected sigma of their circumference. */
bool match_allowed(const struct match_site *one, const struct match_site *two,
                   const struct match_rules *rules, double *sigma_km);

/* One is partner of the other; each comes both ways, and in a three all ways allowed. */
struct match_link {
    size_t site, partner;
    double sigma_km;
};

struct matching {
    struct match_link *link; /* by site, then by sigma, then by partner; owned */
    size_t links;
    size_t pairs, threes, alone; /* threes are pairs that somebody joined, and count as such */
    double sigma_km;             /* sum over the pairs, those who joined apart */
    bool exact;                  /* every band was solved exactly */
};
void matching_release(struct matching *matching);

/* Fails only when memory is short. */
int matching_make(const struct match_site *sites, size_t count, const struct match_rules *rules,
                  struct matching *out, struct err *err) __attribute__((warn_unused_result));

#endif
