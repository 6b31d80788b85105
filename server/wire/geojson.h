/* SPDX-License-Identifier: MIT */
/* geojson: sites as a FeatureCollection of points (RFC 7946): longitude first,
 * WGS 84, height last. */
#ifndef NOONARC_GEOJSON_H
#define NOONARC_GEOJSON_H

#include <stddef.h>

#include "server/base/text.h"
#include "server/wire/records.h"

/* Appends one document; a feature's id is the site, its properties site, name,
 * zone, gnomon_mm and edge. Check text->failed. */
void geojson_write_sites(struct text *text, const struct site_record *sites, size_t count);

/* Noon angles where they were measured: properties site, name, run, status, counts,
 * transit_utc, noon_angle_deg, sigma_deg, estimator, used and left_out. */
void geojson_write_noons(struct text *text, const struct site_record *sites,
                         const struct reduction_record *rows, size_t count);

#endif
