/* SPDX-License-Identifier: MIT */
/* load: a few classes that hand in a run and correct it again and again, each from
 * a thread of its own, as fast as the answers come, and that remember each
 * answer. When the connection breaks a class stops, and begins the next time with
 * the same run under the same key, as the client's outbox does. */
#ifndef NOONARC_LOAD_H
#define NOONARC_LOAD_H

#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>

#include "tests/support/line.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define LOAD_CLASSES 6
#define LOAD_VARIANTS 4 /* bodies of a class that differ */

struct handed {
    char *body;
    char *answer; /* NULL: not answered yet */
};

struct load_class {
    struct school school;
    char name[24], path[96];
    struct text variant[LOAD_VARIANTS];
    struct handed *handed; /* owned; the key is made from its number */
    size_t count;          /* of handed; only the last may be without an answer */
    long long run;         /* number of the newest run answered */
    int wrong;             /* a status that should not be, 0 none */
    uint64_t pause;        /* state of the chance that draws pauses */
    struct load *load;
    pthread_t thread;
};

struct load {
    char base[64];
    uint64_t seed;
    bool stop;        /* atomic */
    int pause_max_us; /* between an answer and the next run */
    struct load_class class[LOAD_CLASSES];
};

/* Opens a day and registers the classes on a server that runs. */
void load_init(struct load *load, const struct served *served, uint64_t seed);
void load_release(struct load *load);

/* Starts the threads. load_end ends them: with told at once, else when their
 * connections break. Fails the test when a class got an answer that it should not. */
void load_start(struct load *load, const struct served *served);
void load_end(struct load *load, bool told);

/* Answers so far, of all classes. */
size_t load_answered(const struct load *load);

/* Hands in again what was answered before, of each class from the from-th run on
 * (NULL: all), and fails the test unless the answers are the same bytes. */
void load_replay(struct load *load, const struct served *served, const size_t *from);

/* Fails the test unless the file is sound, by SQLite's own word, and holds the
 * runs answered and at most the one of each class that was under way. */
void load_assert_store(const struct load *load, const char *store);

#endif
