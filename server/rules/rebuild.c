/* SPDX-License-Identifier: MIT */
/* rebuild: all runs in the order of their numbers. What days come to is worked out
 * from that whenever it is asked for. Runs are taken in portions, so memory does not grow
 * with the store: while all processors reduce one portion, the next is read and the one
 * before is written. */
#include "server/rules/rebuild.h"

#include <stdlib.h>

#include "server/rules/crew.h"
#include "server/rules/derive.h"
#include "server/store/derived_rows.h"

#define PORTION 500

struct portion {
    struct recorded *run[PORTION];
    size_t count;
};

static void portion_release(struct portion *portion) {
    for (size_t i = 0; i < portion->count; i++)
        derive_forget(portion->run[i]);
    portion->count = 0;
}

/* Where a rebuild is. */
struct progress {
    struct db *db;
    struct crew *crew;
    struct day_row day; /* of the run read last; id 0: none yet */
    int64_t after;      /* the run read last */
    struct portion portion[2];
};

/* On any thread. */
static void reduce(void *almanac, void *run) {
    derive_reduce_recorded(almanac, run);
}

static int recall(struct progress *progress, const struct run_row *run, struct portion *out,
                  struct err *err) {
    struct site_row site;
    if (site_rows_get(progress->db, run->site, &site, err) != FOUND_ONE)
        return err_set(err, ERR_STORAGE, NULL, "run %lld has no site", (long long)run->id);
    if (progress->day.id != run->day &&
        day_rows_get(progress->db, run->day, &progress->day, err) != FOUND_ONE)
        return err_set(err, ERR_STORAGE, NULL, "run %lld has no day", (long long)run->id);
    struct recorded *recorded = derive_recall(progress->db, run, &progress->day, &site, err);
    if (!recorded)
        return -1;
    out->run[out->count++] = recorded;
    progress->after = run->id;
    return 0;
}

/* The next portion; an empty one is the end. */
static int read_portion(struct progress *progress, struct portion *out, struct err *err) {
    struct run_row *runs = NULL;
    size_t count = 0;
    int failed = run_rows_list(progress->db, 0, progress->after, PORTION, &runs, &count, err);
    for (size_t i = 0; i < count && !failed; i++)
        failed = recall(progress, &runs[i], out, err);
    run_rows_release(runs, count);
    return failed;
}

static int write_portion(struct progress *progress, struct portion *portion, struct err *err) {
    for (size_t i = 0; i < portion->count; i++)
        if (derive_put_recorded(progress->db, portion->run[i], err))
            return -1;
    portion_release(portion);
    return 0;
}

static int reduce_all(struct progress *progress, struct rebuild_counts *counts, struct err *err) {
    struct portion *now = &progress->portion[0], *next = &progress->portion[1];
    if (read_portion(progress, now, err))
        return -1;
    crew_begin(progress->crew, (void **)now->run, now->count);
    while (now->count > 0) {
        const int failed = read_portion(progress, next, err);
        crew_finish(progress->crew);
        if (failed)
            return -1;
        crew_begin(progress->crew, (void **)next->run, next->count);
        counts->runs += now->count;
        if (write_portion(progress, now, err)) {
            crew_finish(progress->crew);
            return -1;
        }
        struct portion *done = now;
        now = next;
        next = done;
    }
    crew_finish(progress->crew);
    return 0;
}

static int reduce_with_crew(struct change *change, struct rebuild_counts *counts, struct err *err) {
    struct progress *progress = calloc(1, sizeof *progress);
    struct crew *crew = crew_new(reduce, change_almanac(change));
    int result = -1;
    if (progress && crew) {
        progress->db = change_db(change);
        progress->crew = crew;
        result = reduce_all(progress, counts, err);
        portion_release(&progress->portion[0]);
        portion_release(&progress->portion[1]);
    } else {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    crew_free(crew);
    free(progress);
    return result;
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
    if (derived_rows_clear(change_db(change), err) || reduce_with_crew(change, &counts, err) ||
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
