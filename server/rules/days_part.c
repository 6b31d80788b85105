/* SPDX-License-Identifier: MIT */
/* days_part: joining, leaving, and what organisers say to it. */
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/days.h"
#include "server/rules/lookup.h"
#include "server/rules/partners.h"
#include "server/store/invitation_rows.h"
#include "server/store/run_rows.h"

/* A site and a day, met. */
struct meeting {
    struct change *change;
    const struct caller *caller;
    double now_utc_s;
    struct day_row day;
    struct site_row site;
    struct standing standing;
};

static int stand(struct meeting *meeting, struct err *err) {
    return day_rows_standing(change_db(meeting->change), meeting->day.id, meeting->site.id,
                             &meeting->standing, err);
}

static int meet(struct meeting *meeting, const char *day, const char *site, struct err *err) {
    struct db *db = change_db(meeting->change);
    return lookup_any_day(db, day, &meeting->day, err) ||
                   lookup_site(db, site, &meeting->site, err) || stand(meeting, err)
               ? -1
               : 0;
}

/* The same for a school, to whom a planned day does not exist. */
static int meet_to_join(struct meeting *meeting, const char *day, const char *site,
                        struct err *err) {
    struct day_row seen;
    if (caller_may(meeting->caller, ROLE_SCHOOL, site, err) ||
        lookup_day_as(change_db(meeting->change), meeting->caller, day, &seen, err) ||
        meet(meeting, day, site, err))
        return -1;
    return day_state_check(meeting->standing.state, DAY_ACT_JOIN, err);
}

static int note(const struct meeting *meeting, const char *action, const char *detail,
                struct err *err) {
    return audit_note(
        meeting->change, meeting->caller, action,
        audit_subject("days/%s/sites/%s", meeting->day.record.day, meeting->site.record.site).text,
        detail, meeting->now_utc_s, err);
}

static int approve(const struct meeting *meeting, bool approved, const char *reason,
                   struct err *err) {
    return day_rows_add_approval(change_db(meeting->change), meeting->day.id, meeting->site.id,
                                 approved, reason, meeting->caller->credential, meeting->now_utc_s,
                                 err) ||
                   note(meeting, approved ? "day.approve" : "day.refuse", NULL, err)
               ? -1
               : 0;
}

/* A site that would wait need not, when the organiser invited it or joins it now. */
static int approve_at_once(struct meeting *meeting, struct warnings *warnings, struct err *err) {
    bool here, elsewhere;
    if (invitation_rows_of_site(change_db(meeting->change), meeting->site.id,
                                meeting->day.record.season, &here, &elsewhere, err))
        return -1;
    if (here || meeting->caller->role == ROLE_ORGANISER)
        return approve(meeting, true, here ? "invited" : "joined by an organiser", err) ||
                       stand(meeting, err)
                   ? -1
                   : 0;
    if (elsewhere)
        warning_add(warnings, WARNING_OTHER_SEASON, NULL,
                    "the site's invitation is for another season than %s: an organiser has to "
                    "approve that it takes part",
                    meeting->day.record.season);
    else
        warning_add(warnings, WARNING_NOT_INVITED, NULL,
                    "an organiser has to approve that the site takes part; until then no readings "
                    "are taken from it");
    return 0;
}

int day_join(struct change *change, const struct caller *caller, const char *day, const char *site,
             double now_utc_s, enum stand *part, struct warnings *warnings, struct err *err) {
    struct meeting meeting = {.change = change, .caller = caller, .now_utc_s = now_utc_s};
    if (meet_to_join(&meeting, day, site, err))
        return -1;
    if (!meeting.standing.joined &&
        (day_rows_add_event(change_db(change), meeting.day.id, meeting.site.id, true,
                            caller->credential, now_utc_s, err) ||
         note(&meeting, "day.join", NULL, err) || stand(&meeting, err)))
        return -1;
    if (meeting.standing.stand == STAND_WAITING && approve_at_once(&meeting, warnings, err))
        return -1;
    *part = meeting.standing.stand;
    return 0;
}

static int refuse_with_run(const struct meeting *meeting, struct err *err) {
    int64_t run;
    enum found found =
        run_rows_current(change_db(meeting->change), meeting->day.id, meeting->site.id, &run, err);
    if (found == FOUND_ONE)
        return err_set(err, ERR_RUN_EXISTS, NULL,
                       "the site has a run on that day; withdraw run %lld first", (long long)run);
    return found == FOUND_FAILED ? -1 : 0;
}

int day_leave(struct change *change, const struct caller *caller, const char *day, const char *site,
              double now_utc_s, struct err *err) {
    struct meeting meeting = {.change = change, .caller = caller, .now_utc_s = now_utc_s};
    if (meet_to_join(&meeting, day, site, err))
        return -1;
    if (!meeting.standing.joined)
        return 0;
    return refuse_with_run(&meeting, err) ||
                   day_rows_add_event(change_db(change), meeting.day.id, meeting.site.id, false,
                                      caller->credential, now_utc_s, err) ||
                   note(&meeting, "day.leave", NULL, err) ||
                   partners_lost(change, &meeting.day, &meeting.site, now_utc_s, err)
               ? -1
               : 0;
}

int day_approve(struct change *change, const struct caller *caller, const char *day,
                const char *site, const struct decision_record *decision, double now_utc_s,
                enum stand *part, struct err *err) {
    struct meeting meeting = {.change = change, .caller = caller, .now_utc_s = now_utc_s};
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) || meet(&meeting, day, site, err))
        return -1;
    if (!meeting.standing.joined)
        return err_set(err, ERR_NOT_TAKING_PART, NULL, "the site did not join that day");
    if (!decision->approved && decision->reason[0] == '\0')
        return err_set(err, ERR_MISSING_FIELD, "/reason", "say why the site cannot take part");
    enum stand wanted = decision->approved ? STAND_TAKEN : STAND_REFUSED;
    if (meeting.standing.stand != wanted &&
        ((wanted == STAND_REFUSED && refuse_with_run(&meeting, err)) ||
         approve(&meeting, decision->approved, decision->reason, err)))
        return -1;
    *part = wanted;
    return 0;
}

int day_standing_list(struct db *db, const char *day, enum stand part, const char *after,
                      size_t limit, struct participant_page *out, struct err *err) {
    struct participant_page page = {0};
    struct day_row row;
    if (lookup_day(db, day, &row, err) ||
        day_rows_with_standing(db, row.id, part, after, list_ask(limit), &page.items, &page.count,
                               err))
        return -1;
    if (list_more(limit, &page.count))
        memcpy(page.next, page.items[page.count - 1].site.site, sizeof page.next);
    *out = page;
    return 0;
}

int day_participants(struct db *db, const char *day, const char *after, size_t limit,
                     struct participant_page *out, struct err *err) {
    return day_standing_list(db, day, STAND_TAKEN, after, limit, out, err);
}
