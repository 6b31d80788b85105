/* SPDX-License-Identifier: MIT */
/* accept_record: everything is worked out first, so that the answer can be
 * recorded in the same row as the run it answers. */
#include "server/rules/accept_record.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/wire/record_write.h"

#define REDUCTION_JSON_MAX (1u << 18)

static int write_out(const struct accept_record *record, int64_t run,
                     const struct reduction_record *reduction, const struct pair_record *pairs,
                     size_t count, accept_answer write_answer, struct text *answer,
                     struct err *err) {
    const struct run_state state = {.submitted_utc_s = record->now_utc_s, .withdrawn_utc_s = NAN};
    const struct accepted accepted = {
        .run = run,
        .sent = record->sent,
        .state = &state,
        .reduction = reduction,
        .pairs = pairs,
        .pairs_count = count,
    };
    return write_answer(&accepted, answer, err);
}

static int record_run(struct db *db, const struct accept_record *record, int64_t run,
                      const struct text *answer, bool *is_answered, struct err *err) {
    const struct run_new row = {
        .day = record->day->id,
        .site = record->site->id,
        .supersedes = record->sent->supersedes,
        .body = record->body,
        .body_length = record->body_length,
        .submitted_utc_s = record->now_utc_s,
        .submitted_by = record->caller->credential,
        .idempotency_key = record->idempotency_key,
    };
    if (run_rows_add(db, run, &row, answer ? answer->bytes : "", answer ? answer->length : 0,
                     is_answered, err))
        return -1;
    return row.supersedes && !*is_answered ? reduction_rows_retire(db, row.supersedes, err) : 0;
}

/* As JSON, to be freed; NULL when memory is short. */
static char *tell(const struct reduction_record *reduction, struct err *err) {
    struct text text;
    struct json_writer json;
    text_init(&text, REDUCTION_JSON_MAX);
    json_write_init(&json, &text);
    record_write_reduction(&json, NULL, reduction);
    char *told = text_take(&text);
    text_release(&text);
    if (!told)
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
    return told;
}

static int note(struct change *change, const struct accept_record *record, int64_t run,
                struct err *err) {
    return audit_note(
        change, record->caller, record->sent->supersedes ? "run.correct" : "run.submit",
        audit_subject("runs/%lld", (long long)run).text, NULL, record->now_utc_s, err);
}

int accept_record(struct change *change, const struct accept_record *record,
                  accept_answer write_answer, struct text *answer, int64_t *run,
                  char **reduction_json, bool *is_answered, struct err *err) {
    struct db *db = change_db(change);
    struct left_out_record left_out[RUN_READINGS_MAX];
    struct reduction_record reduction;
    struct day_noon noon;
    struct pair_record *pairs = NULL;
    size_t count = 0;
    int64_t id;
    int result = -1;
    if (run_rows_next_id(db, &id, err))
        return -1;
    const struct derived_run derived = {.run = id,
                                        .day = record->day->id,
                                        .day_id = record->day->record.day,
                                        .site = record->site,
                                        .sent = &record->sent->run,
                                        .reduction = record->reduction,
                                        .is_new = true,
                                        .is_current = true};
    bool counts = derive_forms(&derived, left_out, &reduction, &noon);
    if (write_answer) {
        const struct book_view view = change_view(change);
        if (counts && book_pairs(&view, record->day, &noon, ACCEPT_PAIRS_MAX, &pairs, &count, err))
            goto cleanup;
        if (write_out(record, id, &reduction, pairs, count, write_answer, answer, err))
            goto cleanup;
    }
    if (record_run(db, record, id, write_answer ? answer : NULL, is_answered, err))
        goto cleanup;
    if (*is_answered) {
        result = 0;
        goto cleanup;
    }
    if (derive_put_reduction(db, &derived, &reduction, counts ? &noon : NULL, err) ||
        note(change, record, id, err))
        goto cleanup;
    change_noon(change, record->day->id, record->site->id, counts ? &noon : NULL);
    struct notice notice = {.kind = NOTICE_RUN,
                            .day = record->day->id,
                            .run = id,
                            .readings = reduction.used + reduction.left_outs};
    memcpy(notice.site, record->site->record.site, sizeof notice.site);
    change_notice(change, &notice);
    if (reduction_json && !(*reduction_json = tell(&reduction, err)))
        goto cleanup;
    if (run)
        *run = id;
    result = 0;
cleanup:
    free(pairs);
    return result;
}
