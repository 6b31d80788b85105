/* SPDX-License-Identifier: MIT */
/* seasons: opened, revised, listed. */
#include "server/rules/seasons.h"

#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/lookup.h"
#include "server/rules/slug.h"

void season_page_release(struct season_page *page) {
    free(page->items);
    *page = (struct season_page){0};
}

int season_open(struct change *change, const struct caller *caller,
                const struct season_record *season, double now_utc_s, struct season_record *out,
                struct err *err) {
    struct season_record record = *season;
    struct season_row row;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err))
        return -1;
    if (record.season[0] == '\0')
        slug_make(record.name, 1, record.season);
    enum found found = season_rows_find(change_db(change), record.season, &row, err);
    if (found == FOUND_ONE)
        return err_set(err, ERR_SEASON_EXISTS, "/season",
                       "a season called %s exists; choose another identifier", record.season);
    if (found == FOUND_FAILED ||
        season_rows_add(change_db(change), &record, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "season.open", audit_subject("seasons/%s", record.season).text,
                   NULL, now_utc_s, err))
        return -1;
    *out = record;
    return 0;
}

int season_revise(struct change *change, const struct caller *caller,
                  const struct season_record *season, double now_utc_s, struct season_record *out,
                  struct err *err) {
    struct season_row row;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        lookup_season(change_db(change), season->season, &row, err))
        return -1;
    bool differs =
        strcmp(row.record.name, season->name) != 0 || row.record.approval != season->approval;
    if (differs &&
        (season_rows_add_version(change_db(change), row.id, row.version + 1, season,
                                 caller->credential, now_utc_s, err) ||
         audit_note(change, caller, "season.revise",
                    audit_subject("seasons/%s", season->season).text,
                    season->approval ? "with approval" : "without approval", now_utc_s, err)))
        return -1;
    *out = *season;
    return 0;
}

int season_get(struct db *db, const char *season, struct season_record *out, struct err *err) {
    struct season_row row;
    if (lookup_season(db, season, &row, err))
        return -1;
    *out = row.record;
    return 0;
}

int season_list(struct db *db, const char *after, size_t limit, struct season_page *out,
                struct err *err) {
    struct season_page page = {0};
    if (season_rows_list(db, after, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count))
        memcpy(page.next, page.items[page.count - 1].season, sizeof page.next);
    *out = page;
    return 0;
}
