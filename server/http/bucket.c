/* SPDX-License-Identifier: MIT */
/* bucket: rows of a few buckets; the hash of a name chooses the row, within it
 * any place will do. */
#include "server/http/bucket.h"

#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>

#define ROW 8u
#define ROWS (BUCKET_TABLE_SIZE / ROW)

struct bucket {
    uint64_t name; /* 0: never used */
    double tokens; /* at the time below */
    int64_t at_us;
};

struct bucket_table {
    pthread_mutex_t lock;
    unsigned char secret[crypto_shorthash_KEYBYTES];
    double rate_per_s, burst;
    struct bucket bucket[ROWS][ROW];
};

struct bucket_table *bucket_table_new(double rate_per_s, double burst) {
    struct bucket_table *table = calloc(1, sizeof *table);
    if (table == NULL)
        return NULL;
    pthread_mutex_init(&table->lock, NULL);
    crypto_shorthash_keygen(table->secret);
    table->rate_per_s = rate_per_s;
    table->burst = burst;
    return table;
}

void bucket_table_free(struct bucket_table *table) {
    if (table == NULL)
        return;
    pthread_mutex_destroy(&table->lock);
    free(table);
}

static double tokens_at(const struct bucket_table *table, const struct bucket *bucket,
                        int64_t now_us) {
    double tokens = bucket->tokens + (double)(now_us - bucket->at_us) * 1e-6 * table->rate_per_s;
    return bucket->name == 0 || tokens > table->burst ? table->burst : tokens;
}

/* The bucket of that name, or the one that is given up for it. */
static struct bucket *find(struct bucket_table *table, uint64_t name, int64_t now_us) {
    struct bucket *row = table->bucket[name % ROWS];
    struct bucket *fullest = row;
    for (size_t i = 0; i < ROW; i++) {
        if (row[i].name == name)
            return &row[i];
        if (tokens_at(table, &row[i], now_us) > tokens_at(table, fullest, now_us))
            fullest = &row[i];
    }
    *fullest = (struct bucket){.name = name, .tokens = table->burst, .at_us = now_us};
    return fullest;
}

double bucket_take(struct bucket_table *table, const void *name, size_t length, int64_t now_us) {
    uint64_t hash;
    double wait_s = 0.0;
    _Static_assert(sizeof hash == crypto_shorthash_BYTES, "the hash has 64 bits");
    crypto_shorthash((unsigned char *)&hash, name, length, table->secret);
    if (hash == 0)
        hash = 1;
    pthread_mutex_lock(&table->lock);
    struct bucket *bucket = find(table, hash, now_us);
    bucket->tokens = tokens_at(table, bucket, now_us);
    bucket->at_us = now_us;
    if (bucket->tokens >= 1.0)
        bucket->tokens -= 1.0;
    else
        wait_s = (1.0 - bucket->tokens) / table->rate_per_s;
    pthread_mutex_unlock(&table->lock);
    return wait_s;
}
