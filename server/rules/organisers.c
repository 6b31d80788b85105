/* SPDX-License-Identifier: MIT */
/* organisers: they are few, so that looking through all of them will do. */
#include "server/rules/organisers.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/secret.h"
#include "server/rules/slug.h"
#include "server/store/credential_rows.h"
#include "server/store/organiser_rows.h"
#include "server/wire/field.h"

void organiser_list_release(struct organiser_list *list) {
    free(list->items);
    *list = (struct organiser_list){0};
}

static void address_of(const char *name, char out[ID_MAX + 1]) {
    if (field_is_id(name))
        memcpy(out, name, strlen(name) + 1);
    else
        slug_make(name, 1, out);
}

static bool is_called(const struct organiser_row *row, const char *organiser) {
    char address[ID_MAX + 1];
    address_of(row->name, address);
    return strcmp(address, organiser) == 0;
}

int organiser_list(struct db *db, const struct caller *caller, struct organiser_list *out,
                   struct err *err) {
    struct organiser_row *rows = NULL;
    struct organiser_list list = {0};
    size_t count = 0;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        organiser_rows_list(db, &rows, &count, err))
        return -1;
    list.items = calloc(count + 1, sizeof *list.items);
    for (; list.items && list.count < count; list.count++) {
        struct organiser *item = &list.items[list.count];
        const struct organiser_row *row = &rows[list.count];
        address_of(row->name, item->organiser);
        memcpy(item->name, row->name, sizeof item->name);
        item->has_password = row->has_password;
        item->since_utc_s = row->since_utc_s;
    }
    free(rows);
    if (!list.items)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    *out = list;
    return 0;
}

/* How many credentials have the name, and how many have others. */
static int count_called(struct db *db, const char *organiser, size_t *called, size_t *others,
                        struct err *err) {
    struct organiser_row *rows = NULL;
    size_t count = 0;
    if (organiser_rows_list(db, &rows, &count, err))
        return -1;
    *called = *others = 0;
    for (size_t i = 0; i < count; i++)
        *(is_called(&rows[i], organiser) ? called : others) += 1;
    free(rows);
    return 0;
}

/* A credential and its key, which is thrown away where a password takes its place. */
static int add(struct change *change, const char *name, const char *password_hash, int64_t by,
               double now_utc_s, char secret[SECRET_MAX], struct err *err) {
    char key[SECRET_MAX], place[HASH_HEX_MAX];
    int64_t id;
    secret_make_key(key);
    if (!secret_hash(key, place))
        return err_set(err, ERR_INTERNAL, NULL, "a key came out wrong");
    const struct credential_new row = {.hash = place,
                                       .role = role_name(ROLE_ORGANISER),
                                       .name = name,
                                       .expires_utc_s = NAN,
                                       .by = by,
                                       .now_utc_s = now_utc_s};
    if (credential_rows_add(change_db(change), &row, &id, err) ||
        (password_hash &&
         organiser_rows_set_password(change_db(change), id, password_hash, by, now_utc_s, err)))
        return -1;
    if (secret)
        memcpy(secret, key, sizeof key);
    return 0;
}

int organiser_add(struct change *change, const struct caller *caller, const char *name,
                  const char *hash, double now_utc_s, char secret[SECRET_MAX], struct err *err) {
    size_t called, others;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        count_called(change_db(change), name, &called, &others, err))
        return -1;
    if (called > 0)
        return err_set(err, ERR_ORGANISER_EXISTS, "/name",
                       "there is an organiser of that name; choose another");
    if (add(change, name, hash, caller->credential, now_utc_s, hash ? NULL : secret, err))
        return -1;
    return audit_note(change, caller, "organiser.add", audit_subject("organisers/%s", name).text,
                      hash ? "with a password" : "with a key", now_utc_s, err);
}

int organiser_remove(struct change *change, const struct caller *caller, const char *organiser,
                     double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct organiser_row *rows = NULL;
    size_t count = 0, called, others;
    int result = -1;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        count_called(db, organiser, &called, &others, err))
        return -1;
    if (called == 0)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no such organiser");
    if (others == 0)
        return err_set(err, ERR_LAST_ORGANISER, NULL,
                       "somebody must be left to organise; add another first");
    if (organiser_rows_list(db, &rows, &count, err))
        return -1;
    for (size_t i = 0; i < count; i++)
        if (is_called(&rows[i], organiser) &&
            (credential_rows_revoke_one(db, rows[i].credential, caller->credential, now_utc_s,
                                        err) ||
             credential_rows_end_sessions(db, rows[i].credential, "", err)))
            goto cleanup;
    result = audit_note(change, caller, "organiser.remove",
                        audit_subject("organisers/%s", organiser).text, NULL, now_utc_s, err);
cleanup:
    free(rows);
    return result;
}

int organiser_look_up(struct db *db, const struct caller *caller, const char *name, bool has_old,
                      struct password_change *out, struct err *err) {
    struct password_change work = {0};
    if (caller_may(caller, ROLE_ORGANISER, NULL, err))
        return -1;
    enum found found = organiser_rows_password(db, name, &work.credential, work.old_hash, err);
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, NULL, "no organiser logs in by that name");
    if (found == FOUND_FAILED)
        return -1;
    if (work.credential == caller->credential && !has_old)
        return err_set(err, ERR_MISSING_FIELD, "/old_password",
                       "to change your own password the old one is needed");
    *out = work;
    return 0;
}

int organiser_hash(struct password_change *work, const char *old_password, const char *password,
                   struct err *err) {
    if (old_password && !password_matches(work->old_hash, old_password))
        return err_set(err, ERR_WRONG_KEY, "/old_password", "the old password is another");
    return password_hash(password, work->new_hash, err);
}

int organiser_set_password(struct change *change, const struct caller *caller, const char *name,
                           const struct password_change *work, double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct password_change again = {0};
    if (organiser_look_up(db, caller, name, true, &again, err))
        return -1;
    if (again.credential != work->credential || strcmp(again.old_hash, work->old_hash) != 0)
        return err_set(err, ERR_WRONG_KEY, "/old_password",
                       "the password was changed in between; try again");
    return organiser_rows_set_password(db, work->credential, work->new_hash, caller->credential,
                                       now_utc_s, err) ||
                   credential_rows_end_sessions(db, work->credential, caller->session, err) ||
                   audit_note(change, caller, "organiser.set_password",
                              audit_subject("organisers/%s", name).text, NULL, now_utc_s, err)
               ? -1
               : 0;
}

int organiser_appoint(struct change *change, const char *name, const char *hash, double now_utc_s,
                      struct err *err) {
    struct db *db = change_db(change);
    int64_t credential = 0;
    char old_hash[ORGANISER_HASH_MAX];
    enum found found = organiser_rows_password(db, name, &credential, old_hash, err);
    if (found == FOUND_FAILED)
        return -1;
    if (found == FOUND_ONE ? organiser_rows_set_password(db, credential, hash, 0, now_utc_s, err) ||
                                 credential_rows_end_sessions(db, credential, "", err)
                           : add(change, name, hash, 0, now_utc_s, NULL, err))
        return -1;
    return audit_note(change, NULL, found == FOUND_ONE ? "organiser.set_password" : "organiser.add",
                      audit_subject("organisers/%s", name).text,
                      found == FOUND_ONE ? NULL : "with a password", now_utc_s, err);
}
