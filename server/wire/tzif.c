/* SPDX-License-Identifier: MIT */
/* tzif: header, data block and footer of RFC 9636 section 3. From version 2 on
 * the block with 64-bit times is the one that counts; the first is passed over. */
#include "server/wire/tzif.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/zone.h"

#define MAGIC_BYTES 4
#define HEADER_BYTES 44
#define DAY_S 86400.0
#define KINDS_MAX 256
#define CHARACTERS_MAX 4096
#define AHEAD_MAX_S 93599 /* RFC 9636 section 3.2: utoff from -89999 to 93599 */
#define AHEAD_LEAST_S (-89999)
#define RULE_MAX 128

struct header {
    char version;
    size_t ut_marks, standard_marks, leaps, changes, kinds, characters;
};

static uint32_t word(const unsigned char *at) {
    return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

static int64_t signed_word(const unsigned char *at, size_t bytes) {
    uint64_t value = word(at);
    if (bytes == 8)
        return (int64_t)(value << 32 | word(at + 4));
    return (int32_t)(uint32_t)value;
}

static bool read_header(const unsigned char *bytes, size_t length, struct header *out) {
    if (length < HEADER_BYTES || memcmp(bytes, "TZif", MAGIC_BYTES) != 0)
        return false;
    *out = (struct header){.version = (char)bytes[4],
                           .ut_marks = word(bytes + 20),
                           .standard_marks = word(bytes + 24),
                           .leaps = word(bytes + 28),
                           .changes = word(bytes + 32),
                           .kinds = word(bytes + 36),
                           .characters = word(bytes + 40)};
    return out->changes <= TZIF_BYTES_MAX && out->leaps <= TZIF_BYTES_MAX && out->kinds >= 1 &&
           out->kinds <= KINDS_MAX && out->characters >= 1 && out->characters <= CHARACTERS_MAX &&
           out->ut_marks <= out->kinds && out->standard_marks <= out->kinds;
}

static size_t block_bytes(const struct header *header, size_t time_bytes) {
    return header->changes * (time_bytes + 1) + header->kinds * 6 + header->characters +
           header->leaps * (time_bytes + 4) + header->standard_marks + header->ut_marks;
}

static bool read_changes(const unsigned char *at, const struct header *header, size_t time_bytes,
                         struct tzif *out) {
    const unsigned char *kind = at + header->changes * time_bytes;
    for (size_t i = 0; i < header->changes; i++) {
        out->at_utc_s[i] = signed_word(at + i * time_bytes, time_bytes);
        out->kind[i] = kind[i];
        if (kind[i] >= header->kinds || (i > 0 && out->at_utc_s[i] <= out->at_utc_s[i - 1]))
            return false;
    }
    return true;
}

static bool read_kinds(const unsigned char *at, const struct header *header, struct tzif *out) {
    const unsigned char *names = at + header->kinds * 6;
    for (size_t i = 0; i < header->kinds; i++, at += 6) {
        struct zone_offset *offset = &out->offset[i];
        int64_t ahead_s = signed_word(at, 4);
        size_t begin = at[5];
        if (ahead_s < AHEAD_LEAST_S || ahead_s > AHEAD_MAX_S || at[4] > 1 ||
            begin >= header->characters)
            return false;
        const unsigned char *end = memchr(names + begin, '\0', header->characters - begin);
        if (end == NULL || (size_t)(end - (names + begin)) >= sizeof offset->abbreviation)
            return false;
        offset->ahead_s = (int32_t)ahead_s;
        offset->is_dst = at[4] == 1;
        memcpy(offset->abbreviation, names + begin, (size_t)(end - (names + begin)) + 1);
        for (const char *c = offset->abbreviation; *c != '\0'; c++)
            if (*c < '+' || *c > 'z')
                return false;
    }
    return true;
}

/* "\n", the rule or nothing, "\n". */
static bool read_footer(const unsigned char *at, size_t length, struct tzif *out) {
    char text[RULE_MAX];
    const unsigned char *end = length > 1 ? memchr(at + 1, '\n', length - 1) : NULL;
    if (end == NULL || at[0] != '\n' || (size_t)(end - at) > sizeof text)
        return false;
    size_t bytes = (size_t)(end - at) - 1;
    memcpy(text, at + 1, bytes);
    text[bytes] = '\0';
    out->has_rule = bytes > 0;
    return bytes == 0 || (strlen(text) == bytes && tz_rule_parse(text, &out->rule));
}

static bool read_file(const unsigned char *bytes, size_t length, struct tzif *out) {
    struct header header;
    size_t time_bytes = 4, at = HEADER_BYTES;
    if (!read_header(bytes, length, &header))
        return false;
    if (header.version >= '2') {
        at += block_bytes(&header, time_bytes);
        if (at > length || !read_header(bytes + at, length - at, &header))
            return false;
        at += HEADER_BYTES;
        time_bytes = 8;
    }
    size_t end = at + block_bytes(&header, time_bytes);
    if (end > length || header.leaps > 0)
        return false;
    out->at_utc_s = calloc(header.changes + 1, sizeof *out->at_utc_s);
    out->kind = calloc(header.changes + 1, sizeof *out->kind);
    out->offset = calloc(header.kinds, sizeof *out->offset);
    if (out->at_utc_s == NULL || out->kind == NULL || out->offset == NULL)
        return false;
    out->changes = header.changes;
    out->offsets = header.kinds;
    const unsigned char *block = bytes + at;
    return read_changes(block, &header, time_bytes, out) &&
           read_kinds(block + header.changes * (time_bytes + 1), &header, out) &&
           (time_bytes == 4 || read_footer(bytes + end, length - end, out));
}

int tzif_read(const unsigned char *bytes, size_t length, struct tzif *out, struct err *err) {
    *out = (struct tzif){0};
    if (length <= TZIF_BYTES_MAX && read_file(bytes, length, out))
        return 0;
    return err_set(err, ERR_UNKNOWN_ZONE, NULL, "the data of the time zone cannot be read");
}

int tzif_open(const char *directory, const char *name, struct tzif *out, struct err *err) {
    char path[512];
    *out = (struct tzif){0};
    if (!zone_name_is_valid(name))
        return err_set(err, ERR_UNKNOWN_ZONE, NULL, "\"%.63s\" is no name of a time zone", name);
    snprintf(path, sizeof path, "%s/%s", directory != NULL ? directory : ZONE_DIRECTORY, name);
    FILE *file = fopen(path, "re");
    if (file == NULL)
        return err_set(err, ERR_UNKNOWN_ZONE, NULL, "the time zone %s is not known here", name);
    unsigned char *bytes = malloc(TZIF_BYTES_MAX + 1);
    size_t length = bytes != NULL ? fread(bytes, 1, TZIF_BYTES_MAX + 1, file) : 0;
    fclose(file);
    int result = bytes != NULL ? tzif_read(bytes, length, out, err)
                               : err_set(err, ERR_INTERNAL, NULL, "out of memory");
    free(bytes);
    return result;
}

void tzif_release(struct tzif *zone) {
    free(zone->at_utc_s);
    free(zone->kind);
    free(zone->offset);
    *zone = (struct tzif){0};
}

void tzif_at(const struct tzif *zone, double t_utc_s, struct zone_offset *out) {
    int64_t second = (int64_t)floor(t_utc_s);
    size_t low = 0, high = zone->changes; /* the first change after the instant */
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (zone->at_utc_s[middle] <= second)
            low = middle + 1;
        else
            high = middle;
    }
    if (low == zone->changes && zone->has_rule)
        tz_rule_at(&zone->rule, second, out);
    else
        *out = zone->offset[low == 0 ? 0 : zone->kind[low - 1]];
}

double tzif_instant(const struct tzif *zone, int32_t day_number, double second_of_day_s) {
    double local_s = day_number * DAY_S + second_of_day_s;
    struct zone_offset before, after;
    tzif_at(zone, local_s - DAY_S, &before);
    tzif_at(zone, local_s + DAY_S, &after);
    double first_utc_s = local_s - before.ahead_s;
    struct zone_offset then;
    tzif_at(zone, first_utc_s, &then);
    if (then.ahead_s == before.ahead_s)
        return first_utc_s;
    double second_utc_s = local_s - after.ahead_s;
    tzif_at(zone, second_utc_s, &then);
    return then.ahead_s == after.ahead_s ? second_utc_s : first_utc_s;
}
