/* SPDX-License-Identifier: MIT */
/* figures: tally -> combination -> board -> text. */
#include "server/rules/figures.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/lookup.h"
#include "server/store/derived_rows.h"
#include "server/store/hash.h"
#include "server/store/review_rows.h"
#include "server/wire/combination.h"
#include "server/wire/record_write.h"

#define JSON_MAX (64u << 20)
#define MARK_LENGTH 32 /* hex digits: 128 bits tell any two apart */
/* Making the figures of a day of so many noons or more takes so long, some 0.5 us a noon,
 * that those who ask soon after the last time are shown the last ones, and they are made
 * anew beside them (http/remaker.h). */
#define RESTING_NOONS 2000
#define REST_S 0.1
#define REST_S_PER_NOON 2e-6

struct figures *figures_hold(struct figures *figures) {
    if (figures)
        atomic_fetch_add(&figures->holders, 1);
    return figures;
}

void figures_release(struct figures *figures) {
    if (!figures || atomic_fetch_sub(&figures->holders, 1) > 1)
        return;
    blob_release(figures->result);
    for (int i = 0; i < FIGURES_LENGTHS; i++) {
        struct figures_lines *lines = atomic_load(&figures->lines[i]);
        if (lines)
            blob_release(lines->json);
        free(lines);
    }
    board_release(&figures->board);
    free(figures);
}

/* What was left out before the noons were combined. */
static int left_out(struct db *db, int64_t day, struct exclusion_record **exclusions,
                    struct left_out_counts *out, struct err *err) {
    struct left_out_counts counts = {0};
    size_t excluded;
    if (review_rows_exclusions(db, day, exclusions, &excluded, err) ||
        derived_rows_left_out(db, day, &counts.withdrawn, &counts.unusable, err))
        return -1;
    counts.excluded = (int)excluded;
    counts.unusable -= counts.excluded;
    *out = counts;
    return 0;
}

/* The text as a blob, marked by its hash; NULL when memory is short. Releases it. */
static struct blob *to_blob(struct text *text) {
    char hash[HASH_HEX_MAX];
    hash_bytes(text->bytes, text->length, hash);
    hash[MARK_LENGTH] = '\0';
    struct blob *blob = blob_new(text, hash);
    text_release(text);
    return blob;
}

static struct blob *write_result(const struct combination *combination,
                                 const struct left_out_counts *counts,
                                 const struct exclusion_record *exclusions) {
    const struct combined_record record = {
        .combined = &combination->combined,
        .off_line = combination->off_line,
        .off_lines = combination->off_lines,
        .influence = combination->influence,
        .influences = combination->influences,
        .counts = counts,
        .exclusion = exclusions,
        .exclusions = (size_t)counts->excluded,
    };
    struct json_writer json;
    struct text text;
    text_init(&text, JSON_MAX);
    json_write_init(&json, &text);
    record_write_combined(&json, NULL, &record);
    return to_blob(&text);
}

static size_t up_to(size_t count, size_t limit) {
    return count < limit ? count : limit;
}

static struct blob *write_leaderboard(const struct figures *figures, size_t limit) {
    struct board cut = figures->board;
    struct json_writer json;
    struct text text;
    cut.pairs_count = up_to(cut.pairs_count, limit);
    cut.sites_count = up_to(cut.sites_count, limit);
    cut.honesty_count = up_to(cut.honesty_count, limit);
    text_init(&text, JSON_MAX);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    board_write(&json, &cut);
    record_write_left_out_counts(&json, "left_out_counts", &figures->left_out);
    json_write_end(&json);
    return to_blob(&text);
}

struct blob *figures_leaderboard_at_hand(struct figures *figures, size_t limit) {
    for (int i = 0; i < FIGURES_LENGTHS; i++) {
        const struct figures_lines *lines = atomic_load(&figures->lines[i]);
        if (lines && lines->limit == limit)
            return blob_hold(lines->json);
    }
    return NULL;
}

/* Two who write the same at one time both keep it, which does no harm. */
static void keep_lines(struct figures *figures, size_t limit, struct blob *json) {
    struct figures_lines *lines = malloc(sizeof *lines);
    if (!lines)
        return;
    *lines = (struct figures_lines){.limit = limit, .json = blob_hold(json)};
    for (int i = 0; i < FIGURES_LENGTHS; i++) {
        struct figures_lines *none = NULL;
        if (atomic_compare_exchange_strong(&figures->lines[i], &none, lines))
            return;
    }
    blob_release(lines->json);
    free(lines);
}

struct blob *figures_leaderboard(struct figures *figures, size_t limit) {
    struct blob *json = figures_leaderboard_at_hand(figures, limit);
    if (json)
        return json;
    json = write_leaderboard(figures, limit);
    if (json)
        keep_lines(figures, limit, json);
    return json;
}

static int make_from(struct tally *tally, const struct book_view *view, const struct day_row *day,
                     struct figures *figures, struct err *err) {
    struct combination combination = {0};
    struct exclusion_record *exclusions = NULL;
    int result = -1;
    if (tally_combine(tally, &combination, err) ||
        board_make(tally, LIST_LIMIT_MAX, &figures->board, err) ||
        left_out(view->db, day->id, &exclusions, &figures->left_out, err))
        goto cleanup;
    figures->left_out.off_the_line = combination.combined.left_out;
    figures->left_out.readings = (int)tally_readings_left_out(tally);
    figures->noons = tally_count(tally);
    figures->result = write_result(&combination, &figures->left_out, exclusions);
    if (figures->result)
        result =
            headline_read(figures->result->bytes, figures->result->length, &figures->headline, err);
    else
        err_set(err, ERR_INTERNAL, NULL, "the figures do not fit");
cleanup:
    free(exclusions);
    combination_release(&combination);
    return result;
}

static int make(const struct book_view *view, const struct day_row *day, double now_utc_s,
                struct figures **out, struct err *err) {
    struct figures *figures = calloc(1, sizeof *figures);
    struct book_loan loan;
    if (!figures)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    atomic_init(&figures->holders, 1);
    figures->made_utc_s = now_utc_s;
    memcpy(figures->day, day->record.day, sizeof figures->day);
    int result = book_borrow(view, day, LIST_LIMIT_MAX, &loan, err);
    if (result == 0) {
        result = make_from(loan.tally, view, day, figures, err);
        book_give_back(view->book, day, &loan, result == 0);
    }
    if (result == 0)
        *out = figures_hold(figures);
    figures_release(figures);
    return result;
}

/* Not long ago; a clock set back makes them old. */
static bool rested(const struct figures *figures, double now_utc_s) {
    const double since_s = now_utc_s - figures->made_utc_s;
    const double rest_s = fmax(REST_S, REST_S_PER_NOON * (double)figures->noons);
    return figures->noons >= RESTING_NOONS && since_s >= 0.0 && since_s < rest_s;
}

static bool is_good(const struct figures *figures, enum book_kept how, double now_utc_s) {
    return how == BOOK_CURRENT || rested(figures, now_utc_s) ||
           (how == BOOK_IN_MAKING && figures->noons >= RESTING_NOONS);
}

/* Whoever is shown figures that take long to make wants to see them fresh the next time. */
static struct figures *shown(struct book *book, struct figures *figures, double now_utc_s) {
    if (figures->noons >= RESTING_NOONS)
        book_watch(book, figures, now_utc_s);
    return figures;
}

static int find_or_make(const struct book_view *view, const struct day_row *day, double now_utc_s,
                        struct figures **out, struct err *err) {
    enum book_kept how;
    struct figures *kept, *made = NULL;
    for (;;) {
        kept = book_claim(view->book, day->id, now_utc_s, &how);
        if ((kept && is_good(kept, how, now_utc_s)) || how != BOOK_IN_MAKING)
            break;
        figures_release(kept);
        book_await(view->book, day->id);
    }
    if (kept && is_good(kept, how, now_utc_s)) {
        if (how == BOOK_BEHIND)
            book_keep(view->book, day->id, NULL, 0);
        *out = kept;
        return 0;
    }
    int result = make(view, day, now_utc_s, &made, err);
    book_keep(view->book, day->id, made, view->moment);
    figures_release(kept);
    if (result == 0)
        *out = made;
    return result;
}

int figures_of_day(const struct book_view *view, const char *day, double now_utc_s,
                   struct figures **out, struct err *err) {
    struct day_row row;
    if (lookup_day(view->db, day, &row, err) || find_or_make(view, &row, now_utc_s, out, err))
        return -1;
    *out = shown(view->book, *out, now_utc_s);
    return 0;
}

int figures_of_day_key(const struct book_view *view, int64_t day, double now_utc_s,
                       struct figures **out, struct err *err) {
    struct day_row row;
    if (day_rows_get(view->db, day, &row, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "there is no such day");
    return find_or_make(view, &row, now_utc_s, out, err);
}

int figures_remake(const struct book_view *view, int64_t day, double now_utc_s, struct err *err) {
    struct day_row row;
    struct figures *made = NULL;
    int result = -1;
    if (day_rows_get(view->db, day, &row, err) == FOUND_ONE)
        result = make(view, &row, now_utc_s, &made, err);
    else
        err_set(err, ERR_INTERNAL, NULL, "there is no such day");
    book_keep(view->book, day, made, view->moment);
    figures_release(made);
    return result;
}

struct figures *figures_at_hand(struct book *book, const char *day, double now_utc_s) {
    enum book_kept how;
    struct figures *kept = book_kept(book, day, now_utc_s, &how);
    if (kept && is_good(kept, how, now_utc_s))
        return shown(book, kept, now_utc_s);
    figures_release(kept);
    return NULL;
}
