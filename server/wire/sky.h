/* SPDX-License-Identifier: MIT */
/* sky: what a school says of its sky on a day, and the board of all of them. */
#ifndef NOONARC_SKY_H
#define NOONARC_SKY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/wire/csv.h"
#include "server/wire/json_write.h"
#include "server/wire/records.h"

enum sky { SKY_UNTOLD, SKY_CLEAR, SKY_BROKEN, SKY_OVERCAST, SKY_GONE_HOME };
#define SKY_COUNT 5

/* "clear", "broken", "overcast", "gone_home"; NULL for SKY_UNTOLD. */
const char *sky_name(enum sky sky);
bool sky_parse(const char *name, enum sky *out);

/* Whether a shadow may still be seen there: not under SKY_OVERCAST or SKY_GONE_HOME. */
bool sky_is_open(enum sky sky);

/* A line of the board. */
struct sky_record {
    char site[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    enum sky sky;
    double reported_utc_s; /* NAN: SKY_UNTOLD */
    int64_t run;           /* current, 0 none */
    int readings;          /* of that run */
};

/* The board in numbers. */
struct sky_counts {
    int64_t sites[SKY_COUNT]; /* by enum sky */
    int64_t runs;
    int64_t readings;
};

/* {"sky": "clear"}. Returns 0, or -1 with err naming the field. */
int sky_read(const char *json, size_t length, enum sky *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"site","name","sky","reported_utc","run","readings"} */
void sky_write(struct json_writer *json, const char *key, const struct sky_record *record);

/* The members of it from "sky" on, into an object that is open. */
void sky_write_state(struct json_writer *json, const struct sky_record *record);

/* {"sites","clear","broken","overcast","gone_home","untold","runs","readings"} */
void sky_write_counts(struct json_writer *json, const char *key, const struct sky_counts *counts);

/* site,name,sky,reported_utc,readings */
void sky_write_header(struct csv_writer *csv);
void sky_write_row(struct csv_writer *csv, const struct sky_record *record);

#endif
