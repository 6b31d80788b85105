/* SPDX-License-Identifier: MIT */
/* runs: the recorded run beside the derived reduction. */
#include "server/rules/runs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/text.h"
#include "server/rules/day_states.h"
#include "server/rules/derive.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/store/reduction_rows.h"

#define REDUCTION_JSON_MAX (1u << 20)

void run_view_release(struct run_view *view) {
    free(view->body);
    free(view->reduction_json);
    *view = (struct run_view){0};
}

void run_page_release(struct run_page *page) {
    for (size_t i = 0; i < page->count; i++)
        run_view_release(&page->items[i]);
    free(page->items);
    *page = (struct run_page){0};
}

void reduction_lines_release(struct reduction_lines *lines) {
    free(lines->items);
    *lines = (struct reduction_lines){0};
}

static int tell_reduction(struct db *db, struct almanac *almanac, const struct run_row *row,
                          int32_t date, struct run_view *view, struct err *err) {
    struct text text;
    double lon_deg;
    text_init(&text, REDUCTION_JSON_MAX);
    if (derive_told(db, almanac, row, &text, &lon_deg, &view->noon_date, err) == 0) {
        view->of_date = day_noon_is_of(view->noon_date, date, lon_deg);
        view->reduction_json = text_take(&text);
    }
    text_release(&text);
    return view->reduction_json ? 0 : -1;
}

/* day: that of the run, NULL to look it up. */
static int view_of(struct db *db, struct almanac *almanac, int64_t run, const struct day_row *day,
                   struct run_view *out, struct err *err) {
    struct run_row row;
    struct day_row own;
    struct run_view view = {0};
    if (lookup_run(db, run, &row, err))
        return -1;
    if (day == NULL && day_rows_get(db, row.day, &own, err) != FOUND_ONE) {
        free(row.body);
        return -1;
    }
    const int32_t date = day != NULL ? day->record.date : own.record.date;
    if (almanac && tell_reduction(db, almanac, &row, date, &view, err)) {
        free(row.body);
        return -1;
    }
    view.run = row.id;
    memcpy(view.site, row.site_id, sizeof view.site);
    memcpy(view.day, row.day_id, sizeof view.day);
    view.submitted_utc_s = row.submitted_utc_s;
    view.supersedes = row.supersedes;
    view.superseded_by = row.superseded_by;
    view.withdrawn_utc_s = row.withdrawn_utc_s;
    view.body = row.body;
    view.body_length = row.body_length;
    *out = view;
    return 0;
}

int run_get(struct db *db, struct almanac *almanac, int64_t run, struct run_view *out,
            struct err *err) {
    return view_of(db, almanac, run, NULL, out, err);
}

int run_of_site(struct db *db, struct almanac *almanac, const char *day, const char *site,
                struct run_view *out, struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    int64_t run;
    if (lookup_day(db, day, &day_row, err) || lookup_site(db, site, &site_row, err))
        return -1;
    enum found found = run_rows_current(db, day_row.id, site_row.id, &run, err);
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, "site", "%s has handed in no run on %s", site, day);
    return found == FOUND_ONE ? run_get(db, almanac, run, out, err) : -1;
}

int run_list(struct db *db, struct almanac *almanac, const char *day, const char *after,
             size_t limit, struct run_page *out, struct err *err) {
    struct day_row day_row;
    struct current_run *current = NULL;
    struct run_page page = {0};
    size_t count = 0;
    int result = -1;
    if (lookup_day(db, day, &day_row, err) ||
        reduction_rows_current(db, day_row.id, after, list_ask(limit), &current, &count, err))
        return -1;
    bool more = list_more(limit, &count);
    page.items = calloc(count + 1, sizeof *page.items);
    if (!page.items) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (; page.count < count; page.count++) {
        struct run_view *view = &page.items[page.count];
        if (view_of(db, almanac, current[page.count].run, &day_row, view, err))
            goto cleanup;
    }
    if (more)
        memcpy(page.next, current[count - 1].site, sizeof page.next);
    *out = page;
    page = (struct run_page){0};
    result = 0;
cleanup:
    run_page_release(&page);
    free(current);
    return result;
}

int reduction_lines(struct db *db, const char *day, struct reduction_lines *out, struct err *err) {
    struct day_row row;
    struct reduction_lines lines = {0};
    if (lookup_day(db, day, &row, err) ||
        reduction_rows_lines(db, row.id, &lines.items, &lines.count, err))
        return -1;
    *out = lines;
    return 0;
}
