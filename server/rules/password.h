/* SPDX-License-Identifier: MIT */
/* password: Argon2id (RFC 9106) by libsodium, at its interactive cost: 64 MiB, two
 * passes, some tens of milliseconds. The functions that compute are slow on purpose:
 * they belong on the labourer's thread (labourer.h), never on the writer's nor on one
 * that answers requests. */
#ifndef NOONARC_PASSWORD_H
#define NOONARC_PASSWORD_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/err.h"

#define PASSWORD_MIN_BYTES 12
#define PASSWORD_HASH_MAX 128 /* text with its NUL: salt, cost and hash */

/* Whether it may become a password: long enough, and not the name itself. Refuses
 * with ERR_OUT_OF_RANGE and never repeats it. field: of the error. */
int password_acceptable(const char *name, const char *password, const char *field, struct err *err)
    __attribute__((warn_unused_result));

/* SLOW. A new hash under a random salt. ERR_BUSY when there is no memory for it. */
int password_hash(const char *password, char out[PASSWORD_HASH_MAX], struct err *err)
    __attribute__((warn_unused_result));

/* SLOW. Whether password made hash. hash NULL: the name is unknown; then the same is
 * computed against a hash that nothing makes, so that the time tells nothing. */
bool password_matches(const char *hash, const char *password);

/* How often either was computed since the start. */
int64_t password_computations(void);

#endif
