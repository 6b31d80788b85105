/* SPDX-License-Identifier: MIT */
/* zone: the tables of the tz database (tab-separated: countries, ISO 6709
 * position, name, comment) and the compiled zone files beside them. */
#include "server/wire/zone.h"

#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LINE_MAX_BYTES 512

bool zone_name_is_valid(const char *name) {
    if (name[0] < 'A' || name[0] > 'Z')
        return false;
    char before = '/';
    size_t length = 0;
    for (; name[length] != '\0'; length++) {
        char c = name[length];
        bool word = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
                    c == '_' || c == '+' || c == '-';
        if (length >= sizeof((struct zone_place *)NULL)->name - 1 ||
            !(word || (c == '/' && before != '/')))
            return false;
        before = c;
    }
    return before != '/';
}

/* Degrees of ±DDMM, ±DDDMM, ±DDMMSS or ±DDDMMSS; digits of the degrees given. */
static bool parse_angle(const char *text, size_t length, size_t degree_digits, double *deg) {
    size_t digits = length - 1;
    if (length < 1 || (text[0] != '+' && text[0] != '-') ||
        (digits != degree_digits + 2 && digits != degree_digits + 4))
        return false;
    double part[3] = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < digits; i++) {
        char c = text[1 + i];
        if (c < '0' || c > '9')
            return false;
        double *into = &part[i < degree_digits ? 0 : 1 + (i - degree_digits) / 2];
        *into = *into * 10.0 + (c - '0');
    }
    double size = part[0] + part[1] / 60.0 + part[2] / 3600.0;
    *deg = text[0] == '-' ? -size : size;
    return true;
}

static bool parse_line(const char *line, struct zone_place *place) {
    if (line[0] == '#')
        return false;
    const char *position = strchr(line, '\t');
    if (position == NULL)
        return false;
    position++;
    const char *name = strchr(position, '\t');
    if (name == NULL || name == position)
        return false;
    size_t latitude_length = 1 + strcspn(position + 1, "+-");
    if (position + latitude_length >= name)
        return false;
    const char *longitude = position + latitude_length;
    size_t longitude_length = (size_t)(name - longitude);
    name++;
    size_t name_length = strcspn(name, "\t\n\r");
    if (name_length >= sizeof place->name)
        return false;
    memcpy(place->name, name, name_length);
    place->name[name_length] = '\0';
    return zone_name_is_valid(place->name) &&
           parse_angle(position, latitude_length, 2, &place->lat_deg) &&
           parse_angle(longitude, longitude_length, 3, &place->lon_deg);
}

static void read_table(struct zones *zones, const char *file_name, size_t *capacity) {
    char path[512], line[LINE_MAX_BYTES];
    snprintf(path, sizeof path, "%s/%s", zones->directory, file_name);
    FILE *file = fopen(path, "re");
    if (file == NULL)
        return;
    struct zone_place place;
    while (fgets(line, sizeof line, file) != NULL) {
        if (!parse_line(line, &place))
            continue;
        if (zones->places == *capacity) {
            size_t wanted = *capacity == 0 ? 512 : *capacity * 2;
            struct zone_place *grown = realloc(zones->place, wanted * sizeof *grown);
            if (grown == NULL)
                break;
            zones->place = grown;
            *capacity = wanted;
        }
        zones->place[zones->places++] = place;
    }
    fclose(file);
}

static int compare_places(const void *one, const void *two) {
    return strcmp(((const struct zone_place *)one)->name, ((const struct zone_place *)two)->name);
}

void zones_init(struct zones *zones, const char *directory) {
    *zones = (struct zones){.directory = directory != NULL ? directory : ZONE_DIRECTORY};
    size_t capacity = 0;
    /* zone.tab adds the names that zone1970.tab merged; where both name a zone they agree */
    read_table(zones, "zone1970.tab", &capacity);
    read_table(zones, "zone.tab", &capacity);
    if (zones->places > 0)
        qsort(zones->place, zones->places, sizeof zones->place[0], compare_places);
}

void zones_release(struct zones *zones) {
    free(zones->place);
    *zones = (struct zones){.directory = zones->directory};
}

bool zones_has(const struct zones *zones, const char *name) {
    if (!zone_name_is_valid(name))
        return false;
    char path[512], magic[4];
    snprintf(path, sizeof path, "%s/%s", zones->directory, name);
    /* not through a stream: want of memory for one must not deny a zone */
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return false;
    bool is_zone = read(file, magic, sizeof magic) == (ssize_t)sizeof magic &&
                   memcmp(magic, "TZif", sizeof magic) == 0; /* RFC 9636 sec. 3.1 */
    close(file);
    return is_zone;
}

const struct zone_place *zones_place(const struct zones *zones, const char *name) {
    struct zone_place wanted = {.name = ""};
    size_t length = strlen(name);
    if (zones->places == 0 || length >= sizeof wanted.name)
        return NULL;
    memcpy(wanted.name, name, length + 1);
    return bsearch(&wanted, zones->place, zones->places, sizeof wanted, compare_places);
}
