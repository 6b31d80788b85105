/* SPDX-License-Identifier: MIT */
/* rebuild: all runs in the order of their numbers. What days come to is worked out
 * from that whenever it is asked for. Runs are read in portions, so memory does not grow with the
 * store. */
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

static int count_days(struct db *db, struct rebuild_counts *counts, struct err *err) {
    int64_t *days = NULL;
    if (derived_rows_days(db, &days, &counts->days, err))
        return -1;
    free(days);
    return 0;
}

int rebuild_all(struct change *change, struct rebuild_counts *out, struct err *err) {
    struct rebuild_counts counts = {0};
    if (derived_rows_clear(change_db(change), err) || reduce_all(change, &counts, err) ||
        count_days(change_db(change), &counts, err))
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
