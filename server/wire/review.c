/* SPDX-License-Identifier: MIT */
/* review: flags of a reduction in words, and the forms. */
#include "server/wire/review.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/json_read.h"

/* Without trusting the clock, and with it: further apart than this many sigma of the
 * former is a sign that clock or level are not as they were taken for. */
#define WAYS_APART_SIGMAS 3.0

static struct flag_record *next_flag(struct flag_record *out, int *count, const char *name) {
    struct flag_record *flag = &out[(*count)++];
    snprintf(flag->flag, sizeof flag->flag, "%s", name);
    return flag;
}

static void say_left_out(const struct reduction_record *reduction, struct flag_record *flag) {
    const struct left_out_record *first = reduction->left_out;
    char time[INSTANT_TEXT];
    instant_format(first->t_utc_s, 0, time, sizeof time);
    snprintf(flag->words, sizeof flag->words,
             "%d of %d readings %s left out; reading %d, %.8s UTC, %.10g mm: %s",
             reduction->left_outs, reduction->readings, reduction->left_outs == 1 ? "is" : "are",
             first->reading + 1, time + 11, record_mm(first->shadow_m), slip_text(first->slip));
}

static void say_clock(const struct clock_check *clock, struct flag_record *flag) {
    snprintf(flag->words, sizeof flag->words,
             "The class's clock was measured %.1f ± %.1f s %s; the day allows %g s. %s",
             fabs(clock->offset_s), clock->sigma_s, clock->offset_s > 0.0 ? "fast" : "slow",
             clock->bound_s,
             clock->applied_s != 0.0 ? "By the day's rule the times were corrected by that."
                                     : "The times are used as they came, with that much doubt.");
}

static bool ways_disagree(const struct reduction_record *reduction, double *sigmas) {
    const struct estimate *free_of_clock = &reduction->estimate[ESTIMATOR_FREE];
    if (reduction->status != REDUCE_OK || !free_of_clock->usable)
        return false;
    *sigmas =
        fabs(free_of_clock->noon_angle_deg - reduction->noon_angle_deg) / free_of_clock->sigma_deg;
    return *sigmas > WAYS_APART_SIGMAS;
}

int flags_of_reduction(const struct reduction_record *reduction, struct flag_record *out) {
    int count = 0;
    double sigmas;
    const char *reason = reduction_reason(reduction);
    if (reason != NULL)
        snprintf(next_flag(out, &count, "not_reduced")->words, sizeof out->words, "%s", reason);
    if (reduction->run_slip != SLIP_NONE)
        snprintf(next_flag(out, &count, "whole_run")->words, sizeof out->words, "%s",
                 slip_text(reduction->run_slip));
    if (reduction->left_outs > 0 && reduction->left_out != NULL)
        say_left_out(reduction, next_flag(out, &count, "readings_left_out"));
    if (reduction->clock.beyond)
        say_clock(&reduction->clock, next_flag(out, &count, "clock_off"));
    if (ways_disagree(reduction, &sigmas))
        snprintf(next_flag(out, &count, "ways_disagree")->words, sizeof out->words,
                 "Without trusting the clock the same readings give %.3f°, %.1f σ from the "
                 "published %.3f°: look at clock and level.",
                 reduction->estimate[ESTIMATOR_FREE].noon_angle_deg, sigmas,
                 reduction->noon_angle_deg);
    return count;
}

void flag_off_the_line(double residual_deg, double sigma_deg, struct flag_record *out) {
    snprintf(out->flag, sizeof out->flag, "off_the_line");
    snprintf(out->words, sizeof out->words,
             "The noon angle lies %+.3f°, %.1f σ, off the line of all the day's sites: look at "
             "the position, the gnomon's parts and the date.",
             residual_deg, fabs(residual_deg) / sigma_deg);
}

static const char *const verdicts[REVIEW_VERDICTS] = {"ask", "answer", "exclude", "accept"};
static const char *const statuses[REVIEW_STATUSES] = {"open", "asked", "answered", "excluded",
                                                      "accepted"};

const char *review_verdict_name(enum review_verdict verdict) {
    return verdicts[verdict];
}

bool review_verdict_parse(const char *name, enum review_verdict *out) {
    for (int i = 0; i < REVIEW_VERDICTS; i++)
        if (strcmp(name, verdicts[i]) == 0) {
            *out = (enum review_verdict)i;
            return true;
        }
    return false;
}

const char *review_status_name(enum review_status status) {
    return statuses[status];
}

bool review_status_parse(const char *name, enum review_status *out) {
    for (int i = 0; i < REVIEW_STATUSES; i++)
        if (strcmp(name, statuses[i]) == 0) {
            *out = (enum review_status)i;
            return true;
        }
    return false;
}

enum review_status review_status_of(const struct review_record *reviews, size_t count) {
    if (count == 0)
        return REVIEW_OPEN;
    switch (reviews[count - 1].verdict) {
    case REVIEW_ASK:
        return REVIEW_ASKED;
    case REVIEW_ANSWER:
        return REVIEW_ANSWERED;
    case REVIEW_EXCLUDE:
        return REVIEW_EXCLUDED;
    case REVIEW_ACCEPT:
        break;
    }
    return REVIEW_ACCEPTED;
}

int review_read(const char *json, size_t length, struct review_record *out, struct err *err) {
    struct review_body body = {0};
    enum review_verdict verdict;
    json_t *object;
    if (json_read_object(json, length, &object, err))
        return -1;
    int outcome = json_read_fields(object, &review_fields, "", &body, err);
    json_decref(object);
    if (outcome)
        return -1;
    if (!review_verdict_parse(body.verdict, &verdict))
        return err_set(err, ERR_OUT_OF_RANGE, "/verdict",
                       "a verdict is ask, answer, exclude or accept");
    if (body.reason[0] == '\0')
        return err_set(err, ERR_OUT_OF_RANGE, "/reason",
                       "say why, or what is asked: one sentence will do");
    out->verdict = verdict;
    memcpy(out->reason, body.reason, sizeof out->reason);
    return 0;
}

void review_write(struct json_writer *json, const char *key, const struct review_record *review) {
    json_write_object(json, key);
    json_write_integer(json, "id", review->id);
    json_write_integer(json, "run", review->run);
    json_write_text(json, "verdict", review_verdict_name(review->verdict));
    json_write_text(json, "reason", review->reason);
    json_write_text(json, "by", review->by);
    json_write_instant(json, "recorded_utc", review->recorded_utc_s, 0);
    json_write_end(json);
}

void review_item_release(struct review_item *item) {
    free(item->review);
    item->review = NULL;
    item->reviews = 0;
}

void review_write_item(struct json_writer *json, const char *key, const struct review_item *item) {
    json_write_object(json, key);
    json_write_integer(json, "run", item->run);
    json_write_text(json, "site", item->site);
    json_write_text(json, "status", review_status_name(item->status));
    json_write_bool(json, "counts", item->counts);
    json_write_real(json, "noon_angle_deg", item->noon_angle_deg);
    json_write_real(json, "sigma_deg", item->sigma_deg);
    json_write_array(json, "flags");
    for (int i = 0; i < item->flags; i++) {
        json_write_object(json, NULL);
        json_write_text(json, "flag", item->flag[i].flag);
        json_write_text(json, "words", item->flag[i].words);
        json_write_end(json);
    }
    json_write_end(json);
    json_write_array(json, "reviews");
    for (size_t i = 0; i < item->reviews; i++)
        review_write(json, NULL, &item->review[i]);
    json_write_end(json);
    json_write_end(json);
}
