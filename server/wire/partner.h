/* SPDX-License-Identifier: MIT */
/* partner: who was given to whom on a day. */
#ifndef NOONARC_PARTNER_H
#define NOONARC_PARTNER_H

#include <stdbool.h>

#include "server/wire/sky.h"

enum partner_kind {
    PARTNER_ASSIGNED, /* before the day, to all at once */
    PARTNER_OFFERED,  /* during it, in place of one who cannot see the Sun */
    PARTNER_SECOND    /* beside the one it has */
};
#define PARTNER_KINDS 3

/* "assigned", "offered", "second". */
const char *partner_kind_name(enum partner_kind kind);
bool partner_kind_parse(const char *name, enum partner_kind *out);

#define PARTNERS_MAX 4 /* of one site at a time */

struct partner_record {
    struct sky_record partner; /* as the board has it */
    enum partner_kind kind;
    char because[ID_MAX + 1]; /* whose cloud or leaving led to it, "" none */
    double expected_sigma_km; /* of the circumference from the two */
};

struct partners_record {
    char site[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    int count;
    struct partner_record item[PARTNERS_MAX]; /* newest first */
};

/* {"site","name","kind","because","expected_sigma_km","sky","reported_utc","run",
 *  "readings"} */
void partner_write(struct json_writer *json, const char *key, const struct partner_record *record);

/* {"site","name","partners":[...]} */
void partners_write(struct json_writer *json, const char *key,
                    const struct partners_record *record);

/* site,partner,kind,because,expected_sigma_km: a row for each partner, one with an empty
 * partner for a site without. */
void partners_write_header(struct csv_writer *csv);
void partners_write_rows(struct csv_writer *csv, const struct partners_record *record);

#endif
