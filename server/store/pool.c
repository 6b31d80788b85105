/* SPDX-License-Identifier: MIT */
/* pool: a stack of idle read connections behind one lock. */
#include "server/store/pool.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>

#define POOL_MAX 64

struct pool {
    pthread_mutex_t lock;
    pthread_cond_t given;
    struct db *idle[POOL_MAX];
    int idle_count, size;
};

int pool_new(const char *path, int size, struct pool **out, struct err *err) {
    assert(size >= 1 && size <= POOL_MAX);
    struct pool *pool = calloc(1, sizeof *pool);
    if (!pool)
        return err_set(err, ERR_STORAGE, NULL, "out of memory");
    pthread_mutex_init(&pool->lock, NULL);
    pthread_cond_init(&pool->given, NULL);
    for (; pool->size < size; pool->size++) {
        if (db_open(path, DB_READ, &pool->idle[pool->size], err)) {
            pool_free(pool);
            return -1;
        }
        pool->idle_count++;
    }
    *out = pool;
    return 0;
}

void pool_free(struct pool *pool) {
    if (!pool)
        return;
    assert(pool->idle_count == pool->size);
    for (int i = 0; i < pool->idle_count; i++)
        db_close(pool->idle[i]);
    pthread_cond_destroy(&pool->given);
    pthread_mutex_destroy(&pool->lock);
    free(pool);
}

static void put_back(struct pool *pool, struct db *db) {
    pthread_mutex_lock(&pool->lock);
    assert(pool->idle_count < pool->size);
    pool->idle[pool->idle_count++] = db;
    pthread_cond_signal(&pool->given);
    pthread_mutex_unlock(&pool->lock);
}

struct db *pool_take(struct pool *pool, struct err *err) {
    pthread_mutex_lock(&pool->lock);
    while (pool->idle_count == 0)
        pthread_cond_wait(&pool->given, &pool->lock);
    struct db *db = pool->idle[--pool->idle_count];
    pthread_mutex_unlock(&pool->lock);
    if (db_begin(db, err)) {
        put_back(pool, db);
        return NULL;
    }
    return db;
}

void pool_give(struct pool *pool, struct db *db) {
    db_rollback(db); /* only ever read: ends the view of one state */
    put_back(pool, db);
}
