/* SPDX-License-Identifier: MIT */
/* partner_rows: partners as they were given, and what is asked when one is looked for. */
#ifndef NOONARC_PARTNER_ROWS_H
#define NOONARC_PARTNER_ROWS_H

#include "server/store/db.h"
#include "server/wire/partner.h"

/* That the partners of a day were chosen; its number is *out. */
int partner_rows_choose(struct db *db, int64_t day, const char *method, int64_t by,
                        double now_utc_s, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));

/* The newest choice of a day, and when it was made. */
enum found partner_rows_chosen(struct db *db, int64_t day, int64_t *out, double *at_utc_s,
                               struct err *err);

struct partner_row {
    int64_t site, partner; /* partner 0: none was found */
    enum partner_kind kind;
    int64_t partnering; /* of PARTNER_ASSIGNED, else 0 */
    int64_t because;    /* site, 0 none */
    double expected_sigma_km;
};

/* The number of the next row; who adds many counts on from there. */
int partner_rows_next_id(struct db *db, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));
int partner_rows_add(struct db *db, int64_t id, int64_t day, const struct partner_row *row,
                     double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* The newest rows of a site on a day, newest first. */
#define PARTNER_ROWS_MAX 16
int partner_rows_of_site(struct db *db, int64_t day, int64_t site,
                         struct partner_row out[PARTNER_ROWS_MAX], int *count, struct err *err)
    __attribute__((warn_unused_result));

/* One who may be a partner. */
struct hand {
    int64_t site;
    struct site_record record;
};

/* Those who take part whose exact longitude lies in [low, high], in no order. *out is
 * appended to and is to be freed, also after a failure. */
int partner_rows_hands(struct db *db, int64_t day, double low_deg, double high_deg,
                       struct hand **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Sites whose exact longitude lies in [low, high], whether they take part or not: a
 * tenth of the cost. Likewise. */
int partner_rows_near(struct db *db, double low_deg, double high_deg, struct hand **out,
                      size_t *count, struct err *err) __attribute__((warn_unused_result));

/* Whether a site can go on: it takes part, and sees the Sun or has handed in. */
int partner_rows_is_up(struct db *db, int64_t day, int64_t site, bool *out, struct err *err)
    __attribute__((warn_unused_result));

/* Those who take part, by identifier, of those above after. *out is to be freed. */
int partner_rows_sites(struct db *db, int64_t day, const char *after, int64_t limit, int64_t **out,
                       size_t *count, struct err *err) __attribute__((warn_unused_result));

#endif
