/* SPDX-License-Identifier: MIT */
/* registration: a registration whose answer was lost comes again, under the same
 * Idempotency-Key, and is answered again: the site as it was registered, with the very
 * secrets. Neither is kept: the secrets are made again (secret.h), the record is the
 * site's first version. So the key is worth the school's secrets to whoever has it, and
 * it is asked to be as long as one. */
#ifndef NOONARC_REGISTRATION_H
#define NOONARC_REGISTRATION_H

#include <stdbool.h>

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/secret.h"
#include "server/wire/records.h"

/* How a registration came in. */
struct registering {
    const char *idempotency_key; /* NULL: none, nothing is answered again */
    const char *body;
    size_t body_length;
};

/* READ. Whether it was answered before; then the answer. ERR_KEY_REUSED for another body
 * under the same key. */
int registration_answered(struct db *db, const struct registering *asked, bool *answered,
                          struct site_record *out, struct site_secrets *secrets, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE. Notes that a site was registered so, its secrets made from seed. */
int registration_note(struct change *change, const struct registering *asked, int64_t site,
                      const struct secret_seed *seed, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

#endif
