/* SPDX-License-Identifier: MIT */
/* caller: who is asking, and what they may do.
 *
 * A secret is random (128 bits or more for keys, 50 for a class code, which can
 * only send and correct the runs of one site), shown once, and kept as the hex
 * BLAKE2b of its normal form; finding the hash is the comparison. Letters are
 * Crockford's base 32: case and dashes do not matter, I and L read as 1, O as 0.
 * A refusal is always ERR_WRONG_KEY with the same words, whatever was wrong. A class
 * code ends by itself, and so does a session (session.h), which acts as the
 * credential it was begun with. */
#ifndef NOONARC_CALLER_H
#define NOONARC_CALLER_H

#include <stdint.h>

#include "server/base/err.h"
#include "server/rules/change.h"
#include "server/store/hash.h"
#include "server/wire/records.h"

enum role { ROLE_ANYONE, ROLE_CLASS, ROLE_SCHOOL, ROLE_ORGANISER };

/* "anyone", "class", "school", "organiser". */
const char *role_name(enum role role);

#define SECRET_MAX 40 /* bytes of a secret with its NUL */

struct caller {
    enum role role;
    int64_t credential;            /* 0 for anyone */
    int64_t site;                  /* key in the store; 0 for organiser and anyone */
    char site_id[ID_MAX + 1];      /* "" likewise */
    char name[NAME_MAX_BYTES + 1]; /* of an organiser, else "" */
    char session[HASH_HEX_MAX];    /* the session's place in the store, "" came with a key */
    double expires_utc_s;          /* of session or code; NAN never */
};

struct secret_seed; /* secret.h */

/* The pair of secrets a new site gets. Shown once. */
struct site_secrets {
    char school_key[SECRET_MAX];
    char class_code[SECRET_MAX];
    double class_code_expires_utc_s;
};

#define CLASS_CODE_VALID_H 8784.0 /* a leap year, unless said otherwise */

/* READ. The caller behind a bearer secret; NULL is ROLE_ANYONE. Refuses an unknown
 * one, and one that was revoked or has ended. */
int caller_resolve(struct db *db, const char *secret, double now_utc_s, struct caller *out,
                   struct err *err) __attribute__((warn_unused_result));

/* Refuses (ERR_WRONG_KEY) unless the caller is an organiser, or has at least the
 * role asked for and the site is theirs. site NULL: organisers only. Every rule
 * that needs a right asks this itself. */
int caller_may(const struct caller *caller, enum role least, const char *site, struct err *err)
    __attribute__((warn_unused_result));

/* Refuses (ERR_WRONG_KEY) who is nobody in particular. */
int caller_known(const struct caller *caller, struct err *err) __attribute__((warn_unused_result));

/* WRITE. A key for an organiser; called from the command line, not over HTTP.
 * name: 1..120 bytes, starts with a letter or digit. */
int caller_add_organiser(struct change *change, const char *name, double now_utc_s,
                         char secret[SECRET_MAX], struct err *err)
    __attribute__((warn_unused_result));

/* WRITE. The secrets of a new site (key in the store): made of seed, else (NULL) of
 * chance. */
int caller_add_site(struct change *change, int64_t site, const struct secret_seed *seed, int64_t by,
                    double now_utc_s, struct site_secrets *out, struct err *err)
    __attribute__((warn_unused_result));

/* What caller_add_site made of a seed at that moment. */
void caller_secrets_of(const struct secret_seed *seed, double then_utc_s, struct site_secrets *out);

/* WRITE. School or organiser: a new class code for a site, that works for so many
 * hours; codes given out before stop working. */
struct class_code {
    char code[SECRET_MAX];
    double expires_utc_s;
};
int caller_renew_class_code(struct change *change, const struct caller *caller, const char *site,
                            double valid_h, double now_utc_s, struct class_code *out,
                            struct err *err) __attribute__((warn_unused_result));

/* WRITE. School or organiser: the site has no class code from now on. */
int caller_revoke_class_code(struct change *change, const struct caller *caller, const char *site,
                             double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* WRITE. School or organiser, who helps where a key was lost: a new school key; the one
 * before stops working, and the sessions begun with it end. */
int caller_renew_school_key(struct change *change, const struct caller *caller, const char *site,
                            double now_utc_s, char secret[SECRET_MAX], struct err *err)
    __attribute__((warn_unused_result));

#endif
