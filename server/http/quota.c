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
};

static int open_table(int rate_per_s, struct bucket_table **out) {
    if (rate_per_s == 0)
        return 0;
    *out = bucket_table_new(rate_per_s, (double)rate_per_s * QUOTA_BURST_S);
    return *out == NULL ? -1 : 0;
}

struct quota *quota_new(const struct listener_limits *limits) {
    struct quota *quota = calloc(1, sizeof *quota);
    if (quota == NULL)
        return NULL;
    if (open_table(limits->address_reads, &quota->address[false]) != 0 ||
        open_table(limits->address_writes, &quota->address[true]) != 0 ||
        open_table(limits->key_reads, &quota->key[false]) != 0 ||
        open_table(limits->key_writes, &quota->key[true]) != 0) {
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
    free(quota);
}

static int refuse(double wait_s, const char *whose, bool write, int *retry_after_s,
                  struct err *err) {
    *retry_after_s = (int)fmax(1.0, ceil(wait_s));
    return err_set(err, ERR_TOO_MANY_REQUESTS, NULL,
                   "too many %s from this %s; go on in %d seconds, nothing was changed",
                   write ? "writes" : "reads", whose, *retry_after_s);
}

int quota_take(struct quota *quota, const struct quota_request *request, int64_t now_us,
               int *retry_after_s, struct err *err) {
    static const char scheme[] = "Bearer ";
    struct bucket_table *addresses = quota->address[request->write];
    struct bucket_table *keys = quota->key[request->write];
    char hash[HASH_HEX_MAX];
    if (addresses != NULL) {
        const struct address *address = request->address;
        double wait_s = bucket_take(addresses, address->bytes, sizeof address->bytes, now_us);
        if (wait_s > 0.0)
            return refuse(wait_s, "address", request->write, retry_after_s, err);
    }
    if (keys != NULL && request->authorization != NULL &&
        strncasecmp(request->authorization, scheme, sizeof scheme - 1) == 0 &&
        secret_hash(request->authorization + sizeof scheme - 1, hash)) {
        double wait_s = bucket_take(keys, hash, strlen(hash), now_us);
        if (wait_s > 0.0)
            return refuse(wait_s, "key", request->write, retry_after_s, err);
    }
    return 0;
}
