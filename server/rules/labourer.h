/* SPDX-License-Identifier: MIT */
/* labourer: the one thread for work that is slow and touches no store: passwords.
 * One at a time, so that however many ask at once it takes one processor and the
 * memory of one; the threads that answer requests and the writer never wait for it. */
#ifndef NOONARC_LABOURER_H
#define NOONARC_LABOURER_H

#include "server/base/err.h"

#define LABOURER_QUEUE_MAX 32 /* some seconds' worth */

struct labourer;

/* The caller keeps it alive until work is called, on the labourer's thread. */
struct errand {
    void (*work)(void *context);
    void *context;
    struct errand *next; /* the labourer's */
};

int labourer_new(struct labourer **out, struct err *err) __attribute__((warn_unused_result));

/* Works off what has queued and ends the thread. NULL is fine. */
void labourer_free(struct labourer *labourer);

/* ERR_BUSY, and work will not be called, when LABOURER_QUEUE_MAX are waiting. */
int labourer_send(struct labourer *labourer, struct errand *errand, struct err *err)
    __attribute__((warn_unused_result));

#endif
