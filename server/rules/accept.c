/* SPDX-License-Identifier: MIT */
/* accept: one submission from the body to the answer, and withdrawing. */
#include "server/rules/accept.h"

#include <stdlib.h>
#include <string.h>

#include "server/rules/accept_record.h"
#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/known_days.h"
#include "server/rules/lookup.h"
#include "server/rules/verdict.h"

/* Whether the key was answered before; then answer (unless NULL) is that answer. */
static int answered(struct db *db, const struct submission *submission, struct text *answer,
                    bool *out, struct err *err) {
    const struct run_sent sent = {submission->run->day, submission->run->site, submission->body,
                                  submission->body_length};
    bool is_same = true;
    struct text unused;
    text_init(&unused, ACCEPT_ANSWER_MAX);
    enum found found =
        run_rows_answered(db, submission->caller->credential, submission->idempotency_key, &sent,
                          &is_same, answer ? answer : &unused, err);
    text_release(&unused);
    if (found == FOUND_ONE && !is_same)
        return err_set(err, ERR_KEY_REUSED, "Idempotency-Key",
                       "that Idempotency-Key came with another body before; use a new key for "
                       "every new run");
    if (found == FOUND_ONE && answer && answer->failed)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    *out = found == FOUND_ONE;
    return found == FOUND_FAILED ? -1 : 0;
}

/* What is refused now may have been taken in before: then the first answer stands. Called
 * with the refusal in err. */
static int refuse_unless_answered(struct db *db, const struct submission *submission,
                                  bool *is_answered, struct err *err) {
    struct err ours = {0};
    if (answered(db, submission, NULL, is_answered, &ours)) {
        if (err)
            *err = ours;
        return -1;
    }
    if (!*is_answered)
        return -1;
    err_clear(err);
    return 0;
}

static int look_up(const struct book_view *view, struct almanac *almanac,
                   const struct submission *submission, struct prepared *out, struct err *err) {
    const struct run_record *run = submission->run;
    return known_day(view, run->day, &out->day, err) ||
                   lookup_site(view->db, run->site, &out->site, err) ||
                   day_check_measuring(view->db, &out->day, out->site.id, err) ||
                   verdict_reduce(almanac, &out->day.record, &out->site.record, &run->run,
                                  &out->reduction, err)
               ? -1
               : 0;
}

int accept_prepare(const struct book_view *view, struct almanac *almanac,
                   const struct submission *submission, struct prepared *out, struct err *err) {
    out->moment = view->moment;
    out->replay = false;
    if (caller_may(submission->caller, ROLE_CLASS, submission->run->site, err))
        return -1;
    if (look_up(view, almanac, submission, out, err) == 0)
        return 0;
    return refuse_unless_answered(view->db, submission, &out->replay, err);
}

/* Something else than runs moved since accept_prepare looked. */
static int look_again(struct change *change, const struct submission *submission,
                      struct prepared *prepared, struct err *err) {
    struct db *db = change_db(change);
    struct site_row site;
    if (site_rows_get(db, prepared->site.id, &site, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    if (day_rows_get(db, prepared->day.id, &prepared->day, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the day vanished");
    if (site.version != prepared->site.version) {
        prepared->site = site;
        if (verdict_reduce(change_almanac(change), &prepared->day.record, &site.record,
                           &submission->run->run, &prepared->reduction, err))
            return -1;
    }
    return day_check_measuring(db, &prepared->day, prepared->site.id, err);
}

/* A correction names the current run; a first run finds none. */
static int check_current(struct db *db, const struct submission *submission,
                         const struct prepared *prepared, struct err *err) {
    const int64_t supersedes = submission->run->supersedes;
    int64_t current = 0;
    if (run_rows_current(db, prepared->day.id, prepared->site.id, &current, err) == FOUND_FAILED)
        return -1;
    if (current == supersedes)
        return 0;
    if (supersedes == 0)
        return err_set(err, ERR_RUN_EXISTS, "/supersedes",
                       "the site has run %lld on that day; to correct it send supersedes: %lld",
                       (long long)current, (long long)current);
    return err_set(err, ERR_RUN_NOT_CURRENT, "/supersedes",
                   "run %lld is not the current run of the site on that day",
                   (long long)supersedes);
}

static int check(struct change *change, const struct submission *submission,
                 struct prepared *prepared, bool *is_answered, struct err *err) {
    struct db *db = change_db(change);
    if ((change_holds(change, prepared->moment) ||
         look_again(change, submission, prepared, err) == 0) &&
        check_current(db, submission, prepared, err) == 0)
        return 0;
    return refuse_unless_answered(db, submission, is_answered, err);
}

static int record(struct change *change, const struct submission *submission,
                  const struct prepared *prepared, accept_answer write_answer, struct text *answer,
                  bool *is_answered, struct err *err) {
    const struct accept_record record = {
        .day = &prepared->day,
        .site = &prepared->site,
        .sent = submission->run,
        .reduction = &prepared->reduction,
        .body = submission->body,
        .body_length = submission->body_length,
        .idempotency_key = submission->idempotency_key,
        .caller = submission->caller,
        .now_utc_s = submission->now_utc_s,
    };
    return accept_record(change, &record, write_answer, answer, NULL, NULL, is_answered, err);
}

static int answer_again(struct db *db, const struct submission *submission, struct text *answer,
                        struct err *err) {
    bool found = false;
    text_release(answer);
    if (answered(db, submission, answer, &found, err))
        return -1;
    return found ? 0
                 : err_set(err, ERR_BUSY, NULL, "the first answer is gone just now; send it again");
}

int accept_run(struct change *change, const struct submission *submission,
               struct prepared *prepared, accept_answer write_answer, struct text *answer,
               bool *replayed, struct err *err) {
    bool is_answered = prepared->replay;
    if ((!is_answered && check(change, submission, prepared, &is_answered, err)) ||
        (!is_answered &&
         record(change, submission, prepared, write_answer, answer, &is_answered, err)) ||
        (is_answered && answer_again(change_db(change), submission, answer, err)))
        return -1;
    *replayed = is_answered;
    return 0;
}

int accept_withdraw(struct change *change, const struct caller *caller, int64_t run,
                    const char *reason, double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct run_row row;
    int result = -1;
    if (caller->role < ROLE_SCHOOL)
        return caller_may(caller, ROLE_SCHOOL, NULL, err);
    if (lookup_run(db, run, &row, err))
        return -1;
    if (caller_may(caller, ROLE_SCHOOL, row.site_id, err))
        goto cleanup;
    if (!run_row_is_current(&row)) {
        err_set(err, ERR_RUN_NOT_CURRENT, NULL, "run %lld was corrected or withdrawn before",
                (long long)run);
        goto cleanup;
    }
    struct day_row day;
    if (day_rows_get(db, row.day, &day, err) != FOUND_ONE ||
        day_state_check(day.record.state, DAY_ACT_WITHDRAW, err))
        goto cleanup;
    if (run_rows_withdraw(db, run, reason, caller->credential, now_utc_s, err) ||
        reduction_rows_retire(db, run, err) ||
        audit_note(change, caller, "run.withdraw", audit_subject("runs/%lld", (long long)run).text,
                   NULL, now_utc_s, err))
        goto cleanup;
    change_noon(change, row.day, row.site, NULL);
    struct notice notice = {.kind = NOTICE_RUN, .day = row.day};
    memcpy(notice.site, row.site_id, sizeof notice.site);
    change_notice(change, &notice);
    result = 0;
cleanup:
    free(row.body);
    return result;
}
