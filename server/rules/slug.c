/* SPDX-License-Identifier: MIT */
/* slug: one table of base letters for U+00C0 to U+017F. */
#include "server/rules/slug.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* Base letters, one sign a code point; '-' has none. Ligatures keep their first letter. */
static const char base_of_c0[] = "aaaaaaaceeeeiiiidnooooo-ouuuuyts" /* U+00C0 */
                                 "aaaaaaaceeeeiiiidnooooo-ouuuuyty" /* U+00E0 */
                                 "aaaaaaccccccccddddeeeeeeeeeegggg" /* U+0100 */
                                 "gggghhhhiiiiiiiiiiiijjkkklllllll" /* U+0120 */
                                 "lllnnnnnnnnnoooooooorrrrrrssssss" /* U+0140 */
                                 "ssttttttuuuuuuuuuuuuwwyyyzzzzzzs" /* U+0160 */;
_Static_assert(sizeof base_of_c0 == 0x180 - 0xC0 + 1, "one sign a code point");

/* The next code point of checked UTF-8. */
static unsigned next_point(const char **text) {
    const unsigned char *t = (const unsigned char *)*text;
    unsigned point = *t++;
    int more = point >= 0xF0 ? 3 : point >= 0xE0 ? 2 : point >= 0xC0 ? 1 : 0;
    if (more)
        point &= 0x3Fu >> more;
    while (more-- > 0 && (*t & 0xC0) == 0x80)
        point = point << 6 | (*t++ & 0x3Fu);
    *text = (const char *)t;
    return point;
}

static char letter_of(unsigned point) {
    if ((point >= 'a' && point <= 'z') || (point >= '0' && point <= '9'))
        return (char)point;
    if (point >= 'A' && point <= 'Z')
        return (char)(point - 'A' + 'a');
    if (point >= 0xC0 && point < 0x180)
        return base_of_c0[point - 0xC0];
    return point < 0x80 ? '-' : '\0';
}

void slug_make(const char *name, int try, char out[ID_MAX + 1]) {
    char suffix[16] = "";
    if (try > 1)
        snprintf(suffix, sizeof suffix, "-%d", try);
    const size_t room = ID_MAX - strlen(suffix);
    size_t length = 0;
    while (*name && length < room) {
        char letter = letter_of(next_point(&name));
        bool dash_again = letter == '-' && (length == 0 || out[length - 1] == '-');
        if (letter && !dash_again)
            out[length++] = letter;
    }
    while (length > 0 && out[length - 1] == '-')
        length--;
    out[length] = '\0';
    if (length == 0)
        length = (size_t)snprintf(out, ID_MAX + 1, "site");
    snprintf(out + length, ID_MAX + 1 - length, "%s", suffix);
}
