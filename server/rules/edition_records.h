/* SPDX-License-Identifier: MIT */
/* edition_records: what an edition is made from, out of the store and into the form
 * it is published in, with what each school agreed to. READ. */
#ifndef NOONARC_RULES_EDITION_RECORDS_H
#define NOONARC_RULES_EDITION_RECORDS_H

#include "server/base/text.h"
#include "server/store/day_rows.h"
#include "server/store/db.h"

/* Appends {"days","sites","runs","exclusions"} of these days; runs, unless NULL: how
 * many stand in them. */
int edition_records_write(struct db *db, const struct day_row *days, size_t count, struct text *out,
                          size_t *runs, struct err *err) __attribute__((warn_unused_result));

#endif
