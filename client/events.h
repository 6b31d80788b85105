/* SPDX-License-Identifier: MIT */
/* events: server-sent events out of a stream of bytes (HTML standard, section 9.2.6,
 * "Interpreting an event stream"), whatever pieces they come in. Data of more lines are
 * joined; what is too long is cut. */
#ifndef NOONARC_EVENTS_H
#define NOONARC_EVENTS_H

#include <stdbool.h>
#include <stddef.h>

#define EVENTS_LINE_MAX 8192
#define EVENTS_NAME_MAX 32
#define EVENTS_ID_MAX 64

struct events {
    char line[EVENTS_LINE_MAX]; /* so far */
    size_t length;
    bool after_cr; /* a line feed now belongs to the line end before */
    char name[EVENTS_NAME_MAX];
    char data[EVENTS_LINE_MAX];
    size_t data_length;
    bool has_data;
    char id[EVENTS_ID_MAX]; /* of the last event; kept from one stream to the next */
    long retry_ms;          /* when to come back, 0: not told */
};

/* An event that is whole. Returns false to hear no more. */
typedef bool (*events_hear)(void *context, const char *name, const char *data);

/* A new stream: what was begun is forgotten; id and retry_ms are kept. */
void events_begin(struct events *events);

/* False when hear returned so. */
bool events_take(struct events *events, const char *bytes, size_t length, events_hear hear,
                 void *context);

#endif
