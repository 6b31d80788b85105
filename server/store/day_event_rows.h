/* SPDX-License-Identifier: MIT */
/* day_event_rows: what happened to a day after it was opened. */
#ifndef NOONARC_DAY_EVENT_ROWS_H
#define NOONARC_DAY_EVENT_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

/* by: credential, 0 nobody. DAY_EVENT_OPEN is the day's own row and never added. */
int day_event_rows_add(struct db *db, int64_t day, const struct day_event_record *event, int64_t by,
                       struct err *err) __attribute__((warn_unused_result));

/* The opening and all that followed, in order. *out is to be freed. */
int day_event_rows_list(struct db *db, int64_t day, struct day_event_record **out, size_t *count,
                        struct err *err) __attribute__((warn_unused_result));

#endif
