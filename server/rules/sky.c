/* SPDX-License-Identifier: MIT */
#include "server/rules/sky.h"

#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/rules/partners.h"
#include "server/store/sky_rows.h"

/* A word said again so soon is the same report: a button pressed twice. */
#define SAID_AGAIN_S 10.0

void sky_page_release(struct sky_page *page) {
    free(page->items);
    *page = (struct sky_page){0};
}

static int record(struct change *change, const struct caller *caller, const struct day_row *day,
                  const struct site_row *site, enum sky sky, double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    enum sky before = SKY_UNTOLD;
    double before_utc_s = 0.0;
    enum found found = sky_rows_newest(db, day->id, site->id, &before, &before_utc_s, err);
    if (found == FOUND_FAILED)
        return -1;
    if (before == sky && now_utc_s - before_utc_s < SAID_AGAIN_S)
        return 0;
    if (sky_rows_add(db, day->id, site->id, sky, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "sky.report",
                   audit_subject("days/%s/sites/%s", day->record.day, site->record.site).text,
                   sky_name(sky), now_utc_s, err))
        return -1;
    struct notice notice = {
        .kind = NOTICE_SKY, .day = day->id, .sky = sky, .reported_utc_s = now_utc_s};
    memcpy(notice.site, site->record.site, sizeof notice.site);
    change_notice(change, &notice);
    return 0;
}

int sky_report(struct change *change, const struct caller *caller, const char *day,
               const char *site, enum sky sky, double now_utc_s, struct sky_record *out,
               struct err *err) {
    struct db *db = change_db(change);
    struct day_row day_row;
    struct site_row site_row;
    if (caller_may(caller, ROLE_CLASS, site, err) || lookup_day(db, day, &day_row, err) ||
        lookup_site(db, site, &site_row, err) ||
        day_check_measuring(db, &day_row, site_row.id, err))
        return -1;
    if (record(change, caller, &day_row, &site_row, sky, now_utc_s, err) ||
        (sky_is_open(sky) ? partners_back(change, &day_row, &site_row, now_utc_s, err)
                          : partners_lost(change, &day_row, &site_row, now_utc_s, err)))
        return -1;
    return sky_rows_line(db, day_row.id, site_row.id, out, err) == FOUND_ONE
               ? 0
               : err_set(err, ERR_INTERNAL, NULL, "the site vanished");
}

int sky_board(struct db *db, const char *day, const char *after, size_t limit, struct sky_page *out,
              struct err *err) {
    struct sky_page page = {0};
    struct day_row row;
    if (lookup_day(db, day, &row, err) || sky_rows_counts(db, row.id, &page.counts, err) ||
        sky_rows_board(db, row.id, after, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count))
        memcpy(page.next, page.items[page.count - 1].site, sizeof page.next);
    *out = page;
    return 0;
}
