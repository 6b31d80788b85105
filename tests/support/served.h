/* SPDX-License-Identifier: MIT */
/* served: the built noonarcd on a fresh store and a free loopback port, for
 * tests that speak HTTP to it. */
#ifndef NOONARC_SERVED_H
#define NOONARC_SERVED_H

#include <stdbool.h>
#include <sys/types.h>

struct served {
    pid_t pid;        /* 0: not running */
    char base[64];    /* http://127.0.0.1:PORT */
    char folder[256]; /* of the store; removed by served_release */
    char store[300];
    char organiser[64]; /* an organiser's key */
};

/* A new store with one organiser, and the server on it. Fails the test when
 * anything goes wrong, as do the others. */
void served_init(struct served *served);

/* Stops the server with SIGTERM and removes the store. */
void served_release(struct served *served);

/* Starts on the store that is there, on a new port. */
void served_start(struct served *served);

/* Sends a signal, waits for the end, and returns the exit status. */
int served_stop(struct served *served, int signal_number);

/* Runs noonarcd with one command and at most one operand (NULL none) on the
 * store; the first line of its standard output goes to line. Returns its exit
 * status. */
int served_command(const struct served *served, const char *command, const char *operand,
                   char *line, size_t size);

#endif
