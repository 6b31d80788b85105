/* SPDX-License-Identifier: MIT */
/* review: why a run should be looked at, what was said about it, and where that
 * leaves it; with the JSON forms. */
#ifndef NOONARC_WIRE_REVIEW_H
#define NOONARC_WIRE_REVIEW_H

#include <stdbool.h>

#include "server/base/err.h"
#include "server/wire/json_write.h"
#include "server/wire/records.h"

/* What gives reason to look at a run: not_reduced, whole_run, readings_left_out,
 * clock_off, ways_disagree, off_the_line. */
enum flag {
    FLAG_NOT_REDUCED,
    FLAG_WHOLE_RUN,
    FLAG_READINGS_LEFT_OUT,
    FLAG_CLOCK_OFF,
    FLAG_WAYS_DISAGREE,
    FLAG_OFF_THE_LINE
};
const char *flag_name(enum flag flag); /* stable */

/* A flag of a run, with what it is about: of each flag the members after its name. */
struct flag_record {
    enum flag flag;
    /* not_reduced; slip also of whole_run, and of the first reading left out */
    enum reduce_status status;
    enum noon_status noon_status;
    enum slip slip;
    /* readings_left_out: of how many, and the first of them (index into the run) */
    int readings, left_out, reading;
    double t_utc_s, shadow_m;
    /* clock_off */
    struct clock_check clock;
    /* ways_disagree: as published, and without trusting the clock */
    double noon_angle_deg, free_deg;
    /* off_the_line: how far; of both the distance in sigma */
    double residual_deg, apart_sigma;
};
#define FLAGS_MAX 5 /* of a reduction alone: all but off_the_line */

/* The flags of a reduction with its left_out. Returns how many; out has room for
 * FLAGS_MAX. */
int flags_of_reduction(const struct reduction_record *reduction, struct flag_record *out);

/* The flag of a run that lies off the line of its day's runs. */
void flag_off_the_line(double residual_deg, double sigma_deg, struct flag_record *out);

/* What it says, in a sentence or two. */
#define FLAG_WORDS_MAX 400
void flag_words(const struct flag_record *flag, char out[FLAG_WORDS_MAX + 1]);

enum review_verdict { REVIEW_ASK, REVIEW_ANSWER, REVIEW_EXCLUDE, REVIEW_ACCEPT };
#define REVIEW_VERDICTS 4
/* "ask", "answer", "exclude", "accept". */
const char *review_verdict_name(enum review_verdict verdict);
bool review_verdict_parse(const char *name, enum review_verdict *out);

#define REVIEW_REASON_MAX 400
struct review_record {
    int64_t id, run;
    enum review_verdict verdict;
    char reason[REVIEW_REASON_MAX + 1];
    char by[12]; /* role: "school" or "organiser" */
    double recorded_utc_s;
};

/* A body as it comes in: for the field table. */
struct review_body {
    char verdict[16];
    char reason[REVIEW_REASON_MAX + 1];
};

/* {"verdict","reason"}, both needed, reason not empty. id, run, by, recorded_utc_s
 * stay as they are. */
int review_read(const char *json, size_t length, struct review_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"id","run","verdict","reason","by","recorded_utc"}. */
void review_write(struct json_writer *json, const char *key, const struct review_record *review);

/* Where a run stands in the queue. */
enum review_status { REVIEW_OPEN, REVIEW_ASKED, REVIEW_ANSWERED, REVIEW_EXCLUDED, REVIEW_ACCEPTED };
#define REVIEW_STATUSES 5
const char *review_status_name(enum review_status status); /* "open", "asked" ... */
bool review_status_parse(const char *name, enum review_status *out);

/* By what was said last: open before anything was. */
enum review_status review_status_of(const struct review_record *reviews, size_t count);

/* A line of the queue. */
struct review_item {
    int64_t run;
    char site[ID_MAX + 1];
    double noon_angle_deg, sigma_deg; /* NAN where there is none */
    bool counts;
    enum review_status status;
    struct flag_record flag[FLAGS_MAX + 1];
    int flags;
    struct review_record *review; /* owned; oldest first */
    size_t reviews;
};
void review_item_release(struct review_item *item);

/* {"run","site","status","counts","noon_angle_deg","sigma_deg","flags":[{"flag","words",
 *  "details":{...}}],"reviews":[...]}; details are the members of flag_record. */
void review_write_item(struct json_writer *json, const char *key, const struct review_item *item);

#endif
