/* SPDX-License-Identifier: MIT */
/* steady: a few connections, each perhaps with a view under way. */
#include "server/rules/steady.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>

#include "server/rules/moved.h"

#define SIZE_MOST 16

struct steady {
    pthread_mutex_t lock;
    pthread_cond_t given;
    struct book *book;
    struct seat {
        struct db *db;
        uint64_t moment; /* of its view, while it is in a transaction */
        bool taken;
    } seat[SIZE_MOST];
    int size;
};

int steady_new(const char *path, int size, struct book *book, struct steady **out,
               struct err *err) {
    assert(size >= 1 && size <= SIZE_MOST);
    struct steady *steady = calloc(1, sizeof *steady);
    if (!steady)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    pthread_mutex_init(&steady->lock, NULL);
    pthread_cond_init(&steady->given, NULL);
    steady->book = book;
    for (; steady->size < size; steady->size++) {
        if (db_open(path, DB_READ, &steady->seat[steady->size].db, err)) {
            steady_free(steady);
            return -1;
        }
    }
    *out = steady;
    return 0;
}

void steady_free(struct steady *steady) {
    if (!steady)
        return;
    for (int i = 0; i < steady->size; i++) {
        assert(!steady->seat[i].taken);
        db_close(steady->seat[i].db);
    }
    pthread_cond_destroy(&steady->given);
    pthread_mutex_destroy(&steady->lock);
    free(steady);
}

static struct seat *free_seat(struct steady *steady) {
    for (int i = 0; i < steady->size; i++)
        if (!steady->seat[i].taken)
            return &steady->seat[i];
    return NULL;
}

static void end_view(struct seat *seat) {
    if (db_in_transaction(seat->db))
        db_rollback(seat->db); /* only ever read */
}

/* With the lock held. */
static void leave(struct steady *steady, struct seat *seat) {
    seat->taken = false;
    pthread_cond_broadcast(&steady->given);
}

/* On the seat's own thread. The moment is taken before the view begins: what moves in
 * between makes the view begin anew once more than needed. */
static int bring_up(struct steady *steady, struct seat *seat, struct err *err) {
    if (db_in_transaction(seat->db)) {
        if (!moved_since(book_moved(steady->book), seat->moment))
            return 0;
        end_view(seat);
    }
    seat->moment = book_moment(steady->book);
    return db_begin(seat->db, err);
}

int steady_take(struct steady *steady, struct book_view *out, struct err *err) {
    struct seat *seat;
    pthread_mutex_lock(&steady->lock);
    while ((seat = free_seat(steady)) == NULL)
        pthread_cond_wait(&steady->given, &steady->lock);
    seat->taken = true;
    pthread_mutex_unlock(&steady->lock);
    if (bring_up(steady, seat, err)) {
        pthread_mutex_lock(&steady->lock);
        leave(steady, seat);
        pthread_mutex_unlock(&steady->lock);
        return -1;
    }
    *out = (struct book_view){.book = steady->book, .db = seat->db, .moment = seat->moment};
    return 0;
}

void steady_give(struct steady *steady, const struct book_view *view) {
    pthread_mutex_lock(&steady->lock);
    for (int i = 0; i < steady->size; i++)
        if (steady->seat[i].db == view->db)
            leave(steady, &steady->seat[i]);
    pthread_mutex_unlock(&steady->lock);
}

void steady_let_go(struct steady *steady) {
    pthread_mutex_lock(&steady->lock);
    for (int i = 0; i < steady->size; i++) {
        while (steady->seat[i].taken)
            pthread_cond_wait(&steady->given, &steady->lock);
        end_view(&steady->seat[i]);
    }
    pthread_mutex_unlock(&steady->lock);
}
