/* SPDX-License-Identifier: MIT */
/* invitations: a list of schools is invited to a season; each gets a code, shown once.
 * A school that registers with it, or gives it later, takes part in the season's days
 * without waiting for approval. A code works once. */
#ifndef NOONARC_INVITATIONS_H
#define NOONARC_INVITATIONS_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/wire/invitation.h"

struct invited {
    struct invited_code {
        char code[SECRET_MAX];
    } * codes; /* in the order of the rows */
    size_t count;
};
void invited_release(struct invited *invited);

/* WRITE, organiser. All or nothing: rows that are wrong, or that name a school invited
 * to the season before under the same name and contact, are in errors, and ERR_ROWS
 * tells of them. */
int invite(struct change *change, const struct caller *caller, const char *season,
           const struct invitation_sheet *sheet, double now_utc_s, struct invited *out,
           struct row_errors *errors, struct err *err) __attribute__((warn_unused_result));

/* WRITE, school or organiser. ERR_WRONG_INVITATION, in the same words whether the code
 * never was or was used. season: which one it is for. */
int invitation_redeem(struct change *change, const struct caller *caller, const char *site,
                      const char *code, double now_utc_s, char season[ID_MAX + 1], struct err *err)
    __attribute__((warn_unused_result));

/* WRITE. The same for a site that is being registered. */
int invitation_use(struct change *change, const struct caller *caller, int64_t site,
                   const char *site_id, const char *code, double now_utc_s, char season[ID_MAX + 1],
                   struct err *err) __attribute__((warn_unused_result));

struct invitation_page {
    struct invitation_record *items; /* by number */
    size_t count;
    int64_t next; /* ask with after = this; 0 at the end */
};
void invitation_page_release(struct invitation_page *page);

/* READ, organiser. */
int invitation_list(struct db *db, const struct caller *caller, const char *season, int64_t after,
                    size_t limit, struct invitation_page *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
