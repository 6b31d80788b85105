/* SPDX-License-Identifier: MIT */
/* board: the day's result as it was kept, and the leaderboard, which is put
 * together from the day's noons whenever it is asked for. */
#include "server/rules/board.h"

#include <stdlib.h>

#include "server/rules/derive.h"
#include "server/rules/lookup.h"
#include "server/store/derived_rows.h"

#define RESULT_JSON_MAX (64u << 20)

int board_result(struct db *db, const char *day, char **json, struct err *err) {
    struct day_row row;
    struct text text;
    if (lookup_day(db, day, &row, err))
        return -1;
    text_init(&text, RESULT_JSON_MAX);
    enum found found = derived_rows_result(db, row.id, &text, err);
    char *copy = NULL;
    if (found == FOUND_ONE || (found == FOUND_NONE && !derive_result_json(db, row.id, &text, err)))
        copy = text_take(&text);
    text_release(&text);
    if (!copy)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    *json = copy;
    return 0;
}

int board_of_day(struct db *db, const char *day, size_t limit, struct board *out,
                 struct left_out_counts *left_out, struct err *err) {
    struct day_row row;
    struct day_noons noons = {0};
    struct combination combination = {0};
    struct exclusion_record *exclusions = NULL;
    int result = -1;
    if (lookup_day(db, day, &row, err))
        return -1;
    if (derive_noons(db, &row, &noons, err) ||
        combination_make(noons.noon, noons.count, &combination, err) ||
        derive_left_out(db, row.id, noons.noon, noons.count, &exclusions, left_out, err) ||
        board_make(&noons, &combination, limit, out, err))
        goto cleanup;
    left_out->off_the_line = combination.combined.left_out;
    result = 0;
cleanup:
    free(exclusions);
    combination_release(&combination);
    day_noons_release(&noons);
    return result;
}
