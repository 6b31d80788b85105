/* SPDX-License-Identifier: MIT */
/* personal: does a text that will be public look as if it held somebody's address? It
 * finds mail addresses and telephone numbers; it cannot find names. A hint for whoever
 * typed it, never a refusal: it may be mistaken. */
#ifndef NOONARC_PERSONAL_H
#define NOONARC_PERSONAL_H

#include "server/wire/warning.h"

enum personal { PERSONAL_NONE, PERSONAL_MAIL, PERSONAL_TELEPHONE };

/* The first of the two kinds that the text seems to hold. Mail: as in RFC 5321 without
 * quotes, with a dot in the domain. Telephone: 7 to 15 digits (ITU-T E.164) in groups,
 * but no date, and no decimal number unless it begins as numbers for dialling do. */
enum personal personal_find(const char *text);

/* Adds WARNING_PERSONAL when it finds one. field: JSON pointer. */
void personal_warn(const char *field, const char *text, struct warnings *warnings);

#endif
