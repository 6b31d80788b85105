/* SPDX-License-Identifier: MIT */
/* estimators: the three simpler answers to the same question, shown beside the
 * published one: their disagreement is itself a check on clock and plumb.
 * Private to science. */
#ifndef NOONARC_ESTIMATORS_H
#define NOONARC_ESTIMATORS_H

#include "server/science/curve.h"
#include "server/science/reduce.h"

/* Each looks at the kept sights only; fit gives the curve about which small
 * corrections (declination's drift during the run) are taken. */
struct estimate estimator_shortest(const struct curve *curve, const struct curve_fit *fit);
void estimator_cosines(const struct curve *curve, const struct curve_fit *fit,
                       struct estimate *with_clock, struct estimate *without); /* timed, free */

#endif
