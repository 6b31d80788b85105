/* SPDX-License-Identifier: MIT */
#include "server/http/histogram.h"

static const int64_t bounds_us[HISTOGRAM_BOUNDS] = {500,     1000,    2500,    5000,    10000,
                                                    20000,   50000,   100000,  200000,  500000,
                                                    1000000, 2000000, 5000000, 10000000};

void histogram_add(struct histogram *histogram, int64_t took_us) {
    int i = 0;
    while (i < HISTOGRAM_BOUNDS && took_us > bounds_us[i])
        i++;
    atomic_fetch_add(&histogram->count[i], 1);
    atomic_fetch_add(&histogram->sum_us, took_us);
}

void histogram_render(struct histogram *histogram, const char *name, const char *label,
                      struct text *out) {
    long below = 0;
    for (int i = 0; i < HISTOGRAM_BOUNDS; i++) {
        below += atomic_load(&histogram->count[i]);
        /* "1.0", not "1": the canonical form of OpenMetrics. */
        text_format(out, "%s_bucket{%s,le=\"%g%s\"} %ld\n", name, label,
                    (double)bounds_us[i] * 1e-6, bounds_us[i] % 1000000 == 0 ? ".0" : "", below);
    }
    below += atomic_load(&histogram->count[HISTOGRAM_BOUNDS]);
    text_format(out, "%s_bucket{%s,le=\"+Inf\"} %ld\n%s_count{%s} %ld\n%s_sum{%s} %.6f\n", name,
                label, below, name, label, below, name, label,
                (double)atomic_load(&histogram->sum_us) * 1e-6);
}
