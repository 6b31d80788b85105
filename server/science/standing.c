/* SPDX-License-Identifier: MIT */
/* standing: sums and quotients. */
#include "server/science/standing.h"

#include <math.h>

#define SAME_FIGURE 1e-8 /* figures nearer than this share differ by rounding alone */

void standing_add(struct standing_sums *sums, double angle_deg, double separation_km,
                  double partner_sigma_deg) {
    double w = 1.0 / (partner_sigma_deg * partner_sigma_deg);
    sums->wds += w * angle_deg * separation_km;
    sums->wss += w * separation_km * separation_km;
    sums->ws += w * separation_km;
    sums->partners++;
}

bool standing_make(const struct standing_sums *sums, double own_sigma_deg, struct standing *out) {
    if (sums->partners == 0 || !(sums->wds > 0.0))
        return false;
    double slope = sums->wds / sums->wss;
    double own = own_sigma_deg * sums->ws;
    double slope_sigma = sqrt(sums->wss + own * own) / sums->wss;
    out->circumference_km = 360.0 / slope;
    out->sigma_km = out->circumference_km * slope_sigma / slope;
    out->partners = sums->partners;
    return true;
}

double standing_score(double error_deg, double sigma_deg) {
    double z = error_deg / sigma_deg;
    return log(sigma_deg) + 0.5 * z * z;
}

/* The two sites of one pair have one figure, worked out from either end. */
static bool equal(double one, double two) {
    return fabs(one - two) <= SAME_FIGURE * fmax(fabs(one), fabs(two));
}

void standing_places(const double *sorted, size_t count, int *place) {
    for (size_t i = 0; i < count; i++)
        place[i] = i > 0 && equal(sorted[i], sorted[i - 1]) ? place[i - 1] : (int)i + 1;
}
