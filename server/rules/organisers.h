/* SPDX-License-Identifier: MIT */
/* organisers: who runs the programme. An organiser has a key, or logs in by a name
 * and a password (session.h). A name stands for one organiser; where it has other
 * letters than an identifier may, its address is the identifier made of it. */
#ifndef NOONARC_ORGANISERS_H
#define NOONARC_ORGANISERS_H

#include <stdbool.h>
#include <stddef.h>

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/password.h"

struct organiser {
    char organiser[ID_MAX + 1]; /* the last part of its address */
    char name[NAME_MAX_BYTES + 1];
    bool has_password; /* else a key */
    double since_utc_s;
};
struct organiser_list {
    struct organiser *items; /* by name */
    size_t count;
};
void organiser_list_release(struct organiser_list *list);

/* READ, organiser. */
int organiser_list(struct db *db, const struct caller *caller, struct organiser_list *out,
                   struct err *err) __attribute__((warn_unused_result));

/* WRITE, organiser. With hash (password_hash) one who logs in, else one with the key
 * that goes to secret. name: an identifier; ERR_ORGANISER_EXISTS. */
int organiser_add(struct change *change, const struct caller *caller, const char *name,
                  const char *hash, double now_utc_s, char secret[SECRET_MAX], struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, organiser. Keys and password of the name stop working and its sessions end.
 * ERR_NOT_FOUND; ERR_LAST_ORGANISER when nobody would be left. */
int organiser_remove(struct change *change, const struct caller *caller, const char *organiser,
                     double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* A change of password, in three steps like a log-in: READ looks up whose it is and
 * refuses (ERR_MISSING_FIELD) a caller's own without the old one; SLOW checks the old
 * one, if given, and hashes the new one; WRITE keeps it and ends the other sessions of
 * that organiser. Another organiser may set a password that was forgotten. */
struct password_change {
    int64_t credential;
    char old_hash[PASSWORD_HASH_MAX];
    char new_hash[PASSWORD_HASH_MAX];
};
int organiser_look_up(struct db *db, const struct caller *caller, const char *name, bool has_old,
                      struct password_change *out, struct err *err)
    __attribute__((warn_unused_result));
int organiser_hash(struct password_change *work, const char *old_password, const char *password,
                   struct err *err) __attribute__((warn_unused_result));
int organiser_set_password(struct change *change, const struct caller *caller, const char *name,
                           const struct password_change *work, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, at the machine: the name logs in with this password from now on, whether it
 * is new or had another one. */
int organiser_appoint(struct change *change, const char *name, const char *hash, double now_utc_s,
                      struct err *err) __attribute__((warn_unused_result));

#endif
