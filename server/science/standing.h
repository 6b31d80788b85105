/* SPDX-License-Identifier: MIT */
/* standing: how a site did, for the leaderboard.
 *
 * A site's own circumference comes from the line through its own point: with
 * noon angles z, meridian distances s and partners j, each differenced against
 * the site itself, slope = sum(w dz s) / sum(w s^2), w = 1 / sigma_j^2, and
 * C = 360 / slope. The site's own error moves every difference alike:
 * var(slope) = [sum(w s^2) + sigma^2 (sum(w s))^2] / (sum(w s^2))^2. What two
 * sites share because they mark the same edge is not taken out, so sigma errs to
 * the large side. Sums run in the order of the calls: keep it the same and the
 * answer is the same to the last bit. */
#ifndef NOONARC_STANDING_H
#define NOONARC_STANDING_H

#include <stdbool.h>
#include <stddef.h>

struct standing_sums {
    double wds, wss, ws; /* sums of w dz s, w s^2, w s */
    int partners;
};

struct standing {
    double circumference_km;
    double sigma_km;
    int partners;
};

/* Adds a partner: signed differences, site minus partner, of the noon angles (deg,
 * at one instant of declination) and of the meridian distances (km, north
 * positive); the partner's own sigma (deg, > 0). sums starts all zero. */
void standing_add(struct standing_sums *sums, double angle_deg, double separation_km,
                  double partner_sigma_deg);

/* The site's own circumference. False, and out untouched, without partners or with
 * a slope that is not positive. own_sigma_deg > 0. */
bool standing_make(const struct standing_sums *sums, double own_sigma_deg, struct standing *out);

/* Score of a stated sigma (deg, > 0) against what happened (deg): ln sigma + z^2 / 2
 * with z = error / sigma, the logarithmic score of a normal forecast less its
 * constant. Lower is better; it is least, on average, for the sigma that is true
 * (Good, J. R. Stat. Soc. B 14 (1952) 107). */
double standing_score(double error_deg, double sigma_deg);

/* Places 1, 2, 2, 4 ... of figures sorted from best (smallest) to worst; equal
 * figures (to 1e-8 of themselves) share a place. */
void standing_places(const double *sorted, size_t count, int *place);

#endif
