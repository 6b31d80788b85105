/* SPDX-License-Identifier: MIT */
/* quota: how many requests a second an address and a key may make, reads and
 * writes apart. Each may save up QUOTA_BURST_S seconds' worth, so that a class
 * that starts together is let in together. A key is known by its hash, the same
 * however it was typed; one that cannot be a key has no bucket of its own. */
#ifndef NOONARC_QUOTA_H
#define NOONARC_QUOTA_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/http/address.h"
#include "server/http/limits.h"

#define QUOTA_BURST_S 10

struct quota;

/* Requests a second as the limits have them, 0: as many as come. NULL when
 * memory is short. */
struct quota *quota_new(const struct listener_limits *limits);
void quota_free(struct quota *quota);

struct quota_request {
    const struct address *address;
    const char *authorization; /* the header, NULL none */
    const char *session;       /* the cookie's token, NULL none */
    bool write;
};

/* Counts a request. Returns -1 with ERR_TOO_MANY_REQUESTS, and in
 * *retry_after_s the whole seconds after which there is room again, 1 and up. */
int quota_take(struct quota *quota, const struct quota_request *request, int64_t now_us,
               int *retry_after_s, struct err *err) __attribute__((warn_unused_result));

/* Counts a password to be looked at, which an address may ask for a few times a
 * minute. Otherwise the same. */
int quota_take_labour(struct quota *quota, const struct address *address, int64_t now_us,
                      int *retry_after_s, struct err *err) __attribute__((warn_unused_result));

#endif
