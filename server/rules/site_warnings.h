/* SPDX-License-Identifier: MIT */
/* site_warnings: what is odd about a playground's place, and when a school is one that
 * is registered already. Only what is public of the others is looked at: a position
 * that is let out rounded is compared rounded, so that asking tells nothing more. */
#ifndef NOONARC_SITE_WARNINGS_H
#define NOONARC_SITE_WARNINGS_H

#include "server/store/db.h"
#include "server/wire/records.h"
#include "server/wire/warning.h"

#define SITE_NEIGHBOUR_M 50.0

/* READ. A position of 0, 0, or in the sea far from land; another site within SITE_NEIGHBOUR_M.
 * site->site "": none of those there are. */
int site_warn(struct db *db, const struct site_record *site, struct warnings *warnings,
              struct err *err) __attribute__((warn_unused_result));

/* READ. The same of one among many: what is said begins with its identifier. Nothing is
 * looked at once warnings has no more room. */
int site_warn_of(struct db *db, const struct site_record *site, struct warnings *warnings,
                 struct err *err) __attribute__((warn_unused_result));

/* READ. ERR_SITE_DUPLICATE when a site of that name lies within SITE_NEIGHBOUR_M. */
int site_refuse_duplicate(struct db *db, const struct site_record *site, struct err *err)
    __attribute__((warn_unused_result));

#endif
