/* SPDX-License-Identifier: MIT */
/* site_rows: sites and their versions. "The site" is its newest version. */
#ifndef NOONARC_SITE_ROWS_H
#define NOONARC_SITE_ROWS_H

#include "server/store/db.h"
#include "server/wire/own_data.h"
#include "server/wire/records.h"

struct site_row {
    int64_t id;
    int64_t version; /* from 1 */
    struct site_record record;
};

enum found site_rows_find(struct db *db, const char *site, struct site_row *out, struct err *err);
enum found site_rows_get(struct db *db, int64_t id, struct site_row *out, struct err *err);

/* By identifier, those above after; at most limit (> 0). *out is to be freed. */
int site_rows_list(struct db *db, const char *after, int64_t limit, struct site_record **out,
                   size_t *count, struct err *err) __attribute__((warn_unused_result));

/* All versions of a site, oldest first. *out is to be freed. */
int site_rows_versions(struct db *db, int64_t id, struct site_history **out, size_t *count,
                       struct err *err) __attribute__((warn_unused_result));

/* A part of the Earth, at most SITE_BELT_DEG from south to north; the longitudes may go
 * beyond 180 degrees either way. */
#define SITE_BELT_DEG 0.4
struct site_belt {
    double low_lat_deg, high_lat_deg, low_lon_deg, high_lon_deg;
};

/* Sites whose exact position lies within, found among few others however many there are.
 * In no order; one at 180 degrees may be told twice. *out is to be freed. */
int site_rows_about(struct db *db, const struct site_belt *belt, struct site_record **out,
                    size_t *count, struct err *err) __attribute__((warn_unused_result));

/* A new site without a version yet. The record of a version is settled; its exact
 * position is what is kept. */
int site_rows_add(struct db *db, const char *site, double now_utc_s, int64_t *id, struct err *err)
    __attribute__((warn_unused_result));
int site_rows_add_version(struct db *db, int64_t id, int64_t version,
                          const struct site_record *record, int64_t by, double now_utc_s,
                          struct err *err) __attribute__((warn_unused_result));

/* The columns of a site's record, for questions that bring a site along: v is
 * site_version, s is site. SITE_COLUMNS_COUNT columns from first on. */
#define SITE_COLUMNS                                                                               \
    "s.site, v.name, v.lat_deg, v.lon_deg, v.elev_m, v.zone, v.gnomon_mm, v.edge, v.contact, "     \
    "v.position_decimals"
#define SITE_COLUMNS_COUNT 10
#define SITE_NEWEST "v.version = (SELECT MAX(w.version) FROM site_version w WHERE w.site = v.site)"
/* Settled: place is as let out. */
void site_rows_read(struct statement *statement, int first, struct site_record *out);

#endif
