/* SPDX-License-Identifier: MIT */
/* caller: keys are found by their hash; rights follow from the role. */
#include "server/rules/caller.h"

#include <stdio.h>
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

int caller_resolve(struct db *db, const char *secret, struct caller *out, struct err *err) {
    struct caller caller = {.role = ROLE_ANYONE};
    if (secret) {
        char hash[HASH_HEX_MAX];
        struct credential_row row;
        if (!secret_hash(secret, hash))
            return refuse(err);
        enum found found = credential_rows_find(db, hash, &row, err);
        if (found == FOUND_FAILED)
            return -1;
        if (found == FOUND_NONE)
            return refuse(err);
        for (int role = ROLE_CLASS; role <= ROLE_ORGANISER; role++)
            if (strcmp(row.role, role_names[role]) == 0)
                caller.role = (enum role)role;
        caller.credential = row.id;
        caller.site = row.site;
        snprintf(caller.site_id, sizeof caller.site_id, "%s", row.site_id);
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

static int add(struct change *change, const char *secret, enum role role, int64_t site,
               const char *name, int64_t by, double now_utc_s, struct err *err) {
    char hash[HASH_HEX_MAX];
    if (!secret_hash(secret, hash))
        return err_set(err, ERR_INTERNAL, NULL, "a key came out wrong");
    return credential_rows_add(change_db(change), hash, role_names[role], site, name, by, now_utc_s,
                               err);
}

int caller_add_organiser(struct change *change, const char *name, double now_utc_s,
                         char secret[SECRET_MAX], struct err *err) {
    size_t length = strlen(name);
    if (length == 0 || length > NAME_MAX_BYTES || !field_text_is_clean(name, length, true))
        return err_set(err, ERR_BAD_TEXT, "name",
                       "a name has 1 to %d bytes and begins with a letter or digit",
                       NAME_MAX_BYTES);
    char key[SECRET_MAX];
    secret_make_key(key);
    if (add(change, key, ROLE_ORGANISER, 0, name, 0, now_utc_s, err) ||
        audit_note(change, NULL, "organiser.add_key", "organisers", NULL, now_utc_s, err))
        return -1;
    memcpy(secret, key, sizeof key);
    return 0;
}

int caller_add_site(struct change *change, int64_t site, bool revoke, int64_t by, double now_utc_s,
                    struct site_secrets *out, struct err *err) {
    struct db *db = change_db(change);
    struct site_secrets secrets;
    if (revoke && (credential_rows_revoke(db, site, "school", by, now_utc_s, err) ||
                   credential_rows_revoke(db, site, "class", by, now_utc_s, err)))
        return -1;
    secret_make_key(secrets.school_key);
    secret_make_code(secrets.class_code);
    if (add(change, secrets.school_key, ROLE_SCHOOL, site, "", by, now_utc_s, err) ||
        add(change, secrets.class_code, ROLE_CLASS, site, "", by, now_utc_s, err))
        return -1;
    *out = secrets;
    return 0;
}

int caller_renew_class_code(struct change *change, const struct caller *caller, const char *site,
                            double now_utc_s, char secret[SECRET_MAX], struct err *err) {
    struct db *db = change_db(change);
    struct site_row row;
    char code[SECRET_MAX];
    if (caller_may(caller, ROLE_SCHOOL, site, err) || lookup_site(db, site, &row, err))
        return -1;
    secret_make_code(code);
    if (credential_rows_revoke(db, row.id, "class", caller->credential, now_utc_s, err) ||
        add(change, code, ROLE_CLASS, row.id, "", caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "site.renew_class_code", audit_subject("sites/%s", site).text,
                   NULL, now_utc_s, err))
        return -1;
    memcpy(secret, code, sizeof code);
    return 0;
}
