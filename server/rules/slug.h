/* SPDX-License-Identifier: MIT */
/* slug: an identifier made from a name: "Colegio Ñandú, San Juan" -> "colegio-nandu-san-juan". */
#ifndef NOONARC_SLUG_H
#define NOONARC_SLUG_H

#include "server/wire/records.h"

/* Lower-case ASCII letters, digits and dashes. Letters of Latin-1 and Latin
 * Extended-A lose their marks, other signs become dashes, other scripts vanish;
 * "site" when nothing is left. try 1, 2, 3 ...: from 2 on the number is added. */
void slug_make(const char *name, int try, char out[ID_MAX + 1]);

#endif
