/* SPDX-License-Identifier: MIT */
/* crew: a list, how far it was handed out, and how many are still at work on it. */
#include "server/rules/crew.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <unistd.h>

#define THREADS_MAX 16

struct crew {
    crew_work work;
    void *context;
    pthread_mutex_t lock;
    pthread_cond_t stir, done;
    void **thing;
    size_t count, next, undone;
    bool quitting;
    pthread_t thread[THREADS_MAX];
    int threads;
};

/* Works on what is left of the list; the lock is held before and after. */
static void work_off(struct crew *crew) {
    while (crew->next < crew->count) {
        void *thing = crew->thing[crew->next++];
        pthread_mutex_unlock(&crew->lock);
        crew->work(crew->context, thing);
        pthread_mutex_lock(&crew->lock);
        if (--crew->undone == 0)
            pthread_cond_signal(&crew->done);
    }
}

static void *run(void *argument) {
    struct crew *crew = argument;
    pthread_mutex_lock(&crew->lock);
    while (!crew->quitting) {
        work_off(crew);
        if (!crew->quitting)
            pthread_cond_wait(&crew->stir, &crew->lock);
    }
    pthread_mutex_unlock(&crew->lock);
    return NULL;
}

struct crew *crew_new(crew_work work, void *context) {
    struct crew *crew = calloc(1, sizeof *crew);
    if (!crew)
        return NULL;
    crew->work = work;
    crew->context = context;
    pthread_mutex_init(&crew->lock, NULL);
    pthread_cond_init(&crew->stir, NULL);
    pthread_cond_init(&crew->done, NULL);
    long processors = sysconf(_SC_NPROCESSORS_ONLN);
    while (crew->threads < processors && crew->threads < THREADS_MAX &&
           pthread_create(&crew->thread[crew->threads], NULL, run, crew) == 0)
        crew->threads++;
    return crew;
}

void crew_free(struct crew *crew) {
    if (!crew)
        return;
    pthread_mutex_lock(&crew->lock);
    crew->quitting = true;
    pthread_cond_broadcast(&crew->stir);
    pthread_mutex_unlock(&crew->lock);
    for (int i = 0; i < crew->threads; i++)
        pthread_join(crew->thread[i], NULL);
    pthread_cond_destroy(&crew->stir);
    pthread_cond_destroy(&crew->done);
    pthread_mutex_destroy(&crew->lock);
    free(crew);
}

void crew_begin(struct crew *crew, void **thing, size_t count) {
    pthread_mutex_lock(&crew->lock);
    crew->thing = thing;
    crew->count = crew->undone = count;
    crew->next = 0;
    pthread_cond_broadcast(&crew->stir);
    pthread_mutex_unlock(&crew->lock);
}

void crew_finish(struct crew *crew) {
    pthread_mutex_lock(&crew->lock);
    work_off(crew);
    while (crew->undone > 0)
        pthread_cond_wait(&crew->done, &crew->lock);
    pthread_mutex_unlock(&crew->lock);
}
