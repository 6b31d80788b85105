/* SPDX-License-Identifier: MIT */
/* editions: everything slow is done on a reader's connection; the writer only
 * makes sure that nobody was faster. */
#include "server/rules/editions.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/edition_records.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"

#define HEAD_MAX 16384u

void edition_ready_release(struct edition_ready *ready) {
    text_release(&ready->bundle);
    text_release(&ready->head_json);
}

void edition_page_release(struct edition_page *page) {
    edition_rows_release(page->items, page->count);
    *page = (struct edition_page){0};
}

/* The days that an edition is made of, by date and identifier. */
struct subject {
    struct day_row *day; /* owned */
    size_t days;
    char title[NAME_MAX_BYTES + 1];
};

static int days_of_season(struct db *db, const char *season, struct subject *out, struct err *err) {
    struct season_row row;
    struct day_record *records;
    size_t count;
    struct day_filter filter = {.after_date = INT32_MIN, .after_day = "", .season = season};
    if (lookup_season(db, season, &row, err) ||
        day_rows_list(db, &filter, INT64_MAX, &records, &count, err))
        return -1;
    memcpy(out->title, row.record.name, sizeof out->title);
    out->day = calloc(count + 1, sizeof *out->day);
    int result = out->day ? 0 : err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count && result == 0; i++)
        if (day_state_allows(records[i].state, DAY_ACT_PUBLISH))
            result = lookup_day(db, records[i].day, &out->day[out->days++], err);
    free(records);
    return result;
}

/* lookup: which days are found. */
static int one_day(struct db *db, const char *day,
                   int (*lookup)(struct db *, const char *, struct day_row *, struct err *),
                   struct subject *out, struct err *err) {
    out->day = calloc(1, sizeof *out->day);
    if (!out->day)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    if (lookup(db, day, out->day, err))
        return -1;
    memcpy(out->title, out->day->record.name, sizeof out->title);
    out->days = 1;
    return 0;
}

static int subject_find(struct db *db, enum edition_kind kind, const char *subject,
                        struct subject *out, struct err *err) {
    if (kind == EDITION_SEASON)
        return days_of_season(db, subject, out, err);
    return one_day(db, subject, lookup_any_day, out, err) ||
                   day_state_check(out->day->record.state, DAY_ACT_PUBLISH, err)
               ? -1
               : 0;
}

/* The newest edition of the subject becomes the one before. */
static int find_before(struct db *db, struct edition_head *head, struct text *before,
                       struct err *err) {
    struct edition_row *rows;
    size_t count;
    if (edition_rows_list(db, edition_kind_name(head->kind), head->subject, INT64_MAX, 1, &rows,
                          &count, err))
        return -1;
    int result = 0;
    if (count > 0) {
        head->replaces = rows[0].number;
        memcpy(head->replaces_sha256, rows[0].sha256, sizeof head->replaces_sha256);
        if (edition_rows_bundle(db, rows[0].number, before, err) != FOUND_ONE)
            result =
                err_set(err, ERR_STORAGE, NULL, "edition %lld is gone", (long long)rows[0].number);
    }
    edition_rows_release(rows, count);
    if (result == 0 && head->replaces != 0 && head->reason[0] == '\0')
        return err_set(err, ERR_MISSING_FIELD, "/reason",
                       "edition %lld is out: say why it is corrected", (long long)head->replaces);
    return result;
}

static int make(struct db *db, const struct subject *subject, struct edition_ready *ready,
                struct err *err) {
    struct text records, before;
    struct edition_headline headline;
    struct json_writer json;
    bool unchanged;
    size_t runs;
    int result = -1;
    struct edition_head *head = &ready->head;
    text_init(&records, EDITION_MAX);
    text_init(&before, EDITION_MAX);
    if (find_before(db, head, &before, err) ||
        edition_records_write(db, subject->day, subject->days, &records, &runs, err))
        goto cleanup;
    if (runs == 0 && head->replaces == 0) {
        err_set(err, ERR_NOTHING_TO_PUBLISH, NULL,
                "there is nothing to publish: no run stands that a school lets editions keep");
        goto cleanup;
    }
    if (edition_make(head, records.bytes, records.length, head->replaces ? before.bytes : NULL,
                     before.length, &ready->bundle, &headline, &unchanged, err))
        goto cleanup;
    if (unchanged) {
        err_set(err, ERR_NOTHING_CHANGED, NULL,
                "edition %lld says just this: nothing changed since", (long long)head->replaces);
        goto cleanup;
    }
    canonical_sha256(ready->bundle.bytes, ready->bundle.length, ready->sha256);
    json_write_init(&json, &ready->head_json);
    edition_write_head(&json, NULL, head, &headline, ready->sha256, ready->bundle.length);
    result = ready->head_json.failed ? err_set(err, ERR_INTERNAL, NULL, "out of memory") : 0;
cleanup:
    text_release(&records);
    text_release(&before);
    return result;
}

int edition_prepare(struct db *db, const struct caller *caller, enum edition_kind kind,
                    const char *subject, const struct edition_ask *ask, double now_utc_s,
                    struct edition_ready *out, struct err *err) {
    struct subject of = {0};
    struct edition_head *head = &out->head;
    int result = -1;
    *out = (struct edition_ready){0};
    text_init(&out->bundle, EDITION_MAX);
    text_init(&out->head_json, HEAD_MAX);
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) || subject_find(db, kind, subject, &of, err))
        goto cleanup;
    head->kind = kind;
    head->published_utc_s = now_utc_s;
    snprintf(head->subject, sizeof head->subject, "%s", subject);
    memcpy(head->reason, ask->reason, sizeof head->reason);
    memcpy(head->title, ask->title[0] != '\0' ? ask->title : of.title, sizeof head->title);
    result = edition_rows_next(db, &head->edition, err) || make(db, &of, out, err) ? -1 : 0;
cleanup:
    free(of.day);
    return result;
}

int edition_publish(struct change *change, const struct caller *caller,
                    const struct edition_ready *ready, struct err *err) {
    struct db *db = change_db(change);
    const struct edition_new row = {.head = &ready->head,
                                    .sha256 = ready->sha256,
                                    .head_json = &ready->head_json,
                                    .bundle = &ready->bundle,
                                    .by = caller->credential};
    int64_t next;
    if (edition_rows_next(db, &next, err))
        return -1;
    if (next != ready->head.edition)
        return err_set(err, ERR_BUSY, NULL,
                       "another edition was published at this moment: look at it and try again");
    return edition_rows_add(db, &row, err) ||
                   audit_note(change, caller, "edition.publish",
                              audit_subject("editions/%lld", (long long)next).text, NULL,
                              ready->head.published_utc_s, err)
               ? -1
               : 0;
}

int edition_list(struct db *db, const enum edition_kind *kind, const char *subject, int64_t before,
                 size_t limit, struct edition_page *out, struct err *err) {
    struct edition_page page = {0};
    if (edition_rows_list(db, kind ? edition_kind_name(*kind) : NULL, subject,
                          before ? before : INT64_MAX, list_ask(limit), &page.items, &page.count,
                          err))
        return -1;
    size_t read = page.count;
    if (list_more(limit, &page.count)) {
        for (size_t i = page.count; i < read; i++)
            free(page.items[i].head);
        page.next = page.items[page.count - 1].number;
    }
    *out = page;
    return 0;
}

int edition_get(struct db *db, int64_t number, struct edition_row *out, struct err *err) {
    enum found found = edition_rows_get(db, number, out, err);
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no edition %lld", (long long)number);
    return found == FOUND_ONE ? 0 : -1;
}

int edition_bundle(struct db *db, int64_t number, struct text *out, struct err *err) {
    enum found found = edition_rows_bundle(db, number, out, err);
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no edition %lld", (long long)number);
    return found == FOUND_ONE && !out->failed ? 0
                                              : err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

int edition_everything(struct db *db, const char *day, struct text *out, struct err *err) {
    struct subject of = {0};
    struct text records;
    text_init(&records, EDITION_MAX);
    int result = one_day(db, day, lookup_day, &of, err) ||
                         edition_records_write(db, of.day, of.days, &records, NULL, err) ||
                         edition_write_everything(records.bytes, records.length, out, err)
                     ? -1
                     : 0;
    free(of.day);
    text_release(&records);
    return result;
}

int edition_keeps_get(struct db *db, const char *site, enum edition_keeps *out, struct err *err) {
    struct site_row row;
    return lookup_site(db, site, &row, err) || edition_rows_keeps(db, row.id, out, err) ? -1 : 0;
}

int edition_keeps_set(struct change *change, const struct caller *caller, const char *site,
                      enum edition_keeps keeps, double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct site_row row;
    enum edition_keeps before;
    if (caller_may(caller, ROLE_SCHOOL, site, err) || lookup_site(db, site, &row, err) ||
        edition_rows_keeps(db, row.id, &before, err))
        return -1;
    if (before == keeps)
        return 0;
    return edition_rows_add_keeps(db, row.id, keeps, caller->credential, now_utc_s, err) ||
                   audit_note(change, caller, "site.agree", audit_subject("sites/%s", site).text,
                              edition_keeps_name(keeps), now_utc_s, err)
               ? -1
               : 0;
}
