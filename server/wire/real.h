/* SPDX-License-Identifier: MIT */
/* real: a double as text with the fewest digits that give the same double again. */
#ifndef NOONARC_REAL_H
#define NOONARC_REAL_H

#include <stddef.h>

#define REAL_TEXT 32

/* The fewest of 15, 16, 17 significant digits, correctly rounded, that read back as
 * value; written as printf's %g writes them. value is finite, out >= REAL_TEXT bytes.
 * Returns the length. */
size_t real_format(double value, char *out, size_t size);

#endif
