/* SPDX-License-Identifier: MIT */
/* derive_result: the noons of a day -> its combined result, as JSON in the
 * store. Sites are taken by identifier, so the order in which they came cannot
 * show in the last digit. */
#include <stdlib.h>

#include "server/rules/derive.h"
#include "server/store/derived_rows.h"
#include "server/store/review_rows.h"
#include "server/wire/combination.h"
#include "server/wire/record_write.h"

#define RESULT_JSON_MAX (64u << 20)

int derive_noons(struct db *db, const struct day_row *day, struct day_noons *out, struct err *err) {
    const struct pair_rules rules = day_noons_rules(&day->record);
    struct day_noon *noons;
    size_t count;
    if (reduction_rows_of_day(db, day->id, &noons, &count, err))
        return -1;
    return day_noons_make(&rules, noons, count, out, err);
}

int derive_left_out(struct db *db, int64_t day, const struct day_noon *noons, size_t count,
                    struct exclusion_record **exclusions, struct left_out_counts *out,
                    struct err *err) {
    struct left_out_counts counts = {0};
    size_t excluded;
    if (review_rows_exclusions(db, day, exclusions, &excluded, err) ||
        derived_rows_left_out(db, day, &counts.withdrawn, &counts.unusable, err))
        return -1;
    counts.excluded = (int)excluded;
    counts.unusable -= counts.excluded;
    for (size_t i = 0; i < count; i++)
        counts.readings += noons[i].readings_left_out;
    *out = counts;
    return 0;
}

int derive_result_json(struct db *db, int64_t day, struct text *out, struct err *err) {
    struct day_noon *noons = NULL;
    struct combination combination = {0};
    struct exclusion_record *exclusions = NULL;
    struct left_out_counts counts;
    size_t count = 0;
    int result = -1;
    if (reduction_rows_of_day(db, day, &noons, &count, err))
        return -1;
    if (combination_make(noons, count, &combination, err) ||
        derive_left_out(db, day, noons, count, &exclusions, &counts, err))
        goto cleanup;
    counts.off_the_line = combination.combined.left_out;
    const struct combined_record record = {
        .combined = &combination.combined,
        .off_line = combination.off_line,
        .off_lines = combination.off_lines,
        .influence = combination.influence,
        .influences = combination.influences,
        .counts = &counts,
        .exclusion = exclusions,
        .exclusions = (size_t)counts.excluded,
    };
    struct json_writer json;
    json_write_init(&json, out);
    record_write_combined(&json, NULL, &record);
    result = out->failed ? err_set(err, ERR_INTERNAL, NULL, "the result does not fit") : 0;
cleanup:
    free(exclusions);
    combination_release(&combination);
    free(noons);
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
