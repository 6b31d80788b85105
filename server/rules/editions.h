/* SPDX-License-Identifier: MIT */
/* editions: a day or a season as it stands is frozen into a numbered document
 * (wire/edition.h), which never changes; what is found later makes another one that
 * says what it changes.
 *
 * What an edition keeps of a school, for good, is what the school agreed to at the
 * moment of publication: its name, identifier and readings, the readings alone, or
 * nothing. When a school is removed, what it agreed to stays in the editions that
 * are out; later ones hold what is left of it. */
#ifndef NOONARC_EDITIONS_H
#define NOONARC_EDITIONS_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/store/edition_rows.h"

/* An edition made ready by a reader, so that the one writer has only to put it in. */
struct edition_ready {
    struct edition_head head;
    char sha256[CANONICAL_SHA256_SIZE];
    struct text bundle, head_json;
};
void edition_ready_release(struct edition_ready *ready);

/* READ, organiser. Works everything out. ask: title "" for the day's name, reason:
 * needed when there is an edition of the subject already (ERR_MISSING_FIELD).
 * ERR_DAY_STATE where the day's state does not allow it, ERR_NOTHING_TO_PUBLISH for a
 * first edition without a run, ERR_NOTHING_CHANGED when it would say what the newest one says. out
 * is to be released, also on failure. */
int edition_prepare(struct db *db, const struct caller *caller, enum edition_kind kind,
                    const char *subject, const struct edition_ask *ask, double now_utc_s,
                    struct edition_ready *out, struct err *err) __attribute__((warn_unused_result));

/* WRITE. ERR_BUSY when another edition came in between. */
int edition_publish(struct change *change, const struct caller *caller,
                    const struct edition_ready *ready, struct err *err)
    __attribute__((warn_unused_result));

struct edition_page {
    struct edition_row *items; /* newest first */
    size_t count;
    int64_t next; /* ask with before = this; 0 at the end */
};
void edition_page_release(struct edition_page *page);

/* READ. kind NULL: of all subjects. before 0: from the newest. */
int edition_list(struct db *db, const enum edition_kind *kind, const char *subject, int64_t before,
                 size_t limit, struct edition_page *out, struct err *err)
    __attribute__((warn_unused_result));

/* READ. out->head is to be freed; the bundle is appended. */
int edition_get(struct db *db, int64_t number, struct edition_row *out, struct err *err)
    __attribute__((warn_unused_result));
int edition_bundle(struct db *db, int64_t number, struct text *out, struct err *err)
    __attribute__((warn_unused_result));

/* READ. All that is public of a day as it stands now, {"records","figures"} in canonical
 * form: what an edition of it would hold. Appended. */
int edition_everything(struct db *db, const char *day, struct text *out, struct err *err)
    __attribute__((warn_unused_result));

/* What a school lets editions keep. READ; WRITE by the school or an organiser. */
int edition_keeps_get(struct db *db, const char *site, enum edition_keeps *out, struct err *err)
    __attribute__((warn_unused_result));
int edition_keeps_set(struct change *change, const struct caller *caller, const char *site,
                      enum edition_keeps keeps, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

#endif
