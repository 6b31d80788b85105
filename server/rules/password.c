/* SPDX-License-Identifier: MIT */
#include "server/rules/password.h"

#include <sodium.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>

#define OPERATIONS crypto_pwhash_OPSLIMIT_INTERACTIVE
#define MEMORY_BYTES crypto_pwhash_MEMLIMIT_INTERACTIVE
_Static_assert(PASSWORD_HASH_MAX >= crypto_pwhash_STRBYTES, "libsodium's text fits");

static atomic_llong computations;

int password_acceptable(const char *name, const char *password, const char *field,
                        struct err *err) {
    if (strlen(password) < PASSWORD_MIN_BYTES)
        return err_set(err, ERR_OUT_OF_RANGE, field,
                       "a password has %d characters at least; a few words do well",
                       PASSWORD_MIN_BYTES);
    if (strcmp(name, password) == 0)
        return err_set(err, ERR_OUT_OF_RANGE, field, "the name itself is no password");
    return 0;
}

int password_hash(const char *password, char out[PASSWORD_HASH_MAX], struct err *err) {
    atomic_fetch_add(&computations, 1);
    if (crypto_pwhash_str(out, password, strlen(password), OPERATIONS, MEMORY_BYTES) != 0)
        return err_set(err, ERR_BUSY, NULL, "there is no memory for it now; try again soon");
    return 0;
}

bool password_matches(const char *hash, const char *password) {
    char nobody[PASSWORD_HASH_MAX];
    /* Salt and hash all zero bits, in the form and at the cost of all others. */
    snprintf(nobody, sizeof nobody, "$argon2id$v=19$m=%u,t=%u,p=1$%.22s$%.43s",
             (unsigned)(MEMORY_BYTES / 1024), (unsigned)OPERATIONS, "AAAAAAAAAAAAAAAAAAAAAA",
             "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA");
    atomic_fetch_add(&computations, 1);
    bool matches = crypto_pwhash_str_verify(hash ? hash : nobody, password, strlen(password)) == 0;
    return hash && matches;
}

int64_t password_computations(void) {
    return atomic_load(&computations);
}
