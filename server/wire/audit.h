/* SPDX-License-Identifier: MIT */
/* audit: a line of the audit log, and its JSON and CSV forms. */
#ifndef NOONARC_WIRE_AUDIT_H
#define NOONARC_WIRE_AUDIT_H

#include "server/wire/csv.h"
#include "server/wire/json_write.h"
#include "server/wire/records.h"

#define AUDIT_ACTION_MAX 40
#define AUDIT_SUBJECT_MAX 120
#define AUDIT_DETAIL_MAX 400

struct audit_record {
    int64_t number; /* from 1, in the order in which things happened */
    double at_utc_s;
    char role[12];               /* anyone, class, school, organiser; operator: at the machine */
    char by[NAME_MAX_BYTES + 1]; /* the site of a school or class, the name of an organiser, "" */
    char action[AUDIT_ACTION_MAX + 1];   /* "site.revise" */
    char subject[AUDIT_SUBJECT_MAX + 1]; /* "sites/puna": the address below /api/v1/ */
    char detail[AUDIT_DETAIL_MAX + 1];   /* a few plain words, "" none */
};

/* {"number","at_utc","role","by","action","subject","detail"}; null where there is none. */
void audit_write(struct json_writer *json, const char *key, const struct audit_record *line);

/* The same as columns of a spreadsheet. */
void audit_write_header(struct csv_writer *csv);
void audit_write_row(struct csv_writer *csv, const struct audit_record *line);

#endif
