/* SPDX-License-Identifier: MIT */
/* day_sheet: noons in slots; a table of sites by open addressing; the circle of
 * longitudes in strips with what the choice of partners needs side by side; and an
 * order by identifier that takes in what is new when a copy is asked for. */
#include "server/rules/day_sheet.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STRIPS 720 /* half a degree each */
#define SLACK_DEG 1e-6
#define NOWHERE UINT32_MAX

/* A noon as its neighbours look at it. */
struct glimpse {
    double lon_deg, meridian_m, variance;
    uint32_t slot;
};

struct strip {
    struct glimpse *glimpse;
    uint32_t count, room;
};

struct day_sheet {
    struct day_noon *noon; /* by slot; key 0: empty */
    uint32_t slots, room;
    uint32_t *spare; /* empty slots below `slots` */
    uint32_t spares;
    uint32_t *table; /* slot by site; NOWHERE: none */
    uint32_t table_size;
    uint32_t *order;          /* filled slots; room for as many again, to merge with */
    uint32_t ordered, listed; /* the first `ordered` by identifier, the rest as they came */
    size_t count;
    struct strip strip[STRIPS];
};

static uint32_t home_of(const struct day_sheet *sheet, int64_t site) {
    return (uint32_t)(((uint64_t)site * 0x9E3779B97F4A7C15u) >> 32) & (sheet->table_size - 1);
}

/* The place in the table of a site, or the free one where it would go. */
static uint32_t place_of(const struct day_sheet *sheet, int64_t site) {
    uint32_t at = home_of(sheet, site);
    while (sheet->table[at] != NOWHERE && sheet->noon[sheet->table[at]].noon.key != site)
        at = (at + 1) & (sheet->table_size - 1);
    return at;
}

/* Frees a place and moves up what had to step aside because of it. */
static void free_place(struct day_sheet *sheet, uint32_t at) {
    const uint32_t mask = sheet->table_size - 1;
    sheet->table[at] = NOWHERE;
    for (uint32_t next = (at + 1) & mask; sheet->table[next] != NOWHERE; next = (next + 1) & mask) {
        uint32_t home = home_of(sheet, sheet->noon[sheet->table[next]].noon.key);
        if (((next - home) & mask) >= ((next - at) & mask)) {
            sheet->table[at] = sheet->table[next];
            sheet->table[next] = NOWHERE;
            at = next;
        }
    }
}

static int strip_of(double lon_deg) {
    int strip = (int)floor((lon_deg + 180.0) * (STRIPS / 360.0));
    return (strip % STRIPS + STRIPS) % STRIPS;
}

static bool add_glimpse(struct day_sheet *sheet, uint32_t slot) {
    const struct noon_result *noon = &sheet->noon[slot].noon;
    struct strip *strip = &sheet->strip[strip_of(noon->lon_deg)];
    if (strip->count == strip->room) {
        uint32_t room = strip->room ? 2 * strip->room : 8;
        struct glimpse *grown = realloc(strip->glimpse, room * sizeof *grown);
        if (!grown)
            return false;
        strip->glimpse = grown;
        strip->room = room;
    }
    strip->glimpse[strip->count++] = (struct glimpse){
        .lon_deg = noon->lon_deg,
        .meridian_m = noon->meridian_m,
        .variance = noon->sigma_deg * noon->sigma_deg,
        .slot = slot,
    };
    return true;
}

static void drop_glimpse(struct day_sheet *sheet, uint32_t slot) {
    struct strip *strip = &sheet->strip[strip_of(sheet->noon[slot].noon.lon_deg)];
    for (uint32_t i = 0; i < strip->count; i++)
        if (strip->glimpse[i].slot == slot) {
            strip->glimpse[i] = strip->glimpse[--strip->count];
            return;
        }
}

/* Room for twice as many noons. */
static bool grow(struct day_sheet *sheet) {
    const size_t room = sheet->room ? 2 * (size_t)sheet->room : 64, size = 4 * room;
    struct day_noon *noon = realloc(sheet->noon, room * sizeof *noon);
    if (noon)
        sheet->noon = noon;
    uint32_t *spare = realloc(sheet->spare, room * sizeof *spare);
    if (spare)
        sheet->spare = spare;
    uint32_t *order = realloc(sheet->order, 2 * room * sizeof *order);
    if (order)
        sheet->order = order;
    uint32_t *table = malloc(size * sizeof *table);
    if (!noon || !spare || !order || !table) {
        free(table);
        return false;
    }
    free(sheet->table);
    sheet->table = table;
    sheet->table_size = (uint32_t)size;
    sheet->room = (uint32_t)room;
    memset(table, 0xFF, size * sizeof *table);
    for (uint32_t slot = 0; slot < sheet->slots; slot++)
        if (sheet->noon[slot].noon.key != 0)
            sheet->table[place_of(sheet, sheet->noon[slot].noon.key)] = slot;
    return true;
}

struct day_sheet *day_sheet_new(const struct day_noon *noons, size_t count) {
    struct day_sheet *sheet = calloc(1, sizeof *sheet);
    bool well = sheet && grow(sheet);
    for (size_t i = 0; well && i < count; i++)
        well = day_sheet_put(sheet, &noons[i]);
    if (!well) {
        day_sheet_free(sheet);
        return NULL;
    }
    return sheet;
}

void day_sheet_free(struct day_sheet *sheet) {
    if (!sheet)
        return;
    for (int i = 0; i < STRIPS; i++)
        free(sheet->strip[i].glimpse);
    free(sheet->noon);
    free(sheet->spare);
    free(sheet->table);
    free(sheet->order);
    free(sheet);
}

size_t day_sheet_count(const struct day_sheet *sheet) {
    return sheet->count;
}

static int by_identifier(const void *left, const void *right, void *noons) {
    const struct day_noon *noon = noons;
    return strcmp(noon[*(const uint32_t *)left].site, noon[*(const uint32_t *)right].site);
}

/* Merges what came since into the order, from the back. */
static void put_in_order(struct day_sheet *sheet) {
    uint32_t old = sheet->ordered, fresh = sheet->listed - old, *aside = sheet->order + sheet->room;
    qsort_r(sheet->order + old, fresh, sizeof *sheet->order, by_identifier, sheet->noon);
    memcpy(aside, sheet->order + old, fresh * sizeof *aside);
    for (uint32_t to = sheet->listed; fresh > 0;) {
        if (old > 0 && by_identifier(&sheet->order[old - 1], &aside[fresh - 1], sheet->noon) > 0)
            sheet->order[--to] = sheet->order[--old];
        else
            sheet->order[--to] = aside[--fresh];
    }
    sheet->ordered = sheet->listed;
}

static void strike_from_order(struct day_sheet *sheet, uint32_t slot) {
    uint32_t at = 0;
    while (sheet->order[at] != slot)
        at++;
    memmove(&sheet->order[at], &sheet->order[at + 1],
            (sheet->listed - at - 1) * sizeof *sheet->order);
    sheet->listed--;
    if (at < sheet->ordered)
        sheet->ordered--;
}

static bool replace(struct day_sheet *sheet, uint32_t slot, const struct day_noon *noon) {
    const struct day_noon before = sheet->noon[slot];
    drop_glimpse(sheet, slot);
    sheet->noon[slot] = *noon;
    if (add_glimpse(sheet, slot))
        return true;
    sheet->noon[slot] = before;
    (void)add_glimpse(sheet, slot); /* there is room: it was just dropped */
    return false;
}

bool day_sheet_put(struct day_sheet *sheet, const struct day_noon *noon) {
    uint32_t place = place_of(sheet, noon->noon.key);
    if (sheet->table[place] != NOWHERE)
        return replace(sheet, sheet->table[place], noon);
    if (sheet->spares == 0 && sheet->slots == sheet->room) {
        if (!grow(sheet))
            return false;
        place = place_of(sheet, noon->noon.key);
    }
    const uint32_t slot = sheet->spares > 0 ? sheet->spare[sheet->spares - 1] : sheet->slots;
    sheet->noon[slot] = *noon;
    if (!add_glimpse(sheet, slot)) {
        sheet->noon[slot].noon.key = 0;
        return false;
    }
    if (slot == sheet->slots)
        sheet->slots++;
    else
        sheet->spares--;
    sheet->table[place] = slot;
    sheet->order[sheet->listed++] = slot;
    sheet->count++;
    return true;
}

void day_sheet_drop(struct day_sheet *sheet, int64_t site) {
    const uint32_t place = place_of(sheet, site), slot = sheet->table[place];
    if (slot == NOWHERE)
        return;
    free_place(sheet, place);
    drop_glimpse(sheet, slot);
    strike_from_order(sheet, slot);
    sheet->noon[slot].noon.key = 0;
    sheet->spare[sheet->spares++] = slot;
    sheet->count--;
}

const struct day_noon *day_sheet_find(const struct day_sheet *sheet, int64_t site) {
    const uint32_t slot = sheet->table[place_of(sheet, site)];
    return slot == NOWHERE ? NULL : &sheet->noon[slot];
}

void day_sheet_copy(struct day_sheet *sheet, struct day_noon *out) {
    if (sheet->listed > sheet->ordered)
        put_in_order(sheet);
    for (uint32_t i = 0; i < sheet->listed; i++)
        out[i] = sheet->noon[sheet->order[i]];
}

/* A candidate; the variance of its pair over the square of the distance. */
struct candidate {
    double doubt;
    const struct day_noon *noon;
};

static bool surer(const struct candidate *a, const struct candidate *b) {
    return a->doubt != b->doubt ? a->doubt < b->doubt : strcmp(a->noon->site, b->noon->site) < 0;
}

size_t day_sheet_near(const struct day_sheet *sheet, const struct day_noon *noon, double reach_deg,
                      size_t most, const struct day_noon **out) {
    const struct noon_result *own = &noon->noon;
    const double variance = own->sigma_deg * own->sigma_deg;
    const int span = (int)ceil((reach_deg + SLACK_DEG) * (STRIPS / 360.0)) + 1;
    const int first = strip_of(own->lon_deg) - span;
    const int strips = 2 * span + 1 < STRIPS ? 2 * span + 1 : STRIPS;
    struct candidate best[DAY_SHEET_NEAR_MAX + 1];
    assert(most >= 1 && most <= DAY_SHEET_NEAR_MAX);
    size_t found = 0;
    for (int s = 0; s < strips; s++) {
        const struct strip *strip = &sheet->strip[((first + s) % STRIPS + STRIPS) % STRIPS];
        for (uint32_t i = 0; i < strip->count; i++) {
            const struct glimpse *glimpse = &strip->glimpse[i];
            double apart_m = glimpse->meridian_m - own->meridian_m;
            double doubt = (glimpse->variance + variance) / (apart_m * apart_m);
            if (found == most && doubt > best[most - 1].doubt)
                continue;
            const struct candidate here = {doubt, &sheet->noon[glimpse->slot]};
            if (pair_lon_difference_deg(glimpse->lon_deg, own->lon_deg) > reach_deg + SLACK_DEG ||
                here.noon->noon.key == own->key || !pair_same_noon(&here.noon->noon, own))
                continue;
            size_t at = found < most ? found++ : most;
            for (; at > 0 && surer(&here, &best[at - 1]); at--)
                best[at] = best[at - 1];
            best[at] = here;
        }
    }
    for (size_t i = 0; i < found; i++)
        out[i] = best[i].noon;
    return found;
}
