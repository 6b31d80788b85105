/* SPDX-License-Identifier: MIT */
/* raw: a TCP connection to the served service on which a test says what no HTTP
 * library would, as slowly as it likes, from any loopback address. */
#ifndef NOONARC_RAW_H
#define NOONARC_RAW_H

#include <stdbool.h>
#include <stddef.h>

/* A connection to base (http://127.0.0.1:PORT) from an address of 127/8. Fails
 * the test when there is none to be had, as raw_say does when it cannot send. */
int raw_dial(const char *base, const char *from);

void raw_say(int socket_of, const char *words);

/* The same, but false where the other end is gone. */
bool raw_try(int socket_of, const char *words);

/* Reads to the end of the connection, patience_ms at most for each piece; returns
 * the status of the (first) answer, 0 when it was closed without one, -1 when
 * nothing came in time. */
int raw_hear(int socket_of, int patience_ms, char *answer, size_t size);

/* Lets this process have so many files open. */
void raw_allow_files(size_t count);

#endif
