/* SPDX-License-Identifier: MIT */
/* edition_figures: records -> reductions, pairs, leaderboards, the days' results and
 * the season's. Runs through the same functions as a live day does. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/array.h"
#include "server/wire/board.h"
#include "server/wire/combination.h"
#include "server/wire/day_noons.h"
#include "server/wire/edition_records.h"
#include "server/wire/json_tree.h"
#include "server/wire/record_write.h"
#include "server/wire/suns.h"

#define FIGURES_TEXT_MAX ((size_t)256 << 20) /* before it is made canonical */

/* A noon that counts, and where it belongs. */
struct placed_noon {
    struct day_noon noon;
    size_t day, site;
};

struct work {
    struct edition_records records;
    struct suns suns;
    struct edition_run run, last; /* in hand, and the one before */
    size_t next_run;              /* the first that was not reduced yet */
    struct placed_noon *noon;     /* of all days so far, by day and site */
    size_t noons, noons_room;
    struct exclusion_record *excluded; /* of the day in hand, then of all */
    size_t excluded_count;
    struct left_out_counts sum;
    struct left_out_record left_out[RUN_READINGS_MAX];
    struct run judged; /* the one in hand, under the rules of its day */
    struct reduction reduction;
    struct json_writer json;
};

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

static void work_release(struct work *work) {
    edition_records_release(&work->records);
    suns_release(&work->suns);
    free(work->noon);
    free(work->excluded);
    free(work);
}

static int keep_noon(struct work *work, const struct site_record *site, struct err *err) {
    struct placed_noon *grown =
        array_with_room(work->noon, work->noons, &work->noons_room, sizeof *grown);
    if (grown == NULL)
        return out_of_memory(err);
    work->noon = grown;
    struct placed_noon *placed = &work->noon[work->noons++];
    *placed = (struct placed_noon){.day = work->run.day, .site = work->run.site};
    memcpy(placed->noon.site, site->site, sizeof placed->noon.site);
    placed->noon.expected_deg = work->reduction.noon.noon_angle_deg;
    placed->noon.readings_left_out = work->reduction.left_outs;
    noon_result_make(0, &site->place, work->run.record.run.gnomon.edge, &work->reduction,
                     &placed->noon.noon);
    return 0;
}

/* Reduces the run in hand, writes it, and counts it in or out. */
static int add_run(struct work *work, size_t at, struct left_out_counts *counts, struct err *err) {
    const struct site_record *site = &work->records.site[work->run.site];
    const struct run *run = &work->run.record.run;
    struct reduction_record record;
    run_under_day(run, &work->records.day[work->run.day].record, &work->judged);
    const struct sun_day *sun =
        suns_day(&work->suns, suns_date_of_run(&work->judged, site->place.lon_deg));
    if (sun == NULL) {
        char pointer[64];
        snprintf(pointer, sizeof pointer, "/records/runs/%zu", at);
        return err_set(err, ERR_OUT_OF_RANGE, pointer, "the Sun of that date is not known here");
    }
    reduce_run(&site->place, &work->judged, sun, &work->reduction);
    reduction_record_make(site->site, work->run.record.day, work->run.record.id, run,
                          &work->reduction, work->left_out, &record);
    record_write_reduction(&work->json, NULL, &record);
    if (work->run.exclusion != NULL) {
        struct exclusion_record *excluded = &work->excluded[work->excluded_count++];
        *excluded = *work->run.exclusion;
        memcpy(excluded->site, site->site, sizeof excluded->site);
        counts->excluded++;
        return 0;
    }
    if (work->reduction.status != REDUCE_OK) {
        counts->unusable++;
        return 0;
    }
    counts->readings += work->reduction.left_outs;
    return keep_noon(work, site, err);
}

/* The runs of a day, which come one after another. */
static int reduce_day(struct work *work, size_t day, struct left_out_counts *counts,
                      struct err *err) {
    json_write_array(&work->json, "reductions");
    for (; work->next_run < work->records.runs_count; work->next_run++) {
        const struct edition_run *before = work->next_run > 0 ? &work->last : NULL;
        if (edition_records_run(&work->records, work->next_run, before, &work->run, err))
            return -1;
        if (work->run.day != day)
            break;
        if (add_run(work, work->next_run, counts, err))
            return -1;
        work->last.day = work->run.day;
        work->last.site = work->run.site;
    }
    json_write_end(&work->json);
    return 0;
}

/* All pairs as long as they are few enough to be read. */
static void write_pairs(struct json_writer *json, struct day_noons *noons, int64_t pairs) {
    size_t written = 0;
    json_write_array(json, "pairs");
    for (size_t i = 0; i < noons->count && written < EDITION_PAIRS_MAX; i++) {
        const size_t *later;
        size_t count = day_noons_later(noons, i, &later);
        for (size_t k = 0; k < count && written < EDITION_PAIRS_MAX; k++) {
            struct pair_record pair;
            if (!day_noons_pair(&noons->noon[i], &noons->noon[later[k]], &noons->rules, &pair))
                continue;
            record_write_pair(json, NULL, &pair);
            written++;
        }
    }
    json_write_end(json);
    json_write_integer(json, "pairs_count", pairs);
}

static void write_result(struct work *work, const struct combination *combination,
                         const struct left_out_counts *counts,
                         const struct exclusion_record *excluded, size_t excluded_count) {
    const struct combined_record record = {
        .combined = &combination->combined,
        .off_line = combination->off_line,
        .off_lines = combination->off_lines,
        .influence = combination->influence,
        .influences = combination->influences,
        .counts = counts,
        .exclusion = excluded,
        .exclusions = excluded_count,
    };
    record_write_combined(&work->json, "result", &record);
}

/* The tally of a day's noons, which stand by identifier; NULL when memory is short. */
static struct tally *tally_of(const struct pair_rules *rules, const struct day_noon *noon,
                              size_t count) {
    struct tally *tally = tally_new(rules, EDITION_BOARD_MAX);
    for (size_t i = 0; tally != NULL && i < count; i++)
        if (!tally_put(tally, (uint32_t)i, &noon[i])) {
            tally_free(tally);
            return NULL;
        }
    return tally;
}

/* What follows from the noons of a day: from first on in work->noon. */
static int conclude_day(struct work *work, size_t day, size_t first, size_t first_excluded,
                        struct left_out_counts *counts, struct err *err) {
    const struct pair_rules rules = day_noons_rules(&work->records.day[day].record);
    const size_t count = work->noons - first;
    struct day_noons noons = {0};
    struct tally *tally = NULL;
    struct combination combination = {0};
    struct board board = {0};
    int result = -1;
    struct day_noon *rows = calloc(count + 1, sizeof *rows);
    if (rows == NULL)
        return out_of_memory(err);
    for (size_t i = 0; i < count; i++)
        rows[i] = work->noon[first + i].noon;
    if (day_noons_make(&rules, rows, count, &noons, err))
        return -1;
    tally = tally_of(&rules, noons.noon, count);
    if (tally == NULL) {
        out_of_memory(err);
        goto cleanup;
    }
    if (tally_combine(tally, &combination, err) ||
        board_make(tally, EDITION_BOARD_MAX, &board, err))
        goto cleanup;
    counts->off_the_line = combination.combined.left_out;
    write_pairs(&work->json, &noons, tally_pairs(tally));
    write_result(work, &combination, counts, work->excluded + first_excluded,
                 work->excluded_count - first_excluded);
    json_write_object(&work->json, "leaderboard");
    board_write(&work->json, &board);
    json_write_end(&work->json);
    result = 0;
cleanup:
    board_release(&board);
    combination_release(&combination);
    tally_free(tally);
    day_noons_release(&noons);
    return result;
}

static void add_counts(const struct left_out_counts *counts, struct left_out_counts *sum) {
    sum->excluded += counts->excluded;
    sum->withdrawn += counts->withdrawn;
    sum->unusable += counts->unusable;
    sum->not_agreed += counts->not_agreed;
    sum->readings += counts->readings;
}

static int write_day(struct work *work, size_t day, struct err *err) {
    const struct edition_day *of = &work->records.day[day];
    struct left_out_counts counts = {.withdrawn = of->withdrawn, .not_agreed = of->not_agreed};
    const size_t first = work->noons, first_excluded = work->excluded_count;
    json_write_object(&work->json, NULL);
    json_write_text(&work->json, "day", of->record.day);
    if (reduce_day(work, day, &counts, err) ||
        conclude_day(work, day, first, first_excluded, &counts, err))
        return -1;
    json_write_end(&work->json);
    add_counts(&counts, &work->sum);
    return 0;
}

static int by_site_and_day(const void *left, const void *right) {
    const struct placed_noon *a = left, *b = right;
    if (a->site != b->site)
        return a->site < b->site ? -1 : 1;
    return (a->day > b->day) - (a->day < b->day);
}

/* Days whose noons are in use. */
static int days_of(const struct work *work) {
    int days = 0;
    for (size_t d = 0; d < work->records.days; d++) {
        size_t i = 0;
        while (i < work->noons && work->noon[i].day != d)
            i++;
        days += i < work->noons;
    }
    return days;
}

/* All noons of all days together: what a site repeats at each of its noons does not
 * shrink with their number (noons.h). */
static int write_together(struct work *work, struct edition_headline *headline, struct err *err) {
    struct combination_room room = {0};
    struct combination combination;
    struct day_noon *rows = calloc(work->noons + 1, sizeof *rows);
    if (rows == NULL)
        return out_of_memory(err);
    if (work->noons > 0)
        qsort(work->noon, work->noons, sizeof *work->noon, by_site_and_day);
    for (size_t i = 0; i < work->noons; i++) {
        rows[i] = work->noon[i].noon;
        rows[i].noon.site = (int64_t)work->noon[i].site + 1;
    }
    int result = combination_make(&room, rows, NULL, work->noons, &combination, err);
    free(rows);
    if (result) {
        combination_room_release(&room);
        return -1;
    }
    const struct combined *combined = &combination.combined;
    work->sum.off_the_line = combined->left_out;
    write_result(work, &combination, &work->sum, work->excluded, work->excluded_count);
    if (headline != NULL)
        *headline = (struct edition_headline){
            .circumference_km = combined->circumference_km,
            .sigma_km = combined->sigma_km,
            .low_km = combined->low_km,
            .high_km = combined->high_km,
            .sites = combined->sites,
            .days = days_of(work),
            .counts = work->sum,
        };
    combination_release(&combination);
    combination_room_release(&room);
    return 0;
}

static int write_all(struct work *work, struct edition_headline *headline, struct err *err) {
    json_write_object(&work->json, NULL);
    json_write_array(&work->json, "days");
    for (size_t day = 0; day < work->records.days; day++)
        if (write_day(work, day, err))
            return -1;
    json_write_end(&work->json);
    if (work->next_run < work->records.runs_count)
        return err_set(err, ERR_OUT_OF_RANGE, "/records/runs",
                       "this list is in the order of days and sites");
    if (write_together(work, headline, err))
        return -1;
    json_write_end(&work->json);
    return 0;
}

/* To so many digits that two processors agree. */
static void round_reals(json_t *value) {
    const char *key;
    json_t *member;
    size_t i;
    if (json_is_real(value)) {
        char digits[40];
        snprintf(digits, sizeof digits, "%.*g", EDITION_DIGITS, json_real_value(value));
        json_real_set(value, strtod(digits, NULL));
    } else if (json_is_object(value)) {
        json_object_foreach(value, key, member) round_reals(member);
    } else if (json_is_array(value)) {
        json_array_foreach(value, i, member) round_reals(member);
    }
}

static int make_canonical(const struct text *figures, struct text *out, struct err *err) {
    if (figures->failed)
        return out_of_memory(err);
    json_t *tree;
    if (json_tree_read(figures->bytes, figures->length, &tree, err))
        return -1;
    round_reals(tree);
    canonical_write(tree, out);
    json_decref(tree);
    return out->failed ? out_of_memory(err) : 0;
}

int edition_figures(const json_t *records, struct text *out, struct edition_headline *headline,
                    struct err *err) {
    struct text figures;
    struct work *work = calloc(1, sizeof *work);
    int result = -1;
    if (work == NULL)
        return out_of_memory(err);
    text_init(&figures, FIGURES_TEXT_MAX);
    json_write_init(&work->json, &figures);
    if (edition_records_read(records, &work->records, err))
        goto cleanup;
    work->excluded = calloc(work->records.runs_count + 1, sizeof *work->excluded);
    if (work->excluded == NULL || !suns_init(&work->suns)) {
        out_of_memory(err);
        goto cleanup;
    }
    if (write_all(work, headline, err))
        goto cleanup;
    result = make_canonical(&figures, out, err);
cleanup:
    text_release(&figures);
    work_release(work);
    return result;
}
