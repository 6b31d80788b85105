/* SPDX-License-Identifier: MIT */
/* combination: noons.h computes, this puts the names back. */
#include "server/wire/combination.h"

#include <stdlib.h>
#include <string.h>

#include "server/wire/noons.h"

static const struct day_noon *noon_at(const struct day_noon *noon, const uint32_t *order,
                                      int64_t rank) {
    return &noon[order ? order[rank] : rank];
}

static int name_off_line(const struct day_noon *noon, const uint32_t *order,
                         struct combination *made, struct err *err) {
    made->off_line = calloc((size_t)made->combined.left_out + 1, sizeof *made->off_line);
    if (!made->off_line)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < made->points; i++) {
        const struct combine_point *point = &made->point[i];
        if (!point->left_out)
            continue;
        struct off_line_record *off = &made->off_line[made->off_lines++];
        memcpy(off->site, noon_at(noon, order, point->key)->site, sizeof off->site);
        off->residual_deg = point->residual_deg;
        off->residual_sigma = point->residual_deg / point->sigma_deg;
    }
    return 0;
}

static void name_influences(const struct day_noon *noon, const uint32_t *order,
                            struct combination *made) {
    size_t moving[INFLUENCES_MAX] = {0};
    made->influences = noons_influential(made->point, made->points, INFLUENCES_MAX, moving);
    for (size_t i = 0; i < made->influences; i++) {
        const struct combine_point *point = &made->point[moving[i]];
        memcpy(made->influence[i].site, noon_at(noon, order, point->key)->site,
               sizeof made->influence[i].site);
        made->influence[i].influence_km = point->influence_km;
    }
}

/* A quarter more than asked for, as days grow. */
static bool make_room(struct combination_room *room, size_t noons) {
    if (noons <= room->noons && room->noons > 0)
        return true;
    const size_t wanted = noons + noons / 4 + 1;
    combination_room_release(room);
    room->noon = malloc(wanted * sizeof *room->noon);
    room->point = malloc(wanted * sizeof *room->point);
    room->scratch = malloc(wanted * COMBINE_SCRATCH * sizeof *room->scratch);
    if (!room->noon || !room->point || !room->scratch) {
        combination_room_release(room);
        return false;
    }
    room->noons = wanted;
    return true;
}

int combination_make(struct combination_room *room, const struct day_noon *noon,
                     const uint32_t *order, size_t count, struct combination *out,
                     struct err *err) {
    const struct slopes last = room->slopes;
    if (!make_room(room, count))
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    struct combination made = {.point = room->point, .points = count};
    for (size_t i = 0; i < count; i++) {
        room->noon[i] = noon_at(noon, order, (int64_t)i)->noon;
        room->noon[i].key = (int64_t)i;
    }
    if (noons_combine(room->noon, count, last.count > 0 ? &last : NULL, room->scratch, room->point,
                      &made.combined, err) ||
        name_off_line(noon, order, &made, err)) {
        combination_release(&made);
        return -1;
    }
    name_influences(noon, order, &made);
    room->slopes = made.combined.slopes;
    *out = made;
    return 0;
}

void combination_release(struct combination *combination) {
    free(combination->off_line);
    *combination = (struct combination){0};
}

void combination_room_release(struct combination_room *room) {
    free(room->noon);
    free(room->point);
    free(room->scratch);
    *room = (struct combination_room){0};
}
