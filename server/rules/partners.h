/* SPDX-License-Identifier: MIT */
/* partners: who works with whom on a day. Before it an organiser has partners chosen
 * for all at once (matching.h). During it, when a school sees no Sun any more or leaves,
 * its partner is offered the best free school at once: of those that can go on and have
 * no partner who can, the one with the least expected sigma; where none is free, the
 * best of all as a second partner. The two are partners then, both ways. A school that
 * can go on again, and whose partner has another by then, is offered one likewise. Of
 * the free ones those among the 400 best are looked for (partners_offer.c).
 * Whatever is said here, every pair that the day's rules allow counts in the results. */
#ifndef NOONARC_PARTNERS_H
#define NOONARC_PARTNERS_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/matching.h"
#include "server/store/day_rows.h"
#include "server/store/partner_rows.h"
#include "server/store/site_rows.h"

/* A choice in the making: the sites by identifier, and what came of them. */
struct partnering {
    struct day_row day;
    struct hand *hands;
    size_t count;
    struct match_site *sites;
    struct matching matching;
};
void partnering_release(struct partnering *partnering);

/* READ, organiser: who takes part. ERR_DAY_STATE unless sites may measure on the day. */
int partnering_load(struct db *db, struct almanac *almanac, const struct caller *caller,
                    const char *day, struct partnering *out, struct err *err)
    __attribute__((warn_unused_result));

/* Touches no store; seconds for 100 000. */
int partnering_choose(struct partnering *partnering, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, organiser. In place of all partners that were given on the day before. */
int partnering_record(struct change *change, const struct caller *caller,
                      const struct partnering *partnering, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

/* READ. The partners a site has now; none before they were chosen. */
int partners_of(struct db *db, const char *day, const char *site, struct partners_record *out,
                struct err *err) __attribute__((warn_unused_result));

struct partners_page {
    double chosen_utc_s;           /* NAN: not yet */
    struct partners_record *items; /* those who take part, by site */
    size_t count;
    char next[ID_MAX + 1];
};
void partners_page_release(struct partners_page *page);
int partners_list(struct db *db, const char *day, const char *after, size_t limit,
                  struct partners_page *out, struct err *err) __attribute__((warn_unused_result));

/* WRITE. A site cannot go on: each of its partners that is left without one who can is
 * offered another. Or it can again: it is offered one if it needs one. Nothing happens
 * where no partners were chosen for the day. */
int partners_lost(struct change *change, const struct day_row *day, const struct site_row *site,
                  double now_utc_s, struct err *err) __attribute__((warn_unused_result));
int partners_back(struct change *change, const struct day_row *day, const struct site_row *site,
                  double now_utc_s, struct err *err) __attribute__((warn_unused_result));

#endif
