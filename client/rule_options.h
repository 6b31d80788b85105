/* SPDX-License-Identifier: MIT */
/* rule_options: which pairs count: the same options for a day that is opened and
 * for spreadsheets that are worked out here. Rows for a command's option table. */
#ifndef NOONARC_RULE_OPTIONS_H
#define NOONARC_RULE_OPTIONS_H

#include "client/options.h"

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

#endif
