/* SPDX-License-Identifier: MIT */
/* session: logging in. An organiser's name and password, or any key or code, are
 * traded for a token that acts for its owner and ends by itself. The token is kept
 * hashed like any secret (caller.h). Between the halves of a log-in by password the
 * password is looked at, on the labourer's thread: the same work, and the same
 * refusal, whether there is such a name or not. */
#ifndef NOONARC_SESSION_H
#define NOONARC_SESSION_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/password.h"

#define SESSION_VALID_S 43200.0 /* half a day: a measurement day, and not the night after it */

/* What a log-in carries from half to half. */
struct login {
    int64_t credential;           /* 0: no such name */
    char hash[PASSWORD_HASH_MAX]; /* of its password */
};

/* READ. Looks the name up; an unknown one is no error here. */
int session_look_up(struct db *db, const char *name, struct login *out, struct err *err)
    __attribute__((warn_unused_result));

/* SLOW, labourer. ERR_WRONG_KEY unless the password is that of the name. */
int session_check(const struct login *login, const char *password, struct err *err)
    __attribute__((warn_unused_result));

struct session {
    char token[SECRET_MAX];
    struct caller caller; /* as which it acts; expires_utc_s is the session's */
};

/* WRITE. After session_check; looks again whether name and password are still what
 * they were. */
int session_start(struct change *change, const char *name, const struct login *login,
                  double now_utc_s, struct session *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE. A session of somebody who showed a key or code (caller_resolve). It ends
 * with it at the latest. */
int session_start_as(struct change *change, const struct caller *caller, double now_utc_s,
                     struct session *out, struct err *err) __attribute__((warn_unused_result));

/* WRITE. ERR_NOT_FOUND for a caller who came with a key: that is no session. */
int session_end(struct change *change, const struct caller *caller, double now_utc_s,
                struct err *err) __attribute__((warn_unused_result));

#endif
