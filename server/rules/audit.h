/* SPDX-License-Identifier: MIT */
/* audit: who changed what, and when. Every rule that writes because a person asked
 * notes it in the same transaction, after what it wrote: there is no change
 * without its line, and no line without its change. What did not change anything
 * (an identical record, a replayed request) is not noted.
 *
 * A line names things by their address and tells in a few plain words what was
 * done. It never holds a person's words: no names, contacts or notes, no secrets,
 * no exact positions. Where an identifier of a site stands in the subject it
 * stands last, as "sites/{site}": the removal of a school finds it there. */
#ifndef NOONARC_AUDIT_H
#define NOONARC_AUDIT_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/wire/audit.h"

/* WRITE. caller: NULL for a command at the machine. action: thing, dot, what was
 * done: "day.open", "site.renew_key". subject: the address below /api/v1/, as
 * "days/equinox", "runs/17" or "days/equinox/sites/puna". detail: may be NULL. */
int audit_note(struct change *change, const struct caller *caller, const char *action,
               const char *subject, const char *detail, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

/* A subject put together on the spot:
 *   audit_note(change, caller, "day.join", audit_subject("days/%s/sites/%s", day, site).text, ...)
 */
struct audit_subject {
    char text[AUDIT_SUBJECT_MAX + 1];
};
struct audit_subject audit_subject(const char *format, ...) __attribute__((format(printf, 1, 2)));

struct audit_page {
    struct audit_record *items; /* newest first */
    size_t count;
    int64_t next; /* ask with before = this for what came earlier; 0 at the end */
};
void audit_page_release(struct audit_page *page);

/* READ, organiser. before: a line's number, 0 from the newest. limit: as in list.h. */
int audit_list(struct db *db, const struct caller *caller, int64_t before, size_t limit,
               struct audit_page *out, struct err *err) __attribute__((warn_unused_result));

#endif
