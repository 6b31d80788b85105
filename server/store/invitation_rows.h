/* SPDX-License-Identifier: MIT */
/* invitation_rows: who was invited to a season, and what became of it. */
#ifndef NOONARC_INVITATION_ROWS_H
#define NOONARC_INVITATION_ROWS_H

#include "server/store/db.h"
#include "server/wire/invitation.h"

/* By the hash of its code. */
enum found invitation_rows_find(struct db *db, const char *hash, struct invitation_record *out,
                                struct err *err);

/* Those of a season with a number above after, by number. *out is to be freed. */
int invitation_rows_list(struct db *db, int64_t season, int64_t after, int64_t limit,
                         struct invitation_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

int invitation_rows_add(struct db *db, int64_t season, const char *hash, const char *name,
                        const char *contact, int64_t by, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

int invitation_rows_use(struct db *db, int64_t invitation, int64_t site, int64_t by,
                        double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* Whether a site was invited to a season (by identifier), and whether to another. */
int invitation_rows_of_site(struct db *db, int64_t site, const char *season, bool *here,
                            bool *elsewhere, struct err *err) __attribute__((warn_unused_result));

#endif
