/* SPDX-License-Identifier: MIT */
#include "server/http/quota.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "server/http/bucket.h"
#include "server/rules/secret.h"

struct quota {
    struct bucket_table *address[2], *key[2]; /* reads, writes; NULL: no limit */
    struct bucket_table *labour;              /* by address; NULL: no limit */
};

static int open_table(int rate_per_s, struct bucket_table **out) {
    if (rate_per_s == 0)
        return 0;
    *out = bucket_table_new(rate_per_s, (double)rate_per_s * QUOTA_BURST_S);
    return *out == NULL ? -1 : 0;
}

/* A minute's worth may come at once. */
static int open_labour(int rate_per_min, struct bucket_table **out) {
    if (rate_per_min == 0)
        return 0;
    *out = bucket_table_new(rate_per_min / 60.0, rate_per_min);
    return *out == NULL ? -1 : 0;
}

struct quota *quota_new(const struct listener_limits *limits) {
    struct quota *quota = calloc(1, sizeof *quota);
    if (quota == NULL)
        return NULL;
    if (open_table(limits->address_reads, &quota->address[false]) != 0 ||
        open_table(limits->address_writes, &quota->address[true]) != 0 ||
        open_table(limits->key_reads, &quota->key[false]) != 0 ||
        open_table(limits->key_writes, &quota->key[true]) != 0 ||
        open_labour(limits->address_logins, &quota->labour) != 0) {
        quota_free(quota);
        return NULL;
    }
    return quota;
}

void quota_free(struct quota *quota) {
    if (quota == NULL)
        return;
    for (int write = 0; write < 2; write++) {
        bucket_table_free(quota->address[write]);
        bucket_table_free(quota->key[write]);
    }
    bucket_table_free(quota->labour);
    free(quota);
}

static int refuse(double wait_s, const char *what, const char *whose, int *retry_after_s,
                  struct err *err) {
    *retry_after_s = (int)fmax(1.0, ceil(wait_s));
    return err_set(err, ERR_TOO_MANY_REQUESTS, NULL,
                   "too many %s from this %s; go on in %d seconds, nothing was changed", what,
                   whose, *retry_after_s);
}

/* The secret a request comes with, NULL none. */
static const char *secret_of(const struct quota_request *request) {
    static const char scheme[] = "Bearer ";
    if (request->authorization == NULL)
        return request->session;
    bool bearer = strncasecmp(request->authorization, scheme, sizeof scheme - 1) == 0;
    return bearer ? request->authorization + sizeof scheme - 1 : NULL;
}

int quota_take(struct quota *quota, const struct quota_request *request, int64_t now_us,
               int *retry_after_s, struct err *err) {
    const char *what = request->write ? "writes" : "reads", *secret = secret_of(request);
    struct bucket_table *addresses = quota->address[request->write];
    struct bucket_table *keys = quota->key[request->write];
    char hash[HASH_HEX_MAX];
    if (addresses != NULL) {
        const struct address *address = request->address;
        double wait_s = bucket_take(addresses, address->bytes, sizeof address->bytes, now_us);
        if (wait_s > 0.0)
            return refuse(wait_s, what, "address", retry_after_s, err);
    }
    if (keys != NULL && secret != NULL && secret_hash(secret, hash)) {
        double wait_s = bucket_take(keys, hash, strlen(hash), now_us);
        if (wait_s > 0.0)
            return refuse(wait_s, what, "key", retry_after_s, err);
    }
    return 0;
}

int quota_take_labour(struct quota *quota, const struct address *address, int64_t now_us,
                      int *retry_after_s, struct err *err) {
    if (quota->labour == NULL)
        return 0;
    double wait_s = bucket_take(quota->labour, address->bytes, sizeof address->bytes, now_us);
    return wait_s > 0.0 ? refuse(wait_s, "passwords", "address", retry_after_s, err) : 0;
}
