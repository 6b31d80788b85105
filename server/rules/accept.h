/* SPDX-License-Identifier: MIT */
/* accept: a run comes in, is corrected, or is withdrawn. The order of a
 * submission: who is it, the same key before? then the first answer again, does
 * the site take part, is it that day's noon, does it make sense at all; then it is
 * recorded as sent, reduced, paired, and answered. What does not make sense
 * changes nothing; everything else is kept and its flags are shown. */
#ifndef NOONARC_ACCEPT_H
#define NOONARC_ACCEPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/text.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/science/reduce.h"
#include "server/store/day_rows.h"
#include "server/store/site_rows.h"
#include "server/wire/records.h"
#include "server/wire/spreadsheet.h"

#define IDEMPOTENCY_KEY_MIN 8
#define IDEMPOTENCY_KEY_MAX 64
#define ACCEPT_ANSWER_MAX (1u << 20)
#define ACCEPT_PAIRS_MAX 3 /* shown in the answer, smallest sigma first; the list has all */

struct submission {
    const struct caller *caller;
    const struct run_record *run; /* with site, day and supersedes */
    const char *body;             /* as sent: this is what is recorded */
    size_t body_length;
    const char *idempotency_key; /* IDEMPOTENCY_KEY_MIN..MAX printable ASCII */
    double now_utc_s;
};

/* What a reduction was made from; accept_run makes it anew when the site changed
 * in between. Caller-owned, some 10 KB: keep it in the request, not on a stack. */
struct prepared {
    uint64_t moment; /* of the view it was made from */
    bool replay;     /* an answer exists: nothing was reduced */
    struct day_row day;
    struct site_row site; /* as it was reduced */
    struct reduction reduction;
};

/* What the answer is written from, borrowed during the call. */
struct accepted {
    int64_t run;
    const struct run_record *sent;
    const struct run_state *state;
    const struct reduction_record *reduction;
    const struct pair_record *pairs; /* most certain first */
    size_t pairs_count;
};

/* Writes the answer's body; it is recorded with the run. */
typedef int (*accept_answer)(const struct accepted *accepted, struct text *out, struct err *err);

/* READ. Everything that can be refused, refused before the writer is troubled;
 * the reduction is made here, on the request's own thread. */
int accept_prepare(const struct book_view *view, struct almanac *almanac,
                   const struct submission *submission, struct prepared *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE. Checks again when anything may have changed since the moment, records, derives, answers.
 * answer: the body (initialised by the caller); replayed: it is the first answer again. */
int accept_run(struct change *change, const struct submission *submission,
               struct prepared *prepared, accept_answer write_answer, struct text *answer,
               bool *replayed, struct err *err) __attribute__((warn_unused_result));

/* WRITE, school or organiser. ERR_NOT_FOUND, ERR_RUN_NOT_CURRENT (withdrawn or
 * superseded already). reason: 0..200 bytes, may be "". */
int accept_withdraw(struct change *change, const struct caller *caller, int64_t run,
                    const char *reason, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

enum run_import_fate {
    RUN_IMPORT_NEW,
    RUN_IMPORT_REPLACED, /* it took the place of the current run */
    RUN_IMPORT_UNCHANGED /* the current run has these readings, gnomon and edge already */
};
struct run_import {
    struct run_import_item {
        int64_t run;
        char site[ID_MAX + 1];
        enum run_import_fate fate;
        char *reduction_json; /* NULL: unchanged */
    } * items;                /* by site */
    size_t count;
};
void run_import_release(struct run_import *import);

/* WRITE, organiser. A whole day's readings, all or nothing: each site's usual gnomon
 * and edge are the instrument, the site joins the day if need be, and a current
 * run is superseded, unless it says the same: so the same sheet again does nothing. err->field is
 * "row 7, site" and the like. */
int accept_import(struct change *change, const struct caller *caller, const char *day,
                  const struct sheet_readings *readings, double now_utc_s, struct run_import *out,
                  struct err *err) __attribute__((warn_unused_result));

#endif
