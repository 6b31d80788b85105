/* SPDX-License-Identifier: MIT */
/* partners_now: what the files of partners.h share: who has whom at this moment, and a
 * site as the matching sees it. */
#ifndef NOONARC_PARTNERS_NOW_H
#define NOONARC_PARTNERS_NOW_H

#include "server/rules/almanac.h"
#include "server/rules/matching.h"
#include "server/store/partner_rows.h"

/* READ. A site's partners, newest first; only those that have it as theirs too. */
int partners_now(struct db *db, int64_t day, int64_t site, struct partner_row out[PARTNERS_MAX],
                 int *count, struct err *err) __attribute__((warn_unused_result));

struct match_rules partners_rules(const struct day_record *day);

/* By its position as let out, its usual gnomon, and the Sun of the day's date. */
int partners_match_site(struct almanac *almanac, const struct day_record *day,
                        const struct site_record *site, struct match_site *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
