/* SPDX-License-Identifier: MIT */
/* review: flags of a reduction, in words and in figures, and the forms. */
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

static const char *const flag_names[] = {
    [FLAG_NOT_REDUCED] = "not_reduced",
    [FLAG_WHOLE_RUN] = "whole_run",
    [FLAG_READINGS_LEFT_OUT] = "readings_left_out",
    [FLAG_CLOCK_OFF] = "clock_off",
    [FLAG_WAYS_DISAGREE] = "ways_disagree",
    [FLAG_OFF_THE_LINE] = "off_the_line",
};

const char *flag_name(enum flag flag) {
    return flag_names[flag];
}

static struct flag_record of_left_out(const struct reduction_record *reduction) {
    const struct left_out_record *first = reduction->left_out;
    return (struct flag_record){.flag = FLAG_READINGS_LEFT_OUT,
                                .readings = reduction->readings,
                                .left_out = reduction->left_outs,
                                .reading = first->reading,
                                .t_utc_s = first->t_utc_s,
                                .shadow_m = first->shadow_m,
                                .slip = first->slip};
}

static bool ways_disagree(const struct reduction_record *reduction, struct flag_record *out) {
    const struct estimate *free_of_clock = &reduction->estimate[ESTIMATOR_FREE];
    if (reduction->status != REDUCE_OK || !free_of_clock->usable)
        return false;
    *out = (struct flag_record){
        .flag = FLAG_WAYS_DISAGREE,
        .noon_angle_deg = reduction->noon_angle_deg,
        .free_deg = free_of_clock->noon_angle_deg,
        .apart_sigma = fabs(free_of_clock->noon_angle_deg - reduction->noon_angle_deg) /
                       free_of_clock->sigma_deg,
    };
    return out->apart_sigma > WAYS_APART_SIGMAS;
}

int flags_of_reduction(const struct reduction_record *reduction, struct flag_record *out) {
    int count = 0;
    if (reduction_reason(reduction) != NULL)
        out[count++] = (struct flag_record){.flag = FLAG_NOT_REDUCED,
                                            .status = reduction->status,
                                            .noon_status = reduction->noon_status,
                                            .slip = reduction->run_slip};
    if (reduction->run_slip != SLIP_NONE)
        out[count++] = (struct flag_record){.flag = FLAG_WHOLE_RUN, .slip = reduction->run_slip};
    if (reduction->left_outs > 0 && reduction->left_out != NULL)
        out[count++] = of_left_out(reduction);
    if (reduction->clock.beyond)
        out[count++] = (struct flag_record){.flag = FLAG_CLOCK_OFF, .clock = reduction->clock};
    struct flag_record ways;
    if (ways_disagree(reduction, &ways))
        out[count++] = ways;
    return count;
}

void flag_off_the_line(double residual_deg, double sigma_deg, struct flag_record *out) {
    *out = (struct flag_record){.flag = FLAG_OFF_THE_LINE,
                                .residual_deg = residual_deg,
                                .apart_sigma = fabs(residual_deg) / sigma_deg};
}

/* ---- in words ---- */

static void say_not_reduced(const struct flag_record *flag, char out[FLAG_WORDS_MAX + 1]) {
    const struct reduction_record reduction = {.readings = 1,
                                               .status = flag->status,
                                               .noon_status = flag->noon_status,
                                               .run_slip = flag->slip};
    snprintf(out, FLAG_WORDS_MAX + 1, "%s", reduction_reason(&reduction));
}

static void say_left_out(const struct flag_record *flag, char out[FLAG_WORDS_MAX + 1]) {
    char time[INSTANT_TEXT];
    instant_format(flag->t_utc_s, 0, time, sizeof time);
    snprintf(out, FLAG_WORDS_MAX + 1,
             "%d of %d readings %s left out; reading %d, %.8s UTC, %.10g mm: %s", flag->left_out,
             flag->readings, flag->left_out == 1 ? "is" : "are", flag->reading + 1, time + 11,
             record_mm(flag->shadow_m), slip_text(flag->slip));
}

static void say_clock(const struct clock_check *clock, char out[FLAG_WORDS_MAX + 1]) {
    snprintf(out, FLAG_WORDS_MAX + 1,
             "The class's clock was measured %.1f ± %.1f s %s; the day allows %g s. %s",
             fabs(clock->offset_s), clock->sigma_s, clock->offset_s > 0.0 ? "fast" : "slow",
             clock->bound_s,
             clock->applied_s != 0.0 ? "By the day's rule the times were corrected by that."
                                     : "The times are used as they came, with that much doubt.");
}

void flag_words(const struct flag_record *flag, char out[FLAG_WORDS_MAX + 1]) {
    out[0] = '\0';
    switch (flag->flag) {
    case FLAG_NOT_REDUCED:
        say_not_reduced(flag, out);
        break;
    case FLAG_WHOLE_RUN:
        snprintf(out, FLAG_WORDS_MAX + 1, "%s", slip_text(flag->slip));
        break;
    case FLAG_READINGS_LEFT_OUT:
        say_left_out(flag, out);
        break;
    case FLAG_CLOCK_OFF:
        say_clock(&flag->clock, out);
        break;
    case FLAG_WAYS_DISAGREE:
        snprintf(out, FLAG_WORDS_MAX + 1,
                 "Without trusting the clock the same readings give %.3f°, %.1f σ from the "
                 "published %.3f°: look at clock and level.",
                 flag->free_deg, flag->apart_sigma, flag->noon_angle_deg);
        break;
    case FLAG_OFF_THE_LINE:
        snprintf(out, FLAG_WORDS_MAX + 1,
                 "The noon angle lies %+.3f°, %.1f σ, off the line of all the day's sites: look "
                 "at the position, the gnomon's parts and the date.",
                 flag->residual_deg, flag->apart_sigma);
        break;
    }
}

/* ---- in figures ---- */

static void write_slip(struct json_writer *json, enum slip slip) {
    json_write_text(json, "slip", slip == SLIP_NONE ? NULL : slip_name(slip));
}

static void write_details(struct json_writer *json, const struct flag_record *flag) {
    json_write_object(json, "details");
    switch (flag->flag) {
    case FLAG_NOT_REDUCED:
        json_write_text(json, "status", reduce_status_name(flag->status));
        json_write_text(json, "noon_status", noon_status_name(flag->noon_status));
        write_slip(json, flag->slip);
        break;
    case FLAG_WHOLE_RUN:
        write_slip(json, flag->slip);
        break;
    case FLAG_READINGS_LEFT_OUT:
        json_write_integer(json, "left_out", flag->left_out);
        json_write_integer(json, "readings", flag->readings);
        json_write_integer(json, "reading", flag->reading);
        json_write_instant(json, "utc", flag->t_utc_s, INSTANT_SHORTEST);
        json_write_real(json, "shadow_mm", record_mm(flag->shadow_m));
        write_slip(json, flag->slip);
        break;
    case FLAG_CLOCK_OFF:
        json_write_real(json, "offset_s", flag->clock.offset_s);
        json_write_real(json, "sigma_s", flag->clock.sigma_s);
        json_write_real(json, "bound_s", flag->clock.bound_s);
        json_write_real(json, "applied_s", flag->clock.applied_s);
        break;
    case FLAG_WAYS_DISAGREE:
        json_write_real(json, "noon_angle_deg", flag->noon_angle_deg);
        json_write_real(json, "free_deg", flag->free_deg);
        json_write_real(json, "apart_sigma", flag->apart_sigma);
        break;
    case FLAG_OFF_THE_LINE:
        json_write_real(json, "residual_deg", flag->residual_deg);
        json_write_real(json, "apart_sigma", flag->apart_sigma);
        break;
    }
    json_write_end(json);
}

static void write_flag(struct json_writer *json, const struct flag_record *flag) {
    char words[FLAG_WORDS_MAX + 1];
    flag_words(flag, words);
    json_write_object(json, NULL);
    json_write_text(json, "flag", flag_name(flag->flag));
    json_write_text(json, "words", words);
    write_details(json, flag);
    json_write_end(json);
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
    if (json_read_record(json, length, &review_fields, &body, NULL, err))
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
    for (int i = 0; i < item->flags; i++)
        write_flag(json, &item->flag[i]);
    json_write_end(json);
    json_write_array(json, "reviews");
    for (size_t i = 0; i < item->reviews; i++)
        review_write(json, NULL, &item->review[i]);
    json_write_end(json);
    json_write_end(json);
}
