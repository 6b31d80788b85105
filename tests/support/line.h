/* SPDX-License-Identifier: MIT */
/* line: one kept connection to the service that may break at any moment, which
 * is no failure of the test but what it is about. May be used from any thread. */
#ifndef NOONARC_LINE_H
#define NOONARC_LINE_H

#include "server/base/text.h"

struct line {
    char base[64]; /* http://127.0.0.1:PORT */
    int socket;    /* -1: not connected */
};

void line_init(struct line *line, const char *base);
void line_close(struct line *line);

struct line_request {
    const char *method; /* NULL: POST */
    const char *path;
    const char *key;             /* of Authorization, NULL none */
    const char *idempotency_key; /* NULL none */
    const char *type;            /* of the body, NULL: application/json */
    const char *body;            /* NULL none */
};

/* Asks, connecting first where need be. The body of the answer replaces what is
 * in body. Returns the status, 0 when the connection broke or nobody listens. */
int line_ask(struct line *line, const struct line_request *request, struct text *body);

/* The halves of line_ask: 0 or -1; a status or 0. */
int line_send(struct line *line, const struct line_request *request);
int line_hear(struct line *line, struct text *body);

#endif
