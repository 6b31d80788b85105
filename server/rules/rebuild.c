/* SPDX-License-Identifier: MIT */
/* rebuild: all runs in the order of their numbers, then each day's
 * result. Runs are read in portions, so memory does not grow with the store. */
#include "server/rules/rebuild.h"

#include <stdlib.h>

#include "server/rules/derive.h"
#include "server/store/derived_rows.h"

#define PORTION 500

static int reduce_all(struct change *change, struct rebuild_counts *counts, struct err *err) {
    struct db *db = change_db(change);
    int64_t after = 0;
    for (;;) {
        struct run_row *runs = NULL;
        size_t count = 0;
        if (run_rows_list(db, 0, after, PORTION, &runs, &count, err))
            return -1;
        int failed = 0;
        for (size_t i = 0; i < count && !failed; i++) {
            struct site_row site;
            failed = site_rows_get(db, runs[i].site, &site, err) != FOUND_ONE ||
                     derive_run(db, change_almanac(change), &runs[i], &site, err);
            after = runs[i].id;
        }
        run_rows_release(runs, count);
        if (failed)
            return err_set(err, ERR_STORAGE, NULL, "run %lld has no site", (long long)after);
        counts->runs += count;
        if (count < PORTION)
            return 0;
    }
}

static int count_pairs(struct db *db, const struct day_row *day, size_t *pairs, struct err *err) {
    struct day_noons noons;
    if (derive_noons(db, day, &noons, err))
        return -1;
    for (size_t i = 0; i < noons.count; i++) {
        const size_t *later;
        size_t count = day_noons_later(&noons, i, &later);
        for (size_t k = 0; k < count; k++) {
            struct pair_record pair;
            *pairs += day_noons_pair(&noons.noon[i], &noons.noon[later[k]], &noons.rules, &pair);
        }
    }
    day_noons_release(&noons);
    return 0;
}

static int settle_days(struct change *change, struct rebuild_counts *counts, struct err *err) {
    struct db *db = change_db(change);
    int64_t *days = NULL;
    size_t count = 0;
    int result = -1;
    if (derived_rows_days(db, &days, &count, err))
        return -1;
    for (size_t i = 0; i < count; i++) {
        struct day_row day;
        if (day_rows_get(db, days[i], &day, err) != FOUND_ONE || derive_result(db, days[i], err) ||
            count_pairs(db, &day, &counts->pairs, err))
            goto cleanup;
    }
    counts->days = count;
    result = 0;
cleanup:
    free(days);
    return result;
}

int rebuild_all(struct change *change, struct rebuild_counts *out, struct err *err) {
    struct rebuild_counts counts = {0};
    if (derived_rows_clear(change_db(change), err) || reduce_all(change, &counts, err) ||
        settle_days(change, &counts, err))
        return -1;
    *out = counts;
    return 0;
}

int rebuild_check(struct change *change, struct rebuild_counts *out, size_t *differences,
                  struct err *err) {
    struct db *db = change_db(change);
    struct rebuild_counts counts;
    size_t found;
    int result = -1;
    if (db_sound(db, err) || db_begin(db, err))
        return -1;
    if (derived_rows_remember(db, err) == 0 && rebuild_all(change, &counts, err) == 0 &&
        derived_rows_differences(db, &found, err) == 0) {
        *out = counts;
        *differences = found;
        result = 0;
    }
    db_rollback(db);
    return result;
}
