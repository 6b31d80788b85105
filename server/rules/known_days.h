/* SPDX-License-Identifier: MIT */
/* known_days: a day as it stands, remembered while nothing but runs moves: every run
 * asks for the same one. READ. */
#ifndef NOONARC_KNOWN_DAYS_H
#define NOONARC_KNOWN_DAYS_H

#include "server/rules/book.h"

struct known_days;

/* NULL when memory is short. */
struct known_days *known_days_new(void);
void known_days_free(struct known_days *known);

/* As lookup_day. The book keeps the days. */
int known_day(const struct book_view *view, const char *day, struct day_row *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
