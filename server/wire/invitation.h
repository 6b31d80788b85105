/* SPDX-License-Identifier: MIT */
/* invitation: who is invited to a season, from a spreadsheet and as JSON. */
#ifndef NOONARC_INVITATION_H
#define NOONARC_INVITATION_H

#include <stdint.h>

#include "server/wire/records.h"
#include "server/wire/row_errors.h"

#define INVITATIONS_MAX 20000 /* rows of a spreadsheet */

struct invitation_record {
    int64_t id;
    char season[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    char contact[CONTACT_MAX + 1]; /* organisers alone see it */
    double invited_utc_s;
    char site[ID_MAX + 1]; /* that used it, "" none yet */
    double used_utc_s;     /* NAN: not yet */
};

struct invitation_sheet {
    struct invited_school {
        size_t row; /* as the spreadsheet counts */
        char name[NAME_MAX_BYTES + 1];
        char contact[CONTACT_MAX + 1];
    } * rows; /* owned */
    size_t count;
};

/* Columns name and contact, the latter optional. What is wrong with a row goes into
 * errors (also a row that stands twice) and reading goes on; what is wrong with the
 * spreadsheet as a whole is an error at once. Release whatever the outcome. */
int invitation_sheet_read(const char *csv, size_t length, struct invitation_sheet *out,
                          struct row_errors *errors, struct err *err)
    __attribute__((warn_unused_result));
void invitation_sheet_release(struct invitation_sheet *sheet);

/* {"invitation"}: the code, from a body. */
struct invitation_code {
    char invitation[INVITATION_MAX + 1];
};
int invitation_read_code(const char *json, size_t length, struct invitation_code *out,
                         struct err *err) __attribute__((warn_unused_result));

/* {"invitation","name","contact","invited_utc","site","used_utc"}; the number, not the
 * code, which is nowhere kept. */
void invitation_write(struct json_writer *json, const struct invitation_record *invitation);

#endif
