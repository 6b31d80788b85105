/* SPDX-License-Identifier: MIT */
/* caller: keys are found by their hash; rights follow from the role. */
#include "server/rules/caller.h"

#include <math.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/lookup.h"
#include "server/rules/secret.h"
#include "server/store/credential_rows.h"
#include "server/wire/field.h"

static const char *const role_names[] = {
    [ROLE_ANYONE] = "anyone",
    [ROLE_CLASS] = "class",
    [ROLE_SCHOOL] = "school",
    [ROLE_ORGANISER] = "organiser",
};

const char *role_name(enum role role) {
    return role_names[role];
}

/* One sentence for every reason, so that a refusal tells nothing. */
static int refuse(struct err *err) {
    return err_set(err, ERR_WRONG_KEY, NULL,
                   "there is no such key, or it is not for this; look at the key or code again");
}

/* Keys and codes first: they are used most. */
static enum found find(struct db *db, const char *hash, double now_utc_s,
                       struct credential_row *row, bool *session, struct err *err) {
    enum found found = credential_rows_find(db, hash, now_utc_s, row, err);
    *session = found == FOUND_NONE;
    return *session ? credential_rows_find_session(db, hash, now_utc_s, row, err) : found;
}

int caller_resolve(struct db *db, const char *secret, double now_utc_s, struct caller *out,
                   struct err *err) {
    struct caller caller = {.role = ROLE_ANYONE, .expires_utc_s = NAN};
    if (secret) {
        char hash[HASH_HEX_MAX];
        struct credential_row row;
        bool session;
        if (!secret_hash(secret, hash))
            return refuse(err);
        enum found found = find(db, hash, now_utc_s, &row, &session, err);
        if (found == FOUND_FAILED)
            return -1;
        if (found == FOUND_NONE)
            return refuse(err);
        for (int role = ROLE_CLASS; role <= ROLE_ORGANISER; role++)
            if (strcmp(row.role, role_names[role]) == 0)
                caller.role = (enum role)role;
        caller.credential = row.id;
        caller.site = row.site;
        caller.expires_utc_s = row.expires_utc_s;
        memcpy(caller.site_id, row.site_id, sizeof caller.site_id);
        memcpy(caller.name, row.name, sizeof caller.name);
        if (session)
            memcpy(caller.session, hash, sizeof caller.session);
    }
    *out = caller;
    return 0;
}

int caller_may(const struct caller *caller, enum role least, const char *site, struct err *err) {
    if (caller->role == ROLE_ORGANISER)
        return 0;
    bool theirs = site && caller->site != 0 && strcmp(site, caller->site_id) == 0;
    return theirs && caller->role >= least ? 0 : refuse(err);
}

int caller_known(const struct caller *caller, struct err *err) {
    return caller->credential != 0 ? 0 : refuse(err);
}

static int add(struct change *change, const char *secret, const struct credential_new *row,
               struct err *err) {
    char hash[HASH_HEX_MAX];
    struct credential_new hashed = *row;
    if (!secret_hash(secret, hash))
        return err_set(err, ERR_INTERNAL, NULL, "a key came out wrong");
    hashed.hash = hash;
    return credential_rows_add(change_db(change), &hashed, NULL, err);
}

static int add_key(struct change *change, const char *secret, int64_t site, int64_t by,
                   double now_utc_s, struct err *err) {
    const struct credential_new row = {.role = role_name(ROLE_SCHOOL),
                                       .site = site,
                                       .name = "",
                                       .expires_utc_s = NAN,
                                       .by = by,
                                       .now_utc_s = now_utc_s};
    return add(change, secret, &row, err);
}

static int add_code(struct change *change, const struct class_code *code, int64_t site, int64_t by,
                    double now_utc_s, struct err *err) {
    const struct credential_new row = {.role = role_name(ROLE_CLASS),
                                       .site = site,
                                       .name = "",
                                       .expires_utc_s = code->expires_utc_s,
                                       .by = by,
                                       .now_utc_s = now_utc_s};
    return add(change, code->code, &row, err);
}

int caller_add_organiser(struct change *change, const char *name, double now_utc_s,
                         char secret[SECRET_MAX], struct err *err) {
    size_t length = strlen(name);
    if (length == 0 || length > NAME_MAX_BYTES || !field_text_is_clean(name, length, true))
        return err_set(err, ERR_BAD_TEXT, "name",
                       "a name has 1 to %d bytes and begins with a letter or digit",
                       NAME_MAX_BYTES);
    const struct credential_new row = {.role = role_name(ROLE_ORGANISER),
                                       .name = name,
                                       .expires_utc_s = NAN,
                                       .now_utc_s = now_utc_s};
    char key[SECRET_MAX];
    secret_make_key(key);
    if (add(change, key, &row, err) ||
        audit_note(change, NULL, "organiser.add", "organisers", "with a key", now_utc_s, err))
        return -1;
    memcpy(secret, key, sizeof key);
    return 0;
}

static double code_expiry(double now_utc_s, double valid_h) {
    return now_utc_s + 3600.0 * valid_h;
}

void caller_secrets_of(const struct secret_seed *seed, double then_utc_s,
                       struct site_secrets *out) {
    secret_key_of(seed, out->school_key);
    secret_code_of(seed, out->class_code);
    out->class_code_expires_utc_s = code_expiry(then_utc_s, CLASS_CODE_VALID_H);
}

int caller_add_site(struct change *change, int64_t site, const struct secret_seed *seed, int64_t by,
                    double now_utc_s, struct site_secrets *out, struct err *err) {
    struct site_secrets secrets = {.class_code_expires_utc_s =
                                       code_expiry(now_utc_s, CLASS_CODE_VALID_H)};
    if (seed) {
        caller_secrets_of(seed, now_utc_s, &secrets);
    } else {
        secret_make_key(secrets.school_key);
        secret_make_code(secrets.class_code);
    }
    struct class_code code = {.expires_utc_s = secrets.class_code_expires_utc_s};
    memcpy(code.code, secrets.class_code, sizeof code.code);
    if (add_key(change, secrets.school_key, site, by, now_utc_s, err) ||
        add_code(change, &code, site, by, now_utc_s, err))
        return -1;
    *out = secrets;
    return 0;
}

/* The secrets of a role that a site had stop working. */
static int revoke(struct change *change, const struct caller *caller, const char *site,
                  enum role role, double now_utc_s, struct site_row *row, struct err *err) {
    struct db *db = change_db(change);
    return caller_may(caller, ROLE_SCHOOL, site, err) || lookup_site(db, site, row, err) ||
                   credential_rows_revoke(db, row->id, role_name(role), caller->credential,
                                          now_utc_s, err)
               ? -1
               : 0;
}

int caller_renew_class_code(struct change *change, const struct caller *caller, const char *site,
                            double valid_h, double now_utc_s, struct class_code *out,
                            struct err *err) {
    struct site_row row;
    struct class_code code = {.expires_utc_s = code_expiry(now_utc_s, valid_h)};
    secret_make_code(code.code);
    if (revoke(change, caller, site, ROLE_CLASS, now_utc_s, &row, err) ||
        add_code(change, &code, row.id, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "site.renew_class_code", audit_subject("sites/%s", site).text,
                   NULL, now_utc_s, err))
        return -1;
    *out = code;
    return 0;
}

int caller_revoke_class_code(struct change *change, const struct caller *caller, const char *site,
                             double now_utc_s, struct err *err) {
    struct site_row row;
    return revoke(change, caller, site, ROLE_CLASS, now_utc_s, &row, err) ||
                   audit_note(change, caller, "site.revoke_class_code",
                              audit_subject("sites/%s", site).text, NULL, now_utc_s, err)
               ? -1
               : 0;
}

int caller_renew_school_key(struct change *change, const struct caller *caller, const char *site,
                            double now_utc_s, char secret[SECRET_MAX], struct err *err) {
    struct site_row row;
    char key[SECRET_MAX];
    secret_make_key(key);
    if (revoke(change, caller, site, ROLE_SCHOOL, now_utc_s, &row, err) ||
        add_key(change, key, row.id, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "site.renew_school_key", audit_subject("sites/%s", site).text,
                   NULL, now_utc_s, err))
        return -1;
    memcpy(secret, key, sizeof key);
    return 0;
}
