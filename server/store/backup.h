/* SPDX-License-Identifier: MIT */
/* backup: a store copied into one file while it is in use, and a store brought
 * back from such a file. Nothing counts before it is verified and on the disk;
 * until then it has another name. For stores that are files. */
#ifndef NOONARC_BACKUP_H
#define NOONARC_BACKUP_H

#include <stdbool.h>

#include "server/base/err.h"
#include "server/store/hash.h"
#include "server/store/migrate.h"

/* Copies the store into file, which must not exist: every change committed before
 * the call is in it. Verified: pages, references, migrations. checksum: BLAKE2b-256
 * of the file. Returns 0, or -1 with ERR_STORAGE and no file. */
int backup_make(const char *store, const char *file, char checksum[HASH_HEX_MAX], struct err *err)
    __attribute__((warn_unused_result));

/* A copy for a look on the side, unverified, beside the store; out has its name, for
 * backup_aside_drop. */
int backup_aside(const char *store, char *out, size_t size, struct err *err)
    __attribute__((warn_unused_result));

void backup_aside_drop(const char *copy);

/* Makes the store anew from file, after the same verification and with migrations
 * that it lacks applied. A store that is there is refused, or with replace set
 * aside as STORE.old, which must not exist yet. The caller has the claim of the
 * store. At every moment either the old store or the new one is whole under its
 * name or the old one as STORE.old. checksum: of file. */
int backup_restore(const char *file, const char *store, bool replace, double now_utc_s,
                   char checksum[HASH_HEX_MAX], struct err *err)
    __attribute__((warn_unused_result));

#endif
