/* SPDX-License-Identifier: MIT */
/* edition_records: all current runs of the days are gathered, then the sites they
 * are of; what a school does not let out is replaced or counted here, once. */
#include "server/rules/edition_records.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/derived_rows.h"
#include "server/store/edition_rows.h"
#include "server/store/reduction_rows.h"
#include "server/store/review_rows.h"
#include "server/store/run_rows.h"
#include "server/store/site_rows.h"
#include "server/wire/record_read.h"

/* A site of the edition, under the name it goes by there. */
struct shown_site {
    int64_t id;
    char identifier[ID_MAX + 1]; /* in the store */
    struct site_record record;   /* as published */
    enum edition_keeps keeps;
};

/* A run of the edition. */
struct shown_run {
    int64_t run;
    size_t day;
    int64_t site;           /* shown_site.id */
    char shown[ID_MAX + 1]; /* the site's identifier in the edition */
};

struct gathering {
    struct edition_day *day;
    struct shown_site *site; /* by id, later by published identifier */
    size_t sites;
    struct shown_run *run;
    size_t runs;
    struct exclusion_record *exclusion;
    size_t exclusions;
};

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

static void gathering_release(struct gathering *all) {
    free(all->day);
    free(all->site);
    free(all->run);
    free(all->exclusion);
}

static int by_id(const void *left, const void *right) {
    const struct shown_site *a = left, *b = right;
    return (a->id > b->id) - (a->id < b->id);
}

static int by_identifier(const void *left, const void *right) {
    const struct shown_site *a = left, *b = right;
    return strcmp(a->record.site, b->record.site);
}

static int by_day_and_site(const void *left, const void *right) {
    const struct shown_run *a = left, *b = right;
    if (a->day != b->day)
        return a->day < b->day ? -1 : 1;
    return strcmp(a->shown, b->shown);
}

static int by_run(const void *left, const void *right) {
    const struct exclusion_record *a = left, *b = right;
    return (a->run > b->run) - (a->run < b->run);
}

static struct shown_site *find_site(const struct gathering *all, int64_t id) {
    const struct shown_site key = {.id = id};
    return bsearch(&key, all->site, all->sites, sizeof key, by_id);
}

/* The current runs of a day, and its exclusions. */
static int gather_runs(struct db *db, const struct day_row *day, size_t at, struct gathering *all,
                       struct err *err) {
    struct current_run *current;
    struct exclusion_record *excluded;
    size_t count, excluded_count;
    if (reduction_rows_current(db, day->id, "", INT64_MAX, &current, &count, err))
        return -1;
    int result = 0;
    for (size_t i = 0; i < count && result == 0; i++) {
        struct shown_run *grown = array_room(all->run, all->runs, sizeof *grown, err);
        struct site_row site;
        if (!grown) {
            result = -1;
            break;
        }
        all->run = grown;
        result = site_rows_find(db, current[i].site, &site, err) == FOUND_ONE ? 0 : -1;
        all->run[all->runs++] =
            (struct shown_run){.run = current[i].run, .day = at, .site = site.id};
    }
    free(current);
    if (result || review_rows_exclusions(db, day->id, &excluded, &excluded_count, err))
        return -1;
    for (size_t i = 0; i < excluded_count && result == 0; i++) {
        struct exclusion_record *grown =
            array_room(all->exclusion, all->exclusions, sizeof *grown, err);
        if (!grown) {
            result = -1;
            break;
        }
        all->exclusion = grown;
        all->exclusion[all->exclusions++] = excluded[i];
    }
    free(excluded);
    return result;
}

/* Every site once. */
static int gather_sites(struct db *db, struct gathering *all, struct err *err) {
    struct shown_site *sites = calloc(all->runs + 1, sizeof *sites);
    if (!sites)
        return out_of_memory(err);
    for (size_t i = 0; i < all->runs; i++)
        sites[i].id = all->run[i].site;
    qsort(sites, all->runs, sizeof *sites, by_id);
    all->site = sites;
    for (size_t i = 0; i < all->runs; i++)
        if (i == 0 || sites[i].id != sites[all->sites - 1].id)
            sites[all->sites++].id = sites[i].id;
    for (size_t i = 0; i < all->sites; i++) {
        struct site_row row;
        if (site_rows_get(db, sites[i].id, &row, err) != FOUND_ONE ||
            edition_rows_keeps(db, sites[i].id, &sites[i].keeps, err))
            return err_set(err, ERR_STORAGE, NULL, "a run has no site");
        sites[i].record = row.record;
        memcpy(sites[i].identifier, row.record.site, sizeof sites[i].identifier);
    }
    return 0;
}

static bool is_taken(const struct gathering *all, const char *identifier) {
    for (size_t i = 0; i < all->sites; i++)
        if (strcmp(all->site[i].identifier, identifier) == 0)
            return true;
    return false;
}

/* A school that is unnamed in editions goes by its number there, the same in each. */
static void name_sites(struct gathering *all) {
    for (size_t i = 0; i < all->sites; i++) {
        struct shown_site *site = &all->site[i];
        if (site->keeps != KEEPS_UNNAMED)
            continue;
        snprintf(site->record.site, sizeof site->record.site, "unnamed-%lld", (long long)site->id);
        if (is_taken(all, site->record.site))
            snprintf(site->record.site, sizeof site->record.site, "unnamed-%lld.",
                     (long long)site->id);
        site->record.name[0] = '\0';
    }
}

/* Takes out what may not be shown and counts it by day. */
static void keep_agreed(struct gathering *all) {
    size_t runs = 0, sites = 0, exclusions = 0;
    for (size_t i = 0; i < all->runs; i++) {
        const struct shown_site *site = find_site(all, all->run[i].site);
        if (site->keeps == KEEPS_NONE) {
            all->day[all->run[i].day].not_agreed++;
            for (size_t k = 0; k < all->exclusions; k++)
                if (all->exclusion[k].run == all->run[i].run)
                    all->exclusion[k].run = 0;
            continue;
        }
        memcpy(all->run[i].shown, site->record.site, sizeof all->run[i].shown);
        all->run[runs++] = all->run[i];
    }
    for (size_t i = 0; i < all->sites; i++)
        if (all->site[i].keeps != KEEPS_NONE)
            all->site[sites++] = all->site[i];
    for (size_t i = 0; i < all->exclusions; i++)
        if (all->exclusion[i].run != 0)
            all->exclusion[exclusions++] = all->exclusion[i];
    all->runs = runs;
    all->sites = sites;
    all->exclusions = exclusions;
}

static int gather(struct db *db, const struct day_row *days, size_t count, struct gathering *all,
                  struct err *err) {
    all->day = calloc(count + 1, sizeof *all->day);
    if (!all->day)
        return out_of_memory(err);
    for (size_t i = 0; i < count; i++) {
        int not_counting;
        all->day[i].record = days[i].record;
        if (gather_runs(db, &days[i], i, all, err) ||
            derived_rows_left_out(db, days[i].id, &all->day[i].withdrawn, &not_counting, err))
            return -1;
    }
    if (gather_sites(db, all, err))
        return -1;
    name_sites(all);
    keep_agreed(all);
    if (all->sites > 0)
        qsort(all->site, all->sites, sizeof *all->site, by_identifier);
    if (all->runs > 0)
        qsort(all->run, all->runs, sizeof *all->run, by_day_and_site);
    if (all->exclusions > 0)
        qsort(all->exclusion, all->exclusions, sizeof *all->exclusion, by_run);
    return 0;
}

static int write_run(struct db *db, struct json_writer *json, const struct shown_run *shown,
                     struct run_record *record, struct err *err) {
    struct run_row row;
    struct err ours = {0};
    if (run_rows_get(db, shown->run, &row, err) != FOUND_ONE)
        return err_set(err, ERR_STORAGE, NULL, "run %lld is gone", (long long)shown->run);
    int result = record_read_run(row.body, row.body_length, record, &ours);
    free(row.body);
    if (result)
        return err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s", (long long)shown->run,
                       ours.text);
    record->id = shown->run;
    memcpy(record->site, shown->shown, sizeof record->site);
    memcpy(record->day, row.day_id, sizeof record->day);
    edition_write_run(json, record);
    return 0;
}

static int write_all(struct db *db, const struct gathering *all, size_t days, struct text *out,
                     struct err *err) {
    struct json_writer json;
    struct run_record *record = malloc(sizeof *record);
    int result = record ? 0 : out_of_memory(err);
    json_write_init(&json, out);
    json_write_object(&json, NULL);
    json_write_array(&json, "days");
    for (size_t i = 0; i < days; i++)
        edition_write_day(&json, &all->day[i]);
    json_write_end(&json);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < all->sites; i++)
        edition_write_site(&json, &all->site[i].record);
    json_write_end(&json);
    json_write_array(&json, "runs");
    for (size_t i = 0; i < all->runs && result == 0; i++)
        result = write_run(db, &json, &all->run[i], record, err);
    json_write_end(&json);
    json_write_array(&json, "exclusions");
    for (size_t i = 0; i < all->exclusions; i++)
        edition_write_exclusion(&json, &all->exclusion[i]);
    json_write_end(&json);
    json_write_end(&json);
    free(record);
    if (result)
        return -1;
    return out->failed ? err_set(err, ERR_INTERNAL, NULL, "the edition is too large") : 0;
}

int edition_records_write(struct db *db, const struct day_row *days, size_t count, struct text *out,
                          size_t *runs, struct err *err) {
    struct gathering all = {0};
    int result =
        gather(db, days, count, &all, err) || write_all(db, &all, count, out, err) ? -1 : 0;
    if (runs)
        *runs = all.runs;
    gathering_release(&all);
    return result;
}
