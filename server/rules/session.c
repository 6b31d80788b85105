/* SPDX-License-Identifier: MIT */
#include "server/rules/session.h"

#include <math.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/secret.h"
#include "server/store/credential_rows.h"
#include "server/store/organiser_rows.h"

_Static_assert(PASSWORD_HASH_MAX == ORGANISER_HASH_MAX, "the store keeps a whole hash");

/* One sentence whatever was wrong. */
static int refuse(struct err *err) {
    return err_set(err, ERR_WRONG_KEY, NULL,
                   "there is no such name with that password; look at both again");
}

int session_look_up(struct db *db, const char *name, struct login *out, struct err *err) {
    struct login login = {0};
    if (organiser_rows_password(db, name, &login.credential, login.hash, err) == FOUND_FAILED)
        return -1;
    *out = login;
    return 0;
}

int session_check(const struct login *login, const char *password, struct err *err) {
    return password_matches(login->credential ? login->hash : NULL, password) ? 0 : refuse(err);
}

static int start(struct change *change, const struct caller *caller, double now_utc_s,
                 struct session *out, struct err *err) {
    struct session session = {.caller = *caller};
    session.caller.expires_utc_s = fmin(now_utc_s + SESSION_VALID_S, caller->expires_utc_s);
    secret_make_key(session.token);
    if (!secret_hash(session.token, session.caller.session))
        return err_set(err, ERR_INTERNAL, NULL, "a token came out wrong");
    if (credential_rows_start_session(change_db(change), session.caller.session, caller->credential,
                                      now_utc_s, session.caller.expires_utc_s, err) ||
        audit_note(change, caller, "session.start", "session", NULL, now_utc_s, err))
        return -1;
    *out = session;
    return 0;
}

int session_start(struct change *change, const char *name, const struct login *login,
                  double now_utc_s, struct session *out, struct err *err) {
    struct login again;
    struct caller caller = {
        .role = ROLE_ORGANISER, .credential = login->credential, .expires_utc_s = NAN};
    size_t length = strlen(name);
    if (session_look_up(change_db(change), name, &again, err))
        return -1;
    if (again.credential != login->credential || strcmp(again.hash, login->hash) != 0 ||
        length >= sizeof caller.name)
        return refuse(err);
    memcpy(caller.name, name, length + 1);
    return start(change, &caller, now_utc_s, out, err);
}

int session_start_as(struct change *change, const struct caller *caller, double now_utc_s,
                     struct session *out, struct err *err) {
    return start(change, caller, now_utc_s, out, err);
}

int session_end(struct change *change, const struct caller *caller, double now_utc_s,
                struct err *err) {
    if (caller->session[0] == '\0')
        return err_set(err, ERR_NOT_FOUND, NULL,
                       "this is a key and no session: it works on until it is renewed");
    return credential_rows_end_session(change_db(change), caller->session, err) ||
                   audit_note(change, caller, "session.end", "session", NULL, now_utc_s, err)
               ? -1
               : 0;
}
