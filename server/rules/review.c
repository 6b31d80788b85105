/* SPDX-License-Identifier: MIT */
/* review: which runs are flagged by themselves stands in the store, and what their flags
 * say follows from the run; what lies off the day's line is found when the queue is asked
 * for, for it changes with every run. */
#include "server/rules/review.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/derive.h"
#include "server/rules/line.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/store/array.h"
#include "server/store/reduction_rows.h"
#include "server/store/review_rows.h"

/* ---- what is said ---- */

static int check_asked(struct db *db, int64_t run, struct err *err) {
    struct review_record *said;
    size_t count;
    if (review_rows_of_run(db, run, &said, &count, err))
        return -1;
    bool asked = false;
    for (size_t i = 0; i < count; i++)
        asked |= said[i].verdict == REVIEW_ASK;
    free(said);
    if (asked)
        return 0;
    return err_set(err, ERR_NOTHING_ASKED, "/verdict", "nothing was asked about run %lld",
                   (long long)run);
}

static int check_may(struct db *db, const struct caller *caller, const struct run_row *run,
                     enum review_verdict verdict, struct err *err) {
    if (verdict != REVIEW_ANSWER)
        return caller_may(caller, ROLE_ORGANISER, NULL, err);
    if (caller_may(caller, ROLE_SCHOOL, run->site_id, err))
        return -1;
    return check_asked(db, run->id, err);
}

static int put(struct change *change, const struct caller *caller, const struct run_row *run,
               const struct review_record *review, int64_t *id, struct err *err) {
    struct db *db = change_db(change);
    char action[24];
    snprintf(action, sizeof action, "run.%s", review_verdict_name(review->verdict));
    if (review_rows_add(db, review, caller->credential, id, err) ||
        audit_note(change, caller, action, audit_subject("runs/%lld", (long long)run->id).text,
                   NULL, review->recorded_utc_s, err))
        return -1;
    if (review->verdict != REVIEW_EXCLUDE && review->verdict != REVIEW_ACCEPT)
        return 0;
    change_touch(change, run->day);
    return reduction_rows_let_count(db, run->id, review->verdict == REVIEW_ACCEPT, err);
}

int review_record(struct change *change, const struct caller *caller,
                  const struct review_record *review, double now_utc_s, struct review_record *out,
                  struct err *err) {
    struct db *db = change_db(change);
    struct review_record record = *review;
    struct run_row run;
    int result = -1;
    if (caller->role < ROLE_SCHOOL)
        return caller_may(caller, ROLE_SCHOOL, NULL, err);
    if (lookup_run(db, review->run, &run, err))
        return -1;
    record.recorded_utc_s = now_utc_s;
    snprintf(record.by, sizeof record.by, "%s", role_name(caller->role));
    if (check_may(db, caller, &run, record.verdict, err))
        goto cleanup;
    if (!run_row_is_current(&run)) {
        err_set(err, ERR_RUN_NOT_CURRENT, NULL, "run %lld was corrected or withdrawn",
                (long long)run.id);
        goto cleanup;
    }
    if (put(change, caller, &run, &record, &record.id, err))
        goto cleanup;
    *out = record;
    result = 0;
cleanup:
    free(run.body);
    return result;
}

int review_list(struct db *db, const struct caller *caller, int64_t run, struct review_record **out,
                size_t *count, struct err *err) {
    struct run_row row;
    struct review_record *said;
    size_t n, kept = 0;
    if (lookup_run(db, run, &row, err))
        return -1;
    free(row.body);
    if (review_rows_of_run(db, run, &said, &n, err))
        return -1;
    bool all = caller_may(caller, ROLE_SCHOOL, row.site_id, NULL) == 0;
    for (size_t i = 0; i < n; i++)
        if (all || said[i].verdict == REVIEW_EXCLUDE || said[i].verdict == REVIEW_ACCEPT)
            said[kept++] = said[i];
    *out = said;
    *count = kept;
    return 0;
}

/* ---- the queue ---- */

void review_page_release(struct review_page *page) {
    for (size_t i = 0; i < page->count; i++)
        review_item_release(&page->items[i]);
    free(page->items);
    *page = (struct review_page){0};
}

/* Runs flagged or talked of, and sites off the line, both by site. */
struct queue {
    struct review_row *row;
    size_t rows;
    struct line_record *off; /* those off the line only */
    size_t offs;
};

static void queue_release(struct queue *queue) {
    free(queue->row);
    free(queue->off);
}

static int by_site(const void *left, const void *right) {
    const struct line_record *a = left, *b = right;
    return strcmp(a->site, b->site);
}

static int queue_load(struct db *db, const char *day, int64_t day_id, struct queue *out,
                      struct err *err) {
    size_t points = 0;
    if (review_rows_queue(db, day_id, &out->row, &out->rows, err) ||
        line_points(db, day, &out->off, &points, err))
        return -1;
    for (size_t i = 0; i < points; i++)
        if (out->off[i].left_out)
            out->off[out->offs++] = out->off[i];
    qsort(out->off, out->offs, sizeof *out->off, by_site);
    return 0;
}

/* The next line of the queue in the order of sites, from either list or both. */
static int queue_next(struct db *db, int64_t day_id, const struct queue *queue, size_t *row,
                      size_t *off, struct review_row *out, const struct line_record **line,
                      struct err *err) {
    const struct review_row *flagged = *row < queue->rows ? &queue->row[*row] : NULL;
    const struct line_record *stray = *off < queue->offs ? &queue->off[*off] : NULL;
    int order = !flagged ? 1 : !stray ? -1 : strcmp(flagged->site, stray->site);
    *line = order >= 0 ? stray : NULL;
    *row += order <= 0;
    *off += order >= 0;
    if (order <= 0) {
        *out = *flagged;
        return 0;
    }
    enum found found = review_rows_of_site(db, day_id, stray->site, out, err);
    if (found == FOUND_ONE)
        return 0;
    return err_set(err, ERR_STORAGE, NULL, "site %s has a noon but no run", stray->site);
}

static int flags_of(struct db *db, struct almanac *almanac, struct review_item *item,
                    struct err *err) {
    struct run_row run;
    if (lookup_run(db, item->run, &run, err))
        return -1;
    int result = derive_flags(db, almanac, &run, item->flag, &item->flags, err);
    free(run.body);
    return result;
}

static int item_make(struct db *db, struct almanac *almanac, const struct review_row *row,
                     const struct line_record *line, struct review_item *out, struct err *err) {
    struct review_item item = {.run = row->run,
                               .noon_angle_deg = row->noon_angle_deg,
                               .sigma_deg = row->sigma_deg,
                               .counts = row->counts};
    memcpy(item.site, row->site, sizeof item.site);
    if (flags_of(db, almanac, &item, err) ||
        review_rows_of_run(db, row->run, &item.review, &item.reviews, err))
        return -1;
    if (line)
        flag_off_the_line(line->residual_deg, line->sigma_deg, &item.flag[item.flags++]);
    item.status = review_status_of(item.review, item.reviews);
    *out = item;
    return 0;
}

static int collect(struct db *db, struct almanac *almanac, int64_t day_id,
                   const struct queue *queue, const enum review_status *status, const char *after,
                   int64_t ask, struct review_page *page, struct err *err) {
    size_t row = 0, off = 0;
    while ((row < queue->rows || off < queue->offs) && (int64_t)page->count < ask) {
        struct review_row next;
        const struct line_record *line;
        if (queue_next(db, day_id, queue, &row, &off, &next, &line, err))
            return -1;
        if (strcmp(next.site, after) <= 0)
            continue;
        struct review_item *grown = array_room(page->items, page->count, sizeof *grown, err);
        if (!grown)
            return -1;
        page->items = grown;
        if (item_make(db, almanac, &next, line, &page->items[page->count], err))
            return -1;
        if (status && page->items[page->count].status != *status)
            review_item_release(&page->items[page->count]);
        else
            page->count++;
    }
    return 0;
}

int review_queue(struct db *db, struct almanac *almanac, const struct caller *caller,
                 const char *day, const enum review_status *status, const char *after, size_t limit,
                 struct review_page *out, struct err *err) {
    struct day_row day_row;
    struct queue queue = {0};
    struct review_page page = {0};
    int result = -1;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) || lookup_day(db, day, &day_row, err))
        return -1;
    if (queue_load(db, day, day_row.id, &queue, err) ||
        collect(db, almanac, day_row.id, &queue, status, after, list_ask(limit), &page, err))
        goto cleanup;
    size_t read = page.count;
    if (list_more(limit, &page.count)) {
        for (size_t i = page.count; i < read; i++)
            review_item_release(&page.items[i]);
        memcpy(page.next, page.items[page.count - 1].site, sizeof page.next);
    }
    *out = page;
    page = (struct review_page){0};
    result = 0;
cleanup:
    review_page_release(&page);
    queue_release(&queue);
    return result;
}
