/* SPDX-License-Identifier: MIT */
/* analysis: sites and readings of two spreadsheets -> reductions, pairs and the
 * combination: the body of `noonarc reduce`. Science does the computing, this
 * does the joining. A site with readings of several noons gives one row each; a
 * site without readings gives one row that says so. The order of the rows in the
 * spreadsheets changes nothing. */
#ifndef NOONARC_ANALYSIS_H
#define NOONARC_ANALYSIS_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/base/text.h"
#include "server/wire/noons.h"
#include "server/wire/records.h"
#include "server/wire/spreadsheet.h"

#define ANALYSIS_LON_TOLERANCE_DEG 1.0
#define ANALYSIS_MIN_SEPARATION_M 100000.0
#define ANALYSIS_PAIRS_MAX 1000000

/* Tolerance and separation above, no maximum sigma. */
extern const struct pair_rules analysis_default_rules;

struct analysis {
    struct reduction_record *row; /* owned; ascending by site, then noon */
    size_t rows;
    struct left_out_record *left_out; /* owned: all rows' left_out point into it */
    size_t left_outs;

    struct pair_record *pair; /* owned; status OK; ascending by the noons of site1, site2 */
    size_t pairs;
    struct pair_record *refused; /* owned; on one meridian, but too close or too unsure */
    size_t refusals;
    bool pairs_complete; /* false: more than ANALYSIS_PAIRS_MAX, the rest is not listed */

    struct combined combined;
    struct off_line_record *off_line; /* owned; sites left out of the combination */
    size_t off_lines;
    struct influence_record influence[INFLUENCES_MAX]; /* the most moving first */
    size_t influences;
};

/* Works everything out. Errors speak of the readings' spreadsheet ("row N, site"):
 * a reading of a site that is not in sites (ERR_NOT_FOUND), a site without a gnomon
 * (ERR_MISSING_FIELD), too many readings of one noon, a date for which there is no
 * Sun (ERR_OUT_OF_RANGE). sites: none twice, in any order. out is written on
 * success and to be released. */
int analysis_make(const struct site_record *sites, size_t count,
                  const struct sheet_readings *readings, const struct pair_rules *rules,
                  struct analysis *out, struct err *err) __attribute__((warn_unused_result));
void analysis_release(struct analysis *analysis);

/* {"method","sites":[reductions],"pairs":[...],"pairs_refused":[{"site1","site2",
 *  "separation_km","status","reason"}],"pairs_complete","combined":{...}}. */
void analysis_write(const struct analysis *analysis, struct text *text);

#endif
