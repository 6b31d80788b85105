/* SPDX-License-Identifier: MIT */
/* labourer: a queue and a thread. */
#include "server/rules/labourer.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>

struct labourer {
    pthread_mutex_t lock;
    pthread_cond_t more;
    struct errand *first, *last;
    int waiting;
    bool closing;
    pthread_t thread;
};

/* NULL when closing and nothing is left. */
static struct errand *take(struct labourer *labourer) {
    pthread_mutex_lock(&labourer->lock);
    while (!labourer->first && !labourer->closing)
        pthread_cond_wait(&labourer->more, &labourer->lock);
    struct errand *errand = labourer->first;
    if (errand) {
        labourer->first = errand->next;
        if (!labourer->first)
            labourer->last = NULL;
        labourer->waiting--;
    }
    pthread_mutex_unlock(&labourer->lock);
    return errand;
}

static void *run(void *argument) {
    struct labourer *labourer = argument;
    struct errand *errand;
    while ((errand = take(labourer)) != NULL)
        errand->work(errand->context); /* which may free the errand */
    return NULL;
}

int labourer_new(struct labourer **out, struct err *err) {
    struct labourer *labourer = calloc(1, sizeof *labourer);
    if (!labourer)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    pthread_mutex_init(&labourer->lock, NULL);
    pthread_cond_init(&labourer->more, NULL);
    if (pthread_create(&labourer->thread, NULL, run, labourer) != 0) {
        pthread_cond_destroy(&labourer->more);
        pthread_mutex_destroy(&labourer->lock);
        free(labourer);
        return err_set(err, ERR_INTERNAL, NULL, "the labourer could not be started");
    }
    *out = labourer;
    return 0;
}

void labourer_free(struct labourer *labourer) {
    if (!labourer)
        return;
    pthread_mutex_lock(&labourer->lock);
    labourer->closing = true;
    pthread_cond_signal(&labourer->more);
    pthread_mutex_unlock(&labourer->lock);
    pthread_join(labourer->thread, NULL);
    pthread_cond_destroy(&labourer->more);
    pthread_mutex_destroy(&labourer->lock);
    free(labourer);
}

int labourer_send(struct labourer *labourer, struct errand *errand, struct err *err) {
    errand->next = NULL;
    pthread_mutex_lock(&labourer->lock);
    bool full = labourer->waiting >= LABOURER_QUEUE_MAX || labourer->closing;
    if (!full) {
        if (labourer->last)
            labourer->last->next = errand;
        else
            labourer->first = errand;
        labourer->last = errand;
        labourer->waiting++;
        pthread_cond_signal(&labourer->more);
    }
    pthread_mutex_unlock(&labourer->lock);
    return full ? err_set(err, ERR_BUSY, NULL, "too many log in at once; try again soon") : 0;
}
