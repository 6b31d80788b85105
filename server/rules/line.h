/* SPDX-License-Identifier: MIT */
/* line: the line behind a day's circumference, point by point: where on the meridian
 * each site lies, what it measured, and how far that lies from the line of all
 * (combine.h). Whoever plots noon angle against distance plots these. READ. */
#ifndef NOONARC_RULES_LINE_H
#define NOONARC_RULES_LINE_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/store/db.h"
#include "server/wire/records.h"

/* The day's points by noon and site. Noons count from 1, in the order of time. *out is
 * to be freed with free(). ERR_NOT_FOUND for a day that is not there. */
int line_points(struct db *db, const char *day, struct line_record **out, size_t *count,
                struct err *err) __attribute__((warn_unused_result));

#endif
