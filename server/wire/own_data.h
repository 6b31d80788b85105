/* SPDX-License-Identifier: MIT */
/* own_data: parts of a school's own complete data that are told nowhere else. */
#ifndef NOONARC_OWN_DATA_H
#define NOONARC_OWN_DATA_H

#include "server/wire/json_write.h"
#include "server/wire/records.h"

struct happening {
    double at_utc_s;
    char what[24];             /* participation, sky, approval, withdrawal, partner, secret ... */
    char day[ID_MAX + 1];      /* "" of none */
    char said[NAME_MAX_BYTES]; /* join, clear, approved, the number of a run ... */
    char reason[NOTE_MAX + 1]; /* in somebody's words, or who it was with; "" none */
};

/* {"at_utc","what","day","said","reason"} */
void own_data_write_happening(struct json_writer *json, const struct happening *happening);

/* How the site was described, and until when that was the newest. */
struct site_history {
    double recorded_utc_s;
    struct site_record record;
};

/* The site as its school sees it, with "recorded_utc". */
void own_data_write_history(struct json_writer *json, const struct site_history *version);

#endif
