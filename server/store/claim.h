/* SPDX-License-Identifier: MIT */
/* claim: one process at a time has a store to itself. The claim lies beside the
 * store (STORE-lock), so that it outlives the exchange of the file itself, and
 * dies with the process however that ends; the file stays and means nothing. It
 * is held by whoever writes for long or changes the store's form: the server,
 * rebuild, migrations, restore. It keeps nobody from reading. */
#ifndef NOONARC_CLAIM_H
#define NOONARC_CLAIM_H

#include "server/base/err.h"

/* Caller-owned; {.file = -1} claims nothing. */
struct claim {
    int file;
};

/* Returns 0, or -1 with ERR_BUSY when another process has it (err says which and
 * what to do) or ERR_STORAGE when it cannot be had at all. The store itself need
 * not be there. */
int claim_take(const char *store, struct claim *claim, struct err *err)
    __attribute__((warn_unused_result));
void claim_release(struct claim *claim);

#endif
