/* SPDX-License-Identifier: MIT */
/* patience: a list of stays under a lock, and in each stay one atomic word, so
 * that a request that goes on takes no lock. The word is a time in milliseconds
 * doubled, odd where an answer is being sent; NO_END and GIVEN_UP are below any. */
#include "server/http/patience.h"

#include <pthread.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <sys/socket.h>

#include "server/api/problem.h"
#include "server/http/answer.h"
#include "server/http/clock.h"

#define NO_END 0LL
#define GIVEN_UP 1LL
#define SENDING 1LL
#define LOOK_MS 500
#define DISMISSED_MS 1000

struct patience {
    pthread_mutex_t lock;
    pthread_cond_t stop;
    pthread_t thread;
    bool stopping;
    long long head_ms, body_ms, haste_ms;
    long crowded; /* connections from which on haste is asked for */
    struct stay *first;
    long stays, given_up;
    struct text farewell; /* a whole answer */
};

static long long now_ms(void) {
    return clock_steady_us() / 1000;
}

static void give_up(struct patience *patience, struct stay *stay, bool asking) {
    /* A socket that takes no more at once has not been listening either. */
    if (asking && !stay->mute)
        (void)!send(stay->socket, patience->farewell.bytes, patience->farewell.length,
                    MSG_NOSIGNAL | MSG_DONTWAIT);
    shutdown(stay->socket, SHUT_RDWR);
    patience->given_up++;
}

static void look(struct patience *patience) {
    long long now = now_ms();
    long long haste = patience->stays >= patience->crowded ? patience->haste_ms : 0;
    for (struct stay *stay = patience->first; stay != NULL; stay = stay->next) {
        long long until = atomic_load(&stay->until);
        bool asking = (until & SENDING) == 0;
        if (until <= GIVEN_UP || until / 2 > now + (asking ? haste : 0))
            continue;
        /* Not when it has gone on in this very moment. */
        if (atomic_compare_exchange_strong(&stay->until, &until, GIVEN_UP))
            give_up(patience, stay, asking);
    }
}

static void *watch(void *argument) {
    struct patience *patience = argument;
    pthread_mutex_lock(&patience->lock);
    while (!patience->stopping) {
        struct timespec next;
        clock_gettime(CLOCK_MONOTONIC, &next);
        next.tv_nsec += LOOK_MS * 1000000L;
        next.tv_sec += next.tv_nsec / 1000000000L;
        next.tv_nsec %= 1000000000L;
        pthread_cond_timedwait(&patience->stop, &patience->lock, &next);
        look(patience);
    }
    pthread_mutex_unlock(&patience->lock);
    return NULL;
}

static void compose_farewell(struct text *out) {
    struct err err = {0};
    err_set(&err, ERR_TOO_SLOW, NULL, "the request took too long to arrive; send it again");
    answer_bare(&err, 1, out);
}

int patience_new(const struct listener_limits *limits, struct patience **out, struct err *err) {
    struct patience *patience = calloc(1, sizeof *patience);
    pthread_condattr_t steady;
    if (patience == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    patience->body_ms = limits->patience_s * 1000LL;
    patience->head_ms = patience->body_ms + limits->idle_s * 1000LL;
    if (limits->patience_s > LIMITS_HASTE_S)
        patience->haste_ms = (limits->patience_s - LIMITS_HASTE_S) * 1000LL;
    patience->crowded = limits->connections - limits->connections / 10;
    compose_farewell(&patience->farewell);
    pthread_mutex_init(&patience->lock, NULL);
    pthread_condattr_init(&steady);
    pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    pthread_cond_init(&patience->stop, &steady);
    pthread_condattr_destroy(&steady);
    if (pthread_create(&patience->thread, NULL, watch, patience) != 0) {
        pthread_cond_destroy(&patience->stop);
        pthread_mutex_destroy(&patience->lock);
        text_release(&patience->farewell);
        free(patience);
        return err_set(err, ERR_INTERNAL, NULL, "a thread could not be started");
    }
    *out = patience;
    return 0;
}

void patience_free(struct patience *patience) {
    if (patience == NULL)
        return;
    pthread_mutex_lock(&patience->lock);
    patience->stopping = true;
    pthread_cond_signal(&patience->stop);
    pthread_mutex_unlock(&patience->lock);
    pthread_join(patience->thread, NULL);
    pthread_cond_destroy(&patience->stop);
    pthread_mutex_destroy(&patience->lock);
    text_release(&patience->farewell);
    free(patience);
}

void patience_begin(struct patience *patience, struct stay *stay, int socket) {
    *stay = (struct stay){.socket = socket};
    atomic_init(&stay->until, 2 * (now_ms() + patience->head_ms));
    pthread_mutex_lock(&patience->lock);
    stay->next = patience->first;
    if (stay->next != NULL)
        stay->next->previous = stay;
    patience->first = stay;
    patience->stays++;
    pthread_mutex_unlock(&patience->lock);
}

void patience_end(struct patience *patience, struct stay *stay) {
    pthread_mutex_lock(&patience->lock);
    if (stay->previous != NULL)
        stay->previous->next = stay->next;
    else
        patience->first = stay->next;
    if (stay->next != NULL)
        stay->next->previous = stay->previous;
    patience->stays--;
    pthread_mutex_unlock(&patience->lock);
}

/* The new word, unless it was given up. */
static bool go_on(struct stay *stay, long long until) {
    long long before = atomic_load(&stay->until);
    while (before != GIVEN_UP && !atomic_compare_exchange_weak(&stay->until, &before, until))
        continue;
    return before != GIVEN_UP;
}

bool patience_head(struct patience *patience, struct stay *stay) {
    return go_on(stay, 2 * (now_ms() + patience->head_ms));
}

bool patience_body(struct patience *patience, struct stay *stay) {
    return go_on(stay, 2 * (now_ms() + patience->body_ms));
}

static long long time_of(size_t bytes) {
    return (long long)bytes * 1000 / LIMITS_BYTES_PER_S;
}

bool patience_came(struct stay *stay, size_t bytes) {
    return go_on(stay, atomic_load(&stay->until) + 2 * time_of(bytes));
}

bool patience_work(struct stay *stay) {
    return go_on(stay, NO_END);
}

bool patience_answer(struct patience *patience, struct stay *stay, size_t bytes) {
    return go_on(stay, (2 * (now_ms() + patience->body_ms + time_of(bytes))) | SENDING);
}

void patience_dismiss(struct patience *patience, struct stay *stay) {
    pthread_mutex_lock(&patience->lock);
    stay->mute = true;
    pthread_mutex_unlock(&patience->lock);
    go_on(stay, 2 * (now_ms() + DISMISSED_MS));
}

long patience_unread(struct patience *patience) {
    long unread = 0;
    pthread_mutex_lock(&patience->lock);
    for (const struct stay *stay = patience->first; stay != NULL; stay = stay->next) {
        int bytes = 0;
        unread += ioctl(stay->socket, FIONREAD, &bytes) == 0 && bytes > 0;
    }
    pthread_mutex_unlock(&patience->lock);
    return unread;
}

long patience_connections(struct patience *patience) {
    pthread_mutex_lock(&patience->lock);
    long stays = patience->stays;
    pthread_mutex_unlock(&patience->lock);
    return stays;
}

long patience_given_up(struct patience *patience) {
    pthread_mutex_lock(&patience->lock);
    long given_up = patience->given_up;
    pthread_mutex_unlock(&patience->lock);
    return given_up;
}
