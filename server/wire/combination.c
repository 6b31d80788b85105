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

int combination_make(const struct day_noon *noon, const uint32_t *order, size_t count,
                     const struct slopes *near, struct combination *out, struct err *err) {
    struct noon_result *results = calloc(count + 1, sizeof *results);
    struct combination made = {.point = calloc(count + 1, sizeof *made.point), .points = count};
    int outcome = -1;
    if (!results || !made.point) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < count; i++) {
        results[i] = noon_at(noon, order, (int64_t)i)->noon;
        results[i].key = (int64_t)i;
    }
    if (noons_combine(results, count, near, made.point, &made.combined, err) ||
        name_off_line(noon, order, &made, err))
        goto cleanup;
    name_influences(noon, order, &made);
    *out = made;
    made = (struct combination){0};
    outcome = 0;
cleanup:
    combination_release(&made);
    free(results);
    return outcome;
}

void combination_release(struct combination *combination) {
    free(combination->point);
    free(combination->off_line);
    *combination = (struct combination){0};
}
