/* SPDX-License-Identifier: MIT */
/* purge: looks what is over, then ends it portion by portion. */
#include "server/rules/purge.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "server/rules/audit.h"
#include "server/rules/removal.h"
#include "server/store/privacy_rows.h"

#define DAY_S 86400.0
#define PORTION 100 /* runs in one transaction */

#define AS_ASKED (-1) /* for as many days as the operator says */

/* The kinds that a statement ends by itself. */
static const struct {
    enum privacy_kind kind;
    size_t offset; /* of its count */
    int days;      /* that it is kept */
} simple[] = {
    {PRIVACY_AUDIT, offsetof(struct purge_counts, audit), AS_ASKED},
    {PRIVACY_INVITATION, offsetof(struct purge_counts, invitations), AS_ASKED},
    {PRIVACY_REGISTRATION, offsetof(struct purge_counts, registrations), PURGE_ANSWER_DAYS},
    {PRIVACY_SESSION, offsetof(struct purge_counts, sessions), 0},
    {PRIVACY_CONTACT, offsetof(struct purge_counts, contacts), 0},
};
#define SIMPLE (sizeof simple / sizeof simple[0])

static int end_simple(struct db *db, int keep_days, double now_utc_s, bool erase,
                      struct purge_counts *out, struct err *err) {
    for (size_t i = 0; i < SIMPLE; i++) {
        const int days = simple[i].days == AS_ASKED ? keep_days : simple[i].days;
        const double before_utc_s = now_utc_s - DAY_S * days;
        int64_t count = 0;
        if (privacy_rows_over(db, simple[i].kind, before_utc_s, erase, &count, err))
            return -1;
        *(int64_t *)((char *)out + simple[i].offset) = count;
    }
    return 0;
}

/* What is found before anything is done. */
struct finds {
    char (*site)[ID_MAX + 1];
    int64_t *words, *answers; /* runs */
    size_t sites, with_words, with_answers;
};

static void finds_release(struct finds *found) {
    free(found->site);
    free(found->words);
    free(found->answers);
}

static int look(struct db *db, int keep_days, double now_utc_s, struct finds *out,
                struct err *err) {
    double before_utc_s = now_utc_s - DAY_S * keep_days;
    *out = (struct finds){.site = NULL};
    return privacy_rows_silent_sites(db, before_utc_s, &out->site, &out->sites, err) ||
                   privacy_rows_runs_with_words(db, before_utc_s, &out->words, &out->with_words,
                                                err) ||
                   privacy_rows_runs_with_answers(db, now_utc_s - DAY_S * PURGE_ANSWER_DAYS,
                                                  &out->answers, &out->with_answers, err)
               ? -1
               : 0;
}

int purge_count(struct db *db, int keep_days, double now_utc_s, struct purge_counts *out,
                struct text *names, struct err *err) {
    struct purge_counts counts = {0};
    struct finds found;
    int result = look(db, keep_days, now_utc_s, &found, err);
    if (result == 0)
        result = end_simple(db, keep_days, now_utc_s, false, &counts, err);
    if (result == 0) {
        counts.schools = (int64_t)found.sites;
        counts.words = (int64_t)found.with_words;
        counts.answers = (int64_t)found.with_answers;
        for (size_t i = 0; names && i < found.sites; i++)
            text_format(names, "%s\n", found.site[i]);
        *out = counts;
    }
    finds_release(&found);
    return result;
}

/* A portion on its way. */
struct portion {
    const struct finds *found;
    size_t first, count;
    int keep_days;
    double now_utc_s;
    struct purge_counts *counts;
    struct err *err;
};

static int remove_one(struct change *change, void *context) {
    const struct portion *portion = context;
    char identifier[ID_MAX + 1];
    return site_remove(change, NULL, portion->found->site[portion->first],
                       "nothing heard for as long as data is kept", false, portion->now_utc_s,
                       identifier, portion->err);
}

static int erase_words(struct change *change, void *context) {
    const struct portion *portion = context;
    for (size_t i = 0; i < portion->count; i++)
        if (removal_erase_words(change, portion->found->words[portion->first + i], portion->err))
            return -1;
    return 0;
}

static int forget_answers(struct change *change, void *context) {
    const struct portion *portion = context;
    for (size_t i = 0; i < portion->count; i++)
        if (privacy_rows_forget_answer(change_db(change),
                                       portion->found->answers[portion->first + i], portion->err))
            return -1;
    return 0;
}

static int end_the_rest(struct change *change, void *context) {
    const struct portion *portion = context;
    struct purge_counts *counts = portion->counts;
    char detail[AUDIT_DETAIL_MAX + 1];
    if (end_simple(change_db(change), portion->keep_days, portion->now_utc_s, true, counts,
                   portion->err))
        return -1;
    snprintf(detail, sizeof detail,
             "kept %d days; schools %lld, runs with words %lld, audit lines %lld, invitations "
             "%lld, answers %lld, registrations %lld, sessions %lld, contacts %lld",
             portion->keep_days, (long long)counts->schools, (long long)counts->words,
             (long long)counts->audit, (long long)counts->invitations, (long long)counts->answers,
             (long long)counts->registrations, (long long)counts->sessions,
             (long long)counts->contacts);
    return audit_note(change, NULL, "store.purge", "store", detail, portion->now_utc_s,
                      portion->err);
}

static int in_portions(struct change *change, change_work work, struct portion *portion, size_t all,
                       size_t size, int64_t *done) {
    for (portion->first = 0; portion->first < all; portion->first += portion->count) {
        size_t left = all - portion->first;
        portion->count = left < size ? left : size;
        if (change_alone(change, work, portion, portion->err))
            return -1;
        *done += (int64_t)portion->count;
    }
    return 0;
}

int purge_do(struct change *change, int keep_days, double now_utc_s, struct purge_counts *out,
             struct err *err) {
    struct finds found;
    struct purge_counts counts = {0};
    struct portion portion = {.found = &found,
                              .keep_days = keep_days,
                              .now_utc_s = now_utc_s,
                              .counts = &counts,
                              .err = err};
    int result = look(change_db(change), keep_days, now_utc_s, &found, err);
    if (result == 0 &&
        (in_portions(change, erase_words, &portion, found.with_words, PORTION, &counts.words) ||
         in_portions(change, forget_answers, &portion, found.with_answers, PORTION,
                     &counts.answers) ||
         in_portions(change, remove_one, &portion, found.sites, 1, &counts.schools) ||
         change_alone(change, end_the_rest, &portion, err)))
        result = -1;
    *out = counts;
    finds_release(&found);
    return result;
}
