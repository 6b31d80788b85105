/* SPDX-License-Identifier: MIT */
/* removal: first the secrets, so that nothing comes in any more; then what is kept;
 * then everything that follows from it. */
#include "server/rules/removal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/derive.h"
#include "server/rules/lookup.h"
#include "server/store/credential_rows.h"
#include "server/store/day_rows.h"
#include "server/store/privacy_rows.h"
#include "server/store/reduction_rows.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

#define BODY_MAX (1u << 18)

int removal_erase_words(struct change *change, int64_t run, struct err *err) {
    struct db *db = change_db(change);
    struct run_row row;
    struct run_record *record = malloc(sizeof *record);
    struct text text;
    struct json_writer json;
    struct err ours = {0};
    int result = -1;
    text_init(&text, BODY_MAX);
    if (!record) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    if (lookup_run(db, run, &row, err))
        goto cleanup;
    if (record_read_run(row.body, row.body_length, record, &ours)) {
        err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s", (long long)run, ours.text);
        free(row.body);
        goto cleanup;
    }
    free(row.body);
    record->sky[0] = record->level[0] = record->note[0] = '\0';
    json_write_init(&json, &text);
    record_write_run_request(&json, NULL, record);
    if (text.failed) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    result = privacy_rows_replace_body(db, run, text.bytes, text.length, err);
cleanup:
    text_release(&text);
    free(record);
    return result;
}

static int end_secrets(struct change *change, int64_t site, int64_t by, double now_utc_s,
                       struct err *err) {
    struct db *db = change_db(change);
    return credential_rows_revoke(db, site, role_name(ROLE_SCHOOL), by, now_utc_s, err) ||
                   credential_rows_revoke(db, site, role_name(ROLE_CLASS), by, now_utc_s, err) ||
                   privacy_rows_end_sessions(db, site, err) ||
                   privacy_rows_forget_registration(db, site, err)
               ? -1
               : 0;
}

static int leave_days(struct change *change, int64_t site, int64_t by, double now_utc_s,
                      struct err *err) {
    struct db *db = change_db(change);
    int64_t *days = NULL;
    size_t count = 0;
    int failed = privacy_rows_days_without_run(db, site, &days, &count, err);
    for (size_t i = 0; i < count && !failed; i++)
        failed = day_rows_add_event(db, days[i], site, false, by, now_utc_s, err);
    free(days);
    return failed ? -1 : 0;
}

/* A number in place of the name; somebody may have called a school so. */
static int choose_identifier(struct db *db, int64_t site, char out[ID_MAX + 1], struct err *err) {
    struct site_row row;
    for (int n = 1; n < 1000; n++) {
        if (n == 1)
            snprintf(out, ID_MAX + 1, "removed-%lld", (long long)site);
        else
            snprintf(out, ID_MAX + 1, "removed-%lld-%d", (long long)site, n);
        enum found found = site_rows_find(db, out, &row, err);
        if (found != FOUND_ONE)
            return found == FOUND_NONE ? 0 : -1;
    }
    return err_set(err, ERR_INTERNAL, NULL, "no identifier is left for a removed school");
}

/* What stays of the record: the place, coarser, and the instrument. */
static void coarsen(struct site_record *record) {
    record->place = record->exact;
    record->position_decimals = REMOVED_DECIMALS;
    site_record_settle(record);
    record->place.sigma_deg = 0.0;
    site_record_settle(record); /* the exact position is the coarse one now */
    snprintf(record->name, sizeof record->name, REMOVED_NAME);
    record->zone[0] = record->contact[0] = '\0';
}

static int withdraw_run(struct change *change, const struct run_row *run, int64_t by,
                        double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    return run_rows_withdraw(db, run->id, "", by, now_utc_s, err) ||
                   reduction_rows_retire(db, run->id, err)
               ? -1
               : 0;
}

/* Runs lose their words and are reduced with the coarser position. */
static int redo_runs(struct change *change, const struct site_row *site, bool withdraw, int64_t by,
                     double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct run_row *runs = NULL;
    size_t count = 0;
    if (run_rows_list(db, site->id, 0, INT64_MAX, &runs, &count, err))
        return -1;
    int failed = 0;
    for (size_t i = 0; i < count && !failed; i++) {
        bool ends = withdraw && run_row_is_current(&runs[i]);
        failed = removal_erase_words(change, runs[i].id, err);
        if (!failed && ends)
            failed = withdraw_run(change, &runs[i], by, now_utc_s, err);
        if (ends)
            runs[i].withdrawn_utc_s = now_utc_s;
        if (!failed)
            failed = derive_run(db, change_almanac(change), &runs[i], site, err);
        change_touch(change, runs[i].day);
    }
    run_rows_release(runs, count);
    return failed ? -1 : 0;
}

int site_remove(struct change *change, const struct caller *caller, const char *site,
                const char *reason, bool withdraw, double now_utc_s, char out[ID_MAX + 1],
                struct err *err) {
    struct db *db = change_db(change);
    const int64_t by = caller ? caller->credential : 0;
    struct site_row row;
    char identifier[ID_MAX + 1];
    if ((caller && caller_may(caller, ROLE_SCHOOL, site, err)) ||
        lookup_site(db, site, &row, err) || choose_identifier(db, row.id, identifier, err))
        return -1;
    coarsen(&row.record);
    memcpy(row.record.site, identifier, sizeof row.record.site);
    if (end_secrets(change, row.id, by, now_utc_s, err) ||
        leave_days(change, row.id, by, now_utc_s, err) ||
        privacy_rows_rename_site(db, row.id, site, identifier, err) ||
        privacy_rows_erase_site(db, row.id, &row.record, err) ||
        privacy_rows_erase_words(db, row.id, err) ||
        redo_runs(change, &row, withdraw, by, now_utc_s, err) ||
        privacy_rows_add_removal(db, row.id, reason, by, now_utc_s, err) ||
        audit_note(change, caller, "site.remove", audit_subject("sites/%s", identifier).text,
                   withdraw ? "runs withdrawn" : NULL, now_utc_s, err))
        return -1;
    memcpy(out, identifier, sizeof identifier);
    return 0;
}
