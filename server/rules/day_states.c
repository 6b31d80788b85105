/* SPDX-License-Identifier: MIT */
/* day_states: each decision is checked against the table, recorded as one more event
 * of the day, and noted. */
#include "server/rules/day_states.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/rules/audit.h"
#include "server/rules/lookup.h"
#include "server/science/sun.h"
#include "server/store/reduction_rows.h"

#define DAY_S 86400.0
#define LAST_NOON_S (2.0 * DAY_S) /* of the farthest west, and the hours about it */
#define DATE_LINE_DEG 150.0

int day_state_check(enum day_state state, enum day_act act, struct err *err) {
    if (day_state_allows(state, act))
        return 0;
    return err_set(err, ERR_DAY_STATE, NULL, "it is not possible %s: the day is %s (%s)",
                   day_act_words(act), day_state_name(state), day_state_meaning(state));
}

int day_check_measuring(struct db *db, const struct day_row *day, int64_t site, struct err *err) {
    enum stand stand;
    if (day_rows_stand(db, day, site, &stand, err) ||
        day_state_check(day->record.state, DAY_ACT_MEASURE, err))
        return -1;
    switch (stand) {
    case STAND_TAKEN:
        return 0;
    case STAND_WAITING:
        return err_set(err, ERR_NOT_APPROVED, NULL,
                       "an organiser has to approve first that the site takes part in that day; "
                       "keep the readings");
    case STAND_REFUSED:
        return err_set(err, ERR_NOT_APPROVED, NULL,
                       "an organiser has refused that the site takes part in that day");
    case STAND_NONE:
        break;
    }
    return err_set(err, ERR_NOT_TAKING_PART, NULL,
                   "the site does not take part in that day; join the day first");
}

bool day_noon_is_of(int32_t noon_date, int32_t date, double lon_deg) {
    int32_t apart = noon_date - date;
    return apart == 0 || (fabs(lon_deg) > DATE_LINE_DEG && (apart == 1 || apart == -1));
}

bool day_date_passed(int32_t date, double now_utc_s) {
    return now_utc_s > date * DAY_S + LAST_NOON_S;
}

static int begin(struct change *change, const struct caller *caller, const char *day,
                 struct day_row *out, struct err *err) {
    return caller_may(caller, ROLE_ORGANISER, NULL, err) ||
                   lookup_any_day(change_db(change), day, out, err)
               ? -1
               : 0;
}

static int want_reason(const struct decision_record *decision, const char *what, struct err *err) {
    return decision->reason[0] != '\0'
               ? 0
               : err_set(err, ERR_MISSING_FIELD, "/reason", "say why the day %s", what);
}

/* The event, its line, and the day anew. */
static int record(struct change *change, const struct caller *caller, struct day_row *row,
                  struct day_event_record *event, const struct decision_record *decision,
                  const char *action, const char *detail, double now_utc_s, struct day_record *out,
                  struct err *err) {
    struct db *db = change_db(change);
    memcpy(event->reason, decision->reason, sizeof event->reason);
    event->at_utc_s = now_utc_s;
    if (day_event_rows_add(db, row->id, event, caller->credential, err) ||
        audit_note(change, caller, action, audit_subject("days/%s", row->record.day).text, detail,
                   now_utc_s, err))
        return -1;
    if (day_rows_get(db, row->id, row, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the day vanished");
    *out = row->record;
    return 0;
}

int day_change_state(struct change *change, const struct caller *caller, const char *day,
                     const struct decision_record *decision, double now_utc_s,
                     struct day_record *out, struct err *err) {
    struct day_row row;
    bool needs_reason;
    if (begin(change, caller, day, &row, err))
        return -1;
    enum day_state from = row.record.state, to = decision->state;
    if (from == to) {
        *out = row.record;
        return 0;
    }
    if (!day_state_leads(from, to, &needs_reason))
        return err_set(err, ERR_DAY_STATE, "/state", "a day that is %s cannot become %s",
                       day_state_name(from), day_state_name(to));
    if (needs_reason &&
        want_reason(decision, to == DAY_CANCELLED ? "is cancelled" : "is reopened", err))
        return -1;
    struct day_event_record event = {.kind = DAY_EVENT_STATE, .state = to};
    return record(change, caller, &row, &event, decision, "day.state", day_state_name(to),
                  now_utc_s, out, err);
}

/* How many noons are in that are not of a date. */
static int count_of_other_dates(struct db *db, int64_t day, int32_t date, size_t *out,
                                struct err *err) {
    struct day_noon *noons = NULL;
    size_t count = 0, other = 0;
    int failed = reduction_rows_of_day(db, day, &noons, &count, err);
    for (size_t i = 0; i < count && !failed; i++) {
        const struct noon_result *noon = &noons[i].noon;
        other += !day_noon_is_of(sun_day_nearest(noon->transit_utc_s, noon->lon_deg), date,
                                 noon->lon_deg);
    }
    free(noons);
    if (failed)
        return -1;
    *out = other;
    return 0;
}

static bool is_spare(const struct day_record *day, int32_t date) {
    for (int i = 0; i < day->spares; i++)
        if (day->spare[i] == date)
            return true;
    return false;
}

int day_move(struct change *change, const struct caller *caller, const char *day,
             const struct decision_record *decision, double now_utc_s, struct day_record *out,
             struct warnings *warnings, struct err *err) {
    struct day_row row;
    char from[DATE_TEXT], to[DATE_TEXT], detail[48];
    size_t runs = 0;
    if (begin(change, caller, day, &row, err) ||
        day_state_check(row.record.state, DAY_ACT_MOVE, err) ||
        want_reason(decision, "is moved", err))
        return -1;
    date_format(row.record.date, from);
    date_format(decision->date, to);
    if (!is_spare(&row.record, decision->date))
        return err_set(err, ERR_NOT_A_SPARE_DATE, "/date",
                       decision->date == row.record.date
                           ? "%s is the day's date already"
                           : "%s is none of the day's spare dates; those that take part agreed to "
                             "these alone: open another day for it",
                       to);
    struct day_event_record event = {.kind = DAY_EVENT_MOVE, .date = decision->date};
    snprintf(detail, sizeof detail, "from %s to %s", from, to);
    if (count_of_other_dates(change_db(change), row.id, decision->date, &runs, err) ||
        record(change, caller, &row, &event, decision, "day.move", detail, now_utc_s, out, err))
        return -1;
    if (day_date_passed(decision->date, now_utc_s))
        warning_add(warnings, WARNING_DATE_PASSED, "/date", "%s has passed already", to);
    if (runs > 0)
        warning_add(warnings, WARNING_RUNS_MOVED, NULL,
                    "%zu runs are in from another date: they stay and count as a noon of their "
                    "own; who measures again on %s sends that as a correction",
                    runs, to);
    return 0;
}

int day_set_blind(struct change *change, const struct caller *caller, const char *day,
                  const struct decision_record *decision, double now_utc_s, struct day_record *out,
                  struct err *err) {
    struct day_row row;
    if (begin(change, caller, day, &row, err) ||
        want_reason(decision, decision->blind ? "is blind again" : "is not blind any more", err))
        return -1;
    if (row.record.blind == decision->blind) {
        *out = row.record;
        return 0;
    }
    struct day_event_record event = {.kind = DAY_EVENT_BLIND, .blind = decision->blind};
    return record(change, caller, &row, &event, decision, "day.blind",
                  decision->blind ? "on" : "off", now_utc_s, out, err);
}

void day_history_release(struct day_history *history) {
    free(history->items);
    *history = (struct day_history){0};
}

int day_history_of(struct db *db, const struct caller *caller, const char *day,
                   struct day_history *out, struct err *err) {
    struct day_row row;
    struct day_history history = {0};
    if (lookup_day_as(db, caller, day, &row, err) ||
        day_event_rows_list(db, row.id, &history.items, &history.count, err))
        return -1;
    *out = history;
    return 0;
}
