/* SPDX-License-Identifier: MIT */
/* rule_options: which pairs count, and what is made of clocks: the same options for a
 * day that is opened and for readings that are worked out here. Rows for a command's
 * option table. */
#ifndef NOONARC_RULE_OPTIONS_H
#define NOONARC_RULE_OPTIONS_H

#include "client/options.h"
#include "server/wire/records.h"

#define RULE_OPTION_ROWS                                                                           \
    {.name = "tolerance",                                                                          \
     .kind = OPTION_NUMBER,                                                                        \
     .value = "DEG",                                                                               \
     .min = 0.01,                                                                                  \
     .max = 15,                                                                                    \
     .help = "how far apart in longitude two sites may lie to make a pair (else 1)"},              \
        {.name = "min-separation",                                                                 \
         .kind = OPTION_NUMBER,                                                                    \
         .value = "KM",                                                                            \
         .min = 1,                                                                                 \
         .max = 5000,                                                                              \
         .help = "how far apart north and south they must lie (else 100)"},                        \
    {                                                                                              \
        .name = "max-sigma", .kind = OPTION_NUMBER, .value = "KM", .min = 10, .max = 20000,        \
        .help = "pairs less sure of the circumference than this do not count (else no limit)"      \
    }

#define CLOCK_RULE_OPTION_ROWS                                                                     \
    {.name = "clock-bound",                                                                        \
     .kind = OPTION_NUMBER,                                                                        \
     .value = "S",                                                                                 \
     .min = 0.1,                                                                                   \
     .max = 86400,                                                                                 \
     .help = "a measured clock farther off than this is flagged (else 15)"},                       \
    {                                                                                              \
        .name = "clock-correct", .kind = OPTION_FLAG,                                              \
        .help = "correct the times of a run whose clock is farther off, and say so"                \
    }

static inline void rule_options_clock(const struct arguments *args, struct day_record *day) {
    day->clock_bound_s = arguments_number(args, "clock-bound", day->clock_bound_s);
    day->clock_correct = arguments_given(args, "clock-correct");
}

#endif
