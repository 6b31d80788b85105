/* SPDX-License-Identifier: MIT */
/* cautions: the usual ones for a class in the midday Sun. */
#include "client/cautions.h"

#include "client/screen.h"

static const char *const cautions[] = {
    CAUTION_SUN,
    "A tall pole needs guys, a clear fall zone and an adult beside it.",
    "Shade, water, sunscreen and hats: noon is the hottest hour to stand about.",
    "The school's own risk assessment and the local rules come first.",
};

void cautions_print(FILE *out) {
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        screen_item(out, '!', cautions[i]);
}
