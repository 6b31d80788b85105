/* SPDX-License-Identifier: MIT */
#include "server/rules/registration.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/registration_rows.h"
#include "server/store/site_rows.h"

static void hash_of_key(const struct registering *asked, char out[HASH_HEX_MAX]) {
    hash_bytes(asked->idempotency_key, strlen(asked->idempotency_key), out);
}

static int first_version(struct db *db, int64_t site, struct site_record *out, struct err *err) {
    struct site_history *version;
    size_t count;
    if (site_rows_versions(db, site, &version, &count, err))
        return -1;
    int result = count > 0 ? 0 : err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    if (count > 0)
        *out = version[0].record;
    free(version);
    return result;
}

int registration_answered(struct db *db, const struct registering *asked, bool *answered,
                          struct site_record *out, struct site_secrets *secrets, struct err *err) {
    struct registration_row row;
    char hash[HASH_HEX_MAX];
    *answered = false;
    if (asked->idempotency_key == NULL)
        return 0;
    hash_of_key(asked, hash);
    enum found found = registration_rows_find(db, hash, &row, err);
    if (found != FOUND_ONE)
        return found == FOUND_NONE ? 0 : -1;
    hash_bytes(asked->body, asked->body_length, hash);
    if (strcmp(hash, row.body_hash) != 0)
        return err_set(err, ERR_KEY_REUSED, "Idempotency-Key",
                       "that Idempotency-Key came with another body before; use a new key for "
                       "every new site");
    struct secret_seed seed = {.key = asked->idempotency_key};
    memcpy(seed.salt, row.salt, sizeof seed.salt);
    if (first_version(db, row.site, out, err))
        return -1;
    caller_secrets_of(&seed, row.registered_utc_s, secrets);
    *answered = true;
    return 0;
}

int registration_note(struct change *change, const struct registering *asked, int64_t site,
                      const struct secret_seed *seed, double now_utc_s, struct err *err) {
    struct registration_row row = {.site = site, .registered_utc_s = now_utc_s};
    hash_of_key(asked, row.key_hash);
    hash_bytes(asked->body, asked->body_length, row.body_hash);
    memcpy(row.salt, seed->salt, sizeof row.salt);
    return registration_rows_add(change_db(change), &row, err);
}
