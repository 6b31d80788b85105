/* SPDX-License-Identifier: MIT */
/* cautions: what is said wherever someone is about to go out and measure. */
#ifndef NOONARC_CAUTIONS_H
#define NOONARC_CAUTIONS_H

#include <stdio.h>

#define CAUTION_SUN                                                                                \
    "Never look at the Sun, with or without an instrument: turn your back to it and watch the "    \
    "shadow."

/* All of them, a line each. */
void cautions_print(FILE *out);

#endif
