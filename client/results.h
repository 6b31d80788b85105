/* SPDX-License-Identifier: MIT */
/* results: reductions, pairs, combinations and leaderboards for people to read.
 * The documents are the server's or, in the same form, those worked out here. */
#ifndef NOONARC_RESULTS_H
#define NOONARC_RESULTS_H

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

/* One reduction: angle and sigma, noon, what was left out and why, the other
 * estimators, what the clock seems to do. zone: the site's, for the time of noon
 * beside UTC; "" none. */
void results_print_reduction(FILE *out, const json_t *reduction, const char *zone);

/* Tables of many. aligned: for a terminal. */
void results_print_reductions(FILE *out, bool aligned, const json_t *reductions);
void results_print_pairs(FILE *out, bool aligned, const json_t *pairs);

/* The one figure of a day, with its checks below. */
void results_print_combined(FILE *out, const json_t *combined);

/* {"pairs","sites","honesty"} */
void results_print_leaderboard(FILE *out, bool aligned, const json_t *board);

/* {"sites","pairs","pairs_refused","combined"} of an analysis. */
void results_print_analysis(FILE *out, bool aligned, const json_t *analysis);

#endif
