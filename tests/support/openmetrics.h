/* SPDX-License-Identifier: MIT */
/* openmetrics: whether a text is OpenMetrics 1.0, as the specification's sections
 * "Overall Structure", "MetricFamily", "Histogram", "Counter" and the ABNF have it
 * (prometheus/OpenMetrics, specification/OpenMetrics.md), for what a server like
 * ours exposes: counters, gauges and histograms without exemplars or timestamps. */
#ifndef NOONARC_OPENMETRICS_H
#define NOONARC_OPENMETRICS_H

#include <stdbool.h>
#include <stddef.h>

/* True when it keeps the rules; otherwise why says which line does not. */
bool openmetrics_accepts(const char *text, char *why, size_t size);

/* The value of a sample, "name" or "name{label=\"x\"}" as it stands in the text;
 * 0 when it is not there. */
double openmetrics_value(const char *text, const char *sample);

#endif
