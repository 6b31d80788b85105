/* SPDX-License-Identifier: MIT */
/* clock: the clocks of the HTTP edge: one that people read and that may be set, one that
 * only runs forward, for limits and durations, and the work of a thread. */
#ifndef NOONARC_CLOCK_H
#define NOONARC_CLOCK_H

#include <stdint.h>
#include <time.h>

/* Seconds since 1970-01-01T00:00:00Z. */
static inline double clock_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* Microseconds since some moment before the start; never steps back. */
static inline int64_t clock_steady_us(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

/* Microseconds of a processor that the calling thread has had. */
static inline int64_t clock_thread_us(void) {
    struct timespec had;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &had);
    return (int64_t)had.tv_sec * 1000000 + had.tv_nsec / 1000;
}

#endif
