/* SPDX-License-Identifier: MIT */
/* derive_result: the noons of a day -> its combined result, as JSON in the
 * store. Sites are taken by identifier, so the order in which they came cannot
 * show in the last digit. */
#include <stdlib.h>
#include <string.h>

#include "server/rules/derive.h"
#include "server/store/derived_rows.h"
#include "server/wire/noons.h"
#include "server/wire/record_write.h"

#define RESULT_JSON_MAX (64u << 20)

static size_t off_line(const struct noon_row *rows, const struct combine_point *points,
                       size_t count, struct off_line_record *out) {
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (!points[i].left_out)
            continue;
        memcpy(out[n].site, rows[points[i].key].site, sizeof out[n].site);
        out[n].residual_deg = points[i].residual_deg;
        out[n].residual_sigma = points[i].residual_deg / points[i].sigma_deg;
        n++;
    }
    return n;
}

static size_t influences(const struct noon_row *rows, const struct combine_point *points,
                         size_t count, struct influence_record out[INFLUENCES_MAX]) {
    size_t moving[INFLUENCES_MAX] = {0};
    size_t n = noons_influential(points, count, INFLUENCES_MAX, moving);
    for (size_t i = 0; i < n; i++) {
        const struct combine_point *point = &points[moving[i]];
        memcpy(out[i].site, rows[point->key].site, sizeof out[i].site);
        out[i].influence_km = point->influence_km;
    }
    return n;
}

int derive_points(const struct noon_row *rows, size_t count, struct combine_point **out,
                  struct combined *combined, struct err *err) {
    struct noon_result *noons = calloc(count + 1, sizeof *noons);
    struct combine_point *points = calloc(count + 1, sizeof *points);
    int result = -1;
    if (!noons || !points) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < count; i++) {
        noons[i] = rows[i].noon;
        noons[i].key = (int64_t)i; /* its rank among the identifiers */
    }
    if (noons_combine(noons, count, points, combined, err))
        goto cleanup;
    *out = points;
    points = NULL;
    result = 0;
cleanup:
    free(points);
    free(noons);
    return result;
}

int derive_result_json(struct db *db, int64_t day, struct text *out, struct err *err) {
    struct noon_row *rows = NULL;
    struct combine_point *points = NULL;
    struct off_line_record *left_out = NULL;
    struct influence_record influence[INFLUENCES_MAX];
    struct combined combined;
    size_t count = 0;
    int result = -1;
    if (reduction_rows_of_day(db, day, &rows, &count, err))
        return -1;
    if (derive_points(rows, count, &points, &combined, err))
        goto cleanup;
    left_out = calloc(count + 1, sizeof *left_out);
    if (!left_out) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    struct json_writer json;
    json_write_init(&json, out);
    record_write_combined(&json, NULL, &combined, left_out, off_line(rows, points, count, left_out),
                          influence, influences(rows, points, count, influence));
    result = out->failed ? err_set(err, ERR_INTERNAL, NULL, "the result does not fit") : 0;
cleanup:
    free(left_out);
    free(points);
    free(rows);
    return result;
}

int derive_result(struct db *db, int64_t day, struct err *err) {
    struct text text;
    text_init(&text, RESULT_JSON_MAX);
    int result = derive_result_json(db, day, &text, err);
    if (result == 0)
        result = derived_rows_put_result(db, day, REDUCE_METHOD, text.bytes, text.length, err);
    text_release(&text);
    return result;
}
