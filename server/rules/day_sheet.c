/* SPDX-License-Identifier: MIT */
/* day_sheet: noons in slots; a table of sites by open addressing; the circle of
 * longitudes in strips with what the choice of partners needs side by side; a roll by
 * identifier; and a list of the slots that changed. */
#include "server/rules/day_sheet.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/roll.h"

#define STRIPS 5760 /* a sixteenth of a degree each */
#define SLACK_DEG 1e-6
#define HAIR 1e-12 /* rounding is less */
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
    struct roll roll;
    uint32_t *changed; /* slots, each once */
    uint32_t changes;
    bool *is_changed;             /* by slot */
    const struct day_noon **near; /* room for all, for day_sheet_later */
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

/* Room for twice as many noons. What has grown when memory runs out stays so. */
static bool grow(struct day_sheet *sheet) {
    const size_t room = sheet->room ? 2 * (size_t)sheet->room : 64, size = 4 * room;
    void *grown;
#define GROW(member)                                                                               \
    if (!(grown = realloc(sheet->member, room * sizeof *sheet->member)))                           \
        return false;                                                                              \
    sheet->member = grown
    GROW(noon);
    GROW(spare);
    GROW(changed);
    GROW(is_changed);
    GROW(near);
#undef GROW
    uint32_t *table = malloc(size * sizeof *table);
    if (!table)
        return false;
    memset(sheet->is_changed + sheet->room, 0, (room - sheet->room) * sizeof(bool));
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
    roll_release(&sheet->roll);
    free(sheet->changed);
    free(sheet->is_changed);
    free(sheet->near);
    free(sheet);
}

size_t day_sheet_count(const struct day_sheet *sheet) {
    return sheet->roll.count;
}

static void note_change(struct day_sheet *sheet, uint32_t slot) {
    if (sheet->is_changed[slot])
        return;
    sheet->is_changed[slot] = true;
    sheet->changed[sheet->changes++] = slot;
}

static bool replace(struct day_sheet *sheet, uint32_t slot, const struct day_noon *noon) {
    const struct day_noon before = sheet->noon[slot];
    drop_glimpse(sheet, slot);
    sheet->noon[slot] = *noon;
    if (add_glimpse(sheet, slot)) {
        note_change(sheet, slot);
        return true;
    }
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
    if (!roll_enter(&sheet->roll, sheet->noon, slot)) {
        sheet->noon[slot].noon.key = 0;
        return false;
    }
    if (!add_glimpse(sheet, slot)) {
        roll_strike(&sheet->roll, sheet->noon, slot);
        sheet->noon[slot].noon.key = 0;
        return false;
    }
    if (slot == sheet->slots)
        sheet->slots++;
    else
        sheet->spares--;
    sheet->table[place] = slot;
    note_change(sheet, slot);
    return true;
}

void day_sheet_drop(struct day_sheet *sheet, int64_t site) {
    const uint32_t place = place_of(sheet, site), slot = sheet->table[place];
    if (slot == NOWHERE)
        return;
    free_place(sheet, place);
    drop_glimpse(sheet, slot);
    roll_strike(&sheet->roll, sheet->noon, slot);
    note_change(sheet, slot);
    sheet->noon[slot].noon.key = 0;
    sheet->spare[sheet->spares++] = slot;
}

const struct day_noon *day_sheet_find(const struct day_sheet *sheet, int64_t site) {
    const uint32_t slot = sheet->table[place_of(sheet, site)];
    return slot == NOWHERE ? NULL : &sheet->noon[slot];
}

const struct day_noon *day_sheet_at(struct day_sheet *sheet, size_t rank) {
    return &sheet->noon[roll_order(&sheet->roll, sheet->noon)[rank]];
}

size_t day_sheet_rank(struct day_sheet *sheet, const char *site) {
    const uint32_t *order = roll_order(&sheet->roll, sheet->noon);
    size_t first = 0, last = sheet->roll.count;
    while (first < last) {
        size_t middle = first + (last - first) / 2;
        if (strcmp(sheet->noon[order[middle]].site, site) < 0)
            first = middle + 1;
        else
            last = middle;
    }
    return first;
}

size_t day_sheet_changes(struct day_sheet *sheet, bool all) {
    for (uint32_t slot = 0; all && slot < sheet->slots; slot++)
        if (sheet->noon[slot].noon.key != 0)
            note_change(sheet, slot);
    return sheet->changes;
}

void day_sheet_tell(struct day_sheet *sheet, struct day_sheet_change *out) {
    for (uint32_t i = 0; i < sheet->changes; i++) {
        const uint32_t slot = sheet->changed[i];
        out[i].slot = slot;
        out[i].noon = sheet->noon[slot];
        out[i].is_there = sheet->noon[slot].noon.key != 0;
        sheet->is_changed[slot] = false;
    }
    sheet->changes = 0;
}

/* A candidate; the variance of its pair over the square of the distance. */
struct candidate {
    double doubt;
    const struct day_noon *noon;
};

static bool surer(const struct candidate *a, const struct candidate *b) {
    return a->doubt != b->doubt ? a->doubt < b->doubt : strcmp(a->noon->site, b->noon->site) < 0;
}

/* The strips within reach of a longitude, in turn. */
struct span {
    int first, strips;
};

static struct span span_of(double lon_deg, double reach_deg) {
    const int span = (int)ceil((reach_deg + SLACK_DEG) * (STRIPS / 360.0)) + 1;
    const int strips = 2 * span + 1 < STRIPS ? 2 * span + 1 : STRIPS;
    return (struct span){strip_of(lon_deg) - span + STRIPS, strips};
}

size_t day_sheet_near(const struct day_sheet *sheet, const struct day_noon *noon, double reach_deg,
                      size_t most, const struct day_noon **out) {
    const struct noon_result *own = &noon->noon;
    const double variance = own->sigma_deg * own->sigma_deg;
    const struct span span = span_of(own->lon_deg, reach_deg);
    struct candidate best[DAY_SHEET_NEAR_MAX + 1];
    assert(most >= 1 && most <= DAY_SHEET_NEAR_MAX);
    double bar = INFINITY; /* a hair beyond the last of the best */
    size_t found = 0;
    for (int s = 0; s < span.strips; s++) {
        const struct strip *strip = &sheet->strip[(span.first + s) % STRIPS];
        for (uint32_t i = 0; i < strip->count; i++) {
            const struct glimpse *glimpse = &strip->glimpse[i];
            const double apart_m = glimpse->meridian_m - own->meridian_m;
            const double square = apart_m * apart_m, both = glimpse->variance + variance;
            if (both > bar * square) /* most are told by this, without dividing */
                continue;
            const struct candidate here = {both / square, &sheet->noon[glimpse->slot]};
            if (found == most && here.doubt > best[most - 1].doubt)
                continue;
            if (pair_lon_difference_deg(glimpse->lon_deg, own->lon_deg) > reach_deg + SLACK_DEG ||
                here.noon->noon.key == own->key || !pair_same_noon(&here.noon->noon, own))
                continue;
            size_t at = found < most ? found++ : most;
            for (; at > 0 && surer(&here, &best[at - 1]); at--)
                best[at] = best[at - 1];
            best[at] = here;
            if (found == most)
                bar = best[most - 1].doubt * (1.0 + HAIR);
        }
    }
    for (size_t i = 0; i < found; i++)
        out[i] = best[i].noon;
    return found;
}

static int by_site(const void *left, const void *right) {
    return strcmp((*(const struct day_noon *const *)left)->site,
                  (*(const struct day_noon *const *)right)->site);
}

size_t day_sheet_later(struct day_sheet *sheet, const struct day_noon *noon, double reach_deg,
                       const char *after, const struct day_noon *const **out) {
    const struct span span = span_of(noon->noon.lon_deg, reach_deg);
    const char *least = strcmp(noon->site, after) < 0 ? after : noon->site;
    size_t found = 0;
    for (int s = 0; s < span.strips; s++) {
        const struct strip *strip = &sheet->strip[(span.first + s) % STRIPS];
        for (uint32_t i = 0; i < strip->count; i++) {
            const struct glimpse *glimpse = &strip->glimpse[i];
            if (pair_lon_difference_deg(glimpse->lon_deg, noon->noon.lon_deg) <=
                    reach_deg + SLACK_DEG &&
                strcmp(sheet->noon[glimpse->slot].site, least) > 0)
                sheet->near[found++] = &sheet->noon[glimpse->slot];
        }
    }
    qsort(sheet->near, found, sizeof *sheet->near, by_site);
    *out = sheet->near;
    return found;
}
