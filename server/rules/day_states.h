/* SPDX-License-Identifier: MIT */
/* day_states: a day is announced, moved to a spare date, closed, reopened, called
 * off; what each state allows stands in wire/day_state.h and is asked here.
 *
 * A move gives a day another of the dates it was opened with; the date it leaves
 * becomes a spare one. So nothing that was measured is lost by it: runs that are in
 * already stay and count, as a noon of their own, beside those of the new date, and
 * are listed as not of the day's date; late ones of the old date are still taken. */
#ifndef NOONARC_DAY_STATES_H
#define NOONARC_DAY_STATES_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/store/day_event_rows.h"
#include "server/wire/records.h"
#include "server/wire/warning.h"

/* Refuses with ERR_DAY_STATE what a state does not allow. */
int day_state_check(enum day_state state, enum day_act act, struct err *err)
    __attribute__((warn_unused_result));

/* READ. A site may measure on a day now: the day is announced and the site takes part.
 * ERR_DAY_STATE, ERR_NOT_TAKING_PART, ERR_NOT_APPROVED. */
int day_check_measuring(struct db *db, const struct day_row *day, int64_t site, struct err *err)
    __attribute__((warn_unused_result));

/* All WRITE, organiser; out is the day as it then is.
 * State: ERR_DAY_STATE where the table does not lead, ERR_MISSING_FIELD for a missing
 * reason. The state that it has already changes nothing. */
int day_change_state(struct change *change, const struct caller *caller, const char *day,
                     const struct decision_record *decision, double now_utc_s,
                     struct day_record *out, struct err *err) __attribute__((warn_unused_result));

/* Needs a reason. ERR_NOT_A_SPARE_DATE. Warns of a date that has passed and of runs
 * that are in from the date it leaves. */
int day_move(struct change *change, const struct caller *caller, const char *day,
             const struct decision_record *decision, double now_utc_s, struct day_record *out,
             struct warnings *warnings, struct err *err) __attribute__((warn_unused_result));

/* Whether sites are told their expected angle before they hand in; needs a reason. */
int day_set_blind(struct change *change, const struct caller *caller, const char *day,
                  const struct decision_record *decision, double now_utc_s, struct day_record *out,
                  struct err *err) __attribute__((warn_unused_result));

struct day_history {
    struct day_event_record *items; /* the opening, then what followed */
    size_t count;
};
void day_history_release(struct day_history *history);

/* READ. */
int day_history_of(struct db *db, const struct caller *caller, const char *day,
                   struct day_history *out, struct err *err) __attribute__((warn_unused_result));

/* A noon's date (by the site's meridian) is a date of the day: the same one, or beyond
 * 150 degrees of longitude, where it may carry the date of either side of the line,
 * the next. */
bool day_noon_is_of(int32_t noon_date, int32_t date, double lon_deg);

/* No meridian has this date's noon before it any more. */
bool day_date_passed(int32_t date, double now_utc_s);

#endif
