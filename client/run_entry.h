/* SPDX-License-Identifier: MIT */
/* run_entry: pieces of a run as people type them, checked against the same field
 * table as the server's bodies. Lengths are millimetres; "~" or "±" and a number
 * after a length is its standard uncertainty. Each returns 0, or -1 with place as
 * the error's field. */
#ifndef NOONARC_RUN_ENTRY_H
#define NOONARC_RUN_ENTRY_H

#include "server/base/err.h"
#include "server/wire/records.h"
#include "server/wire/tzif.h"

/* "2880+300" or "2880~1+300~0.5": the parts of a height, added. Leaves the edge. */
int run_entry_gnomon(const char *text, const char *place, struct gnomon *gnomon, struct err *err)
    __attribute__((warn_unused_result));

int run_entry_edge(const char *text, const char *place, struct gnomon *gnomon, struct err *err)
    __attribute__((warn_unused_result));

/* A shadow, "1780" or "1780~2". */
int run_entry_shadow(const char *text, const char *place, struct reading *reading, struct err *err)
    __attribute__((warn_unused_result));

/* RFC 3339 with an offset. */
int run_entry_instant(const char *text, const char *place, struct reading *reading, struct err *err)
    __attribute__((warn_unused_result));

/* "12:24", "12:24:10" on a date by the clocks of a zone (NULL: of this computer), or
 * "11:24:10Z" for UTC, or a whole RFC 3339 time. */
int run_entry_clock(const char *text, int32_t date, const struct tzif *clocks, const char *place,
                    struct reading *reading, struct err *err) __attribute__((warn_unused_result));

/* "TIME=SHADOW" with an RFC 3339 time. */
int run_entry_reading(const char *text, const char *place, struct reading *reading, struct err *err)
    __attribute__((warn_unused_result));

/* Adds a reading; ERR_OUT_OF_RANGE when the run is full, or the same instant is there. */
int run_entry_add(struct run *run, const struct reading *reading, const char *place,
                  struct err *err) __attribute__((warn_unused_result));

#endif
