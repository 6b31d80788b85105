/* SPDX-License-Identifier: MIT */
/* secret: making keys and codes, and the form in which they are recognised.
 * Letters are Crockford's base 32 (no I, L, O, U). */
#ifndef NOONARC_SECRET_H
#define NOONARC_SECRET_H

#include <stdbool.h>

#include "server/rules/caller.h"
#include "server/store/hash.h"

/* A key of 26 letters, 130 bits. */
void secret_make_key(char out[SECRET_MAX]);

/* A code of 10 letters, 50 bits, as XXXXX-XXXXX: short enough to be read aloud. */
void secret_make_code(char out[SECRET_MAX]);

/* What the secrets of a registration are made from, so that they can be made again when
 * the same request comes again: the Idempotency-Key that only the caller has, as long as
 * a secret and never kept, and a salt that only this service has. Made from both by
 * BLAKE2b, a secret tells neither. */
struct secret_seed {
    const char *key;
    char salt[HASH_HEX_MAX];
};
#define SECRET_SEED_KEY_MIN 20 /* characters */
void secret_make_salt(char out[HASH_HEX_MAX]);

void secret_key_of(const struct secret_seed *seed, char out[SECRET_MAX]);
void secret_code_of(const struct secret_seed *seed, char out[SECRET_MAX]);

/* The hash under which a secret is kept: of its letters in upper case, without
 * dashes and blanks, I and L as 1, O as 0. False for what cannot be a secret. */
bool secret_hash(const char *secret, char out[HASH_HEX_MAX]);

#endif
