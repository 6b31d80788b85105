/* SPDX-License-Identifier: MIT */
/* line: the points as the combination left them. */
#include "server/rules/line.h"

#include <stdlib.h>
#include <string.h>

#include "server/rules/derive.h"
#include "server/rules/lookup.h"
#include "server/store/reduction_rows.h"
#include "server/wire/combination.h"

int line_points(struct db *db, const char *day, struct line_record **out, size_t *count,
                struct err *err) {
    struct day_row row;
    struct day_noon *noons = NULL;
    struct line_record *records = NULL;
    struct combination_room room = {0};
    struct combination combination = {0};
    size_t n = 0;
    int result = -1;
    if (lookup_day(db, day, &row, err) || reduction_rows_of_day(db, row.id, &noons, &n, err) ||
        combination_make(&room, noons, NULL, n, &combination, err))
        goto cleanup;
    records = calloc(n + 1, sizeof *records);
    if (!records) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < n; i++) {
        const struct combine_point *point = &combination.point[i];
        struct line_record *record = &records[i];
        bool same_noon = i > 0 && point->group == combination.point[i - 1].group;
        memcpy(record->site, noons[point->key].site, sizeof record->site);
        record->noon = i == 0 ? 1 : records[i - 1].noon + !same_noon;
        record->meridian_km = point->meridian_km;
        record->noon_angle_deg = point->noon_angle_deg;
        record->sigma_deg = point->sigma_deg;
        record->residual_deg = point->residual_deg;
        record->left_out = point->left_out;
    }
    *out = records;
    *count = n;
    records = NULL;
    result = 0;
cleanup:
    free(records);
    combination_release(&combination);
    combination_room_release(&room);
    free(noons);
    return result;
}
