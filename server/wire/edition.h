/* SPDX-License-Identifier: MIT */
/* edition: a published result as one document that anybody can work out again.
 *
 * {"format","edition","kind","subject","title","published_utc","method","replaces",
 *  "reason","changes","records","figures"}, in canonical JSON (canonical.h), named
 * by the SHA-256 of its bytes. records holds what was measured exactly as it is let
 * out, with the rules: days, sites, runs, exclusions. figures follows from records
 * and method alone: the one function below makes it, at the server that publishes
 * and at the client that verifies. Its reals have EDITION_DIGITS digits, far more
 * than their sigma is worth and fewer than processors could disagree about. */
#ifndef NOONARC_EDITION_H
#define NOONARC_EDITION_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/base/text.h"
#include "server/wire/canonical.h"
#include "server/wire/json_write.h"
#include "server/wire/records.h"

#define EDITION_FORMAT "noonarc-edition-1"
#define EDITION_DIGITS 8
#define EDITION_PAIRS_MAX 20000        /* listed a day; more are counted */
#define EDITION_BOARD_MAX 1000         /* lines of each table of a day's leaderboard */
#define EDITION_MAX ((size_t)60 << 20) /* bytes */

enum edition_kind { EDITION_DAY, EDITION_SEASON };
const char *edition_kind_name(enum edition_kind kind); /* "day", "season" */
bool edition_kind_parse(const char *name, enum edition_kind *out);

/* What a school lets editions keep of it for good. */
enum edition_keeps { KEEPS_NAMED, KEEPS_UNNAMED, KEEPS_NONE };
const char *edition_keeps_name(enum edition_keeps keeps); /* "named", "unnamed", "none" */
bool edition_keeps_parse(const char *name, enum edition_keeps *out);

/* {"keeps"}: the body that says so. */
int edition_read_keeps(const char *json, size_t length, enum edition_keeps *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"title"?,"reason"?}: the body that asks for an edition. */
struct edition_ask {
    char title[NAME_MAX_BYTES + 1];
    char reason[EXCLUSION_REASON_MAX + 1];
};
int edition_read_ask(const char *json, size_t length, struct edition_ask *out, struct err *err)
    __attribute__((warn_unused_result));

/* ---- records: written by whoever publishes, in this order ---- */

/* A day of the edition with its rules, and how many runs are missing from it that
 * cannot be shown: withdrawn by their schools, or of schools that keep out of
 * editions. */
struct edition_day {
    struct day_record record;
    int withdrawn, not_agreed;
};

/* {"days":[...],"sites":[...],"runs":[...],"exclusions":[...]}: days by date and
 * identifier, sites by identifier, runs by day and site, exclusions by run. A site
 * without a name is one that agreed to be in editions unnamed. Of a run only what
 * the reduction needs is written: no free text. */
void edition_write_day(struct json_writer *json, const struct edition_day *day);
void edition_write_site(struct json_writer *json, const struct site_record *site);
void edition_write_run(struct json_writer *json, const struct run_record *run);
void edition_write_exclusion(struct json_writer *json, const struct exclusion_record *exclusion);

/* ---- figures: made from records ---- */

/* What lists show of an edition, from its figures. */
struct edition_headline {
    double circumference_km, sigma_km, low_km, high_km; /* NAN none */
    int sites, days;
    struct left_out_counts counts;
};

/* Works the figures out and appends them in canonical form. Anything may stand in
 * records: ERR_* with the JSON pointer in the whole document. headline may be NULL. */
int edition_figures(const json_t *records, struct text *out, struct edition_headline *headline,
                    struct err *err) __attribute__((warn_unused_result));

/* ---- the whole document ---- */

/* {"figures","records"} of records as they were written, canonical; appended. */
int edition_write_everything(const char *records, size_t records_length, struct text *out,
                             struct err *err) __attribute__((warn_unused_result));

struct edition_head {
    int64_t edition;
    enum edition_kind kind;
    char subject[ID_MAX + 1];
    char title[NAME_MAX_BYTES + 1];
    double published_utc_s;
    int64_t replaces; /* 0 none */
    char replaces_sha256[CANONICAL_SHA256_SIZE];
    char reason[EXCLUSION_REASON_MAX + 1]; /* of a correction */
};

/* Puts the document together. before: the edition that is replaced, as published;
 * NULL and 0 for none. *unchanged: records and figures are those of before. */
int edition_make(const struct edition_head *head, const char *records, size_t records_length,
                 const char *before, size_t before_length, struct text *out,
                 struct edition_headline *headline, bool *unchanged, struct err *err)
    __attribute__((warn_unused_result));

/* {"edition","kind","subject","title","published_utc","method","sha256","bytes","replaces",
 *  "reason","circumference_km","sigma_km","low_km","high_km","sites","days",
 *  "left_out_counts"}. */
void edition_write_head(struct json_writer *json, const char *key, const struct edition_head *head,
                        const struct edition_headline *headline, const char *sha256, size_t bytes);

/* The head as it was written, with "replaced_by" before it (0: null), which comes later. */
void edition_write_listed(struct json_writer *json, const char *key, const char *head,
                          int64_t replaced_by);

/* ---- changes ---- */

/* What is new in records and figures against the document before: a new array of
 * {"change","words"} and, where they say something, "day", "site", "run", and what a
 * sentence in any language needs: of result circumference_km, sigma_km and the same
 * _before_km; of method method and method_before; of withdrawn and not_agreed count and
 * count_before; of run_corrected run_before; of excluded reason and, where it was
 * another, reason_before. NULL without memory. */
json_t *edition_changes(const json_t *before, const json_t *records, const json_t *figures);

/* ---- verification ---- */

#define EDITION_DIFFERENCES_MAX 20
struct edition_difference {
    char pointer[160];  /* where, as a JSON pointer */
    char published[80]; /* as canonical JSON, cut; "" nothing there */
    char recomputed[80];
};

struct edition_check {
    struct edition_head head; /* as the document says */
    char method[24];
    char sha256[CANONICAL_SHA256_SIZE];
    size_t bytes;
    bool canonical;                   /* its bytes are in canonical form */
    bool changes_checked;             /* the edition before was at hand */
    bool same;                        /* all of it follows, byte for byte */
    struct edition_headline headline; /* recomputed */
    struct edition_difference difference[EDITION_DIFFERENCES_MAX];
    size_t differences; /* all of them; the first are listed */
    int days, runs, sites;
};

/* Works a published document out again. before: the edition it replaces, as
 * published; NULL when not at hand, then its list of changes is taken as it stands.
 * 0 when that could be done (see same), -1 when the document is none. */
int edition_verify(const char *bytes, size_t length, const char *before, size_t before_length,
                   struct edition_check *out, struct err *err) __attribute__((warn_unused_result));

#endif
