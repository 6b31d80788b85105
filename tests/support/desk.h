/* SPDX-License-Identifier: MIT */
/* desk: the built client run as a user would, from a home of its own with empty
 * configuration and state directories. */
#ifndef NOONARC_DESK_H
#define NOONARC_DESK_H

#include <jansson.h>
#include <sys/types.h>

struct desk {
    char home[256];
    char server[128]; /* NOONARC_SERVER; "" not set */
    char key[128];    /* NOONARC_KEY; "" not set */
    char zone[64];    /* TZ */
    int files;        /* made by desk_file */
};

/* Everything below fails the test when the desk itself fails. */
void desk_init(struct desk *desk);
void desk_release(struct desk *desk);

/* Writes a file at the desk; its path stays valid for a dozen runs. */
const char *desk_file(struct desk *desk, const char *content);

/* A path below the desk's home, likewise. */
const char *desk_path(struct desk *desk, const char *name);

struct outcome {
    int code;     /* exit status; 128 + signal */
    char *out;    /* standard output, owned */
    char *err;    /* standard error, owned */
    json_t *json; /* standard output parsed, NULL when it is not one JSON document */
};

/* Runs the client with input on standard input ("" none) and the words, the last
 * of them NULL. The outcome is to be released. */
void desk_run(struct desk *desk, const char *input, struct outcome *outcome, ...)
    __attribute__((sentinel));
void desk_run_words(struct desk *desk, const char *input, struct outcome *outcome,
                    const char *const *words);
void outcome_release(struct outcome *outcome);

/* Starts the client and leaves it running; its standard output is thrown away. */
pid_t desk_start(struct desk *desk, const char *const *words);

/* Runs the client and kills it with SIGKILL as it is about to make the system call
 * of this number (from 0 on, those of its start included). Returns the calls it made:
 * call where it was killed, fewer where it ended by itself before. */
long desk_kill_at(struct desk *desk, const char *const *words, long call);

/* The value at a "/"-separated path of keys and indices; NULL when there is none. */
const json_t *outcome_at(const struct outcome *outcome, const char *path);
double outcome_number(const struct outcome *outcome, const char *path);
const char *outcome_text(const struct outcome *outcome, const char *path);

/* Fails the test unless |value - expected| <= tolerance (cmocka's own compares floats). */
void outcome_assert_near(const char *what, double value, double expected, double tolerance);

/* Fails the test, with all that was printed, unless the exit status is this. */
void outcome_assert_code(const struct outcome *outcome, int code);

#endif
