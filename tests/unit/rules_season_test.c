/* SPDX-License-Identifier: MIT */
/* day_states, seasons and taking part with approval: what each state lets through,
 * what a move does to runs that are in, who waits and who need not. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/rules/accept.h"
#include "server/rules/day_states.h"
#include "server/rules/days.h"
#include "server/rules/runs.h"
#include "server/rules/seasons.h"
#include "server/wire/board.h"
#include "tests/support/store_fixture.h"

#define NOW FIXTURE_NOW_UTC_S
#define NEXT_DAY "2027-03-22" /* after FIXTURE_DATE */

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

/* A day with a spare date, in a season ("" none) and a state. */
static void open_day(struct fixture *f, const char *day, const char *season, enum day_state state) {
    struct day_record record, kept;
    day_record_init(&record);
    snprintf(record.day, sizeof record.day, "%s", day);
    snprintf(record.season, sizeof record.season, "%s", season);
    record.state = state;
    assert_true(date_parse(FIXTURE_DATE, &record.date));
    record.spare[record.spares++] = record.date + 1;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_open(f->change, &f->organiser, &record, NOW, &kept, err)),
                     0);
}

static void open_season(struct fixture *f, const char *season, bool approval) {
    struct season_record record = {.approval = approval}, kept;
    snprintf(record.season, sizeof record.season, "%s", season);
    snprintf(record.name, sizeof record.name, "Season %s", season);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, season_open(f->change, &f->organiser, &record, NOW, &kept, err)), 0);
}

static int set_state(struct fixture *f, const struct caller *caller, enum day_state state,
                     const char *reason) {
    struct decision_record decision = {.state = state};
    struct day_record day;
    snprintf(decision.reason, sizeof decision.reason, "%s", reason);
    struct err *err = fixture_begin(f);
    int result =
        fixture_end(f, day_change_state(f->change, caller, "spring", &decision, NOW, &day, err));
    if (result == 0)
        assert_int_equal(day.state, state);
    return result;
}

static int move(struct fixture *f, const char *date, const char *reason, struct day_record *day,
                struct warnings *warnings) {
    struct decision_record decision;
    snprintf(decision.reason, sizeof decision.reason, "%s", reason);
    assert_true(date_parse(date, &decision.date));
    struct err *err = fixture_begin(f);
    return fixture_end(
        f, day_move(f->change, &f->organiser, "spring", &decision, NOW, day, warnings, err));
}

static int join(struct fixture *f, const struct caller *caller, const char *site, enum stand *stand,
                struct warnings *warnings) {
    *warnings = (struct warnings){.count = 0};
    struct err *err = fixture_begin(f);
    return fixture_end(f, day_join(f->change, caller, "spring", site, NOW, stand, warnings, err));
}

static int say(struct fixture *f, const char *site, bool approved, const char *reason,
               enum stand *stand) {
    struct decision_record decision = {.approved = approved};
    snprintf(decision.reason, sizeof decision.reason, "%s", reason);
    struct err *err = fixture_begin(f);
    return fixture_end(
        f, day_approve(f->change, &f->organiser, "spring", site, &decision, NOW, stand, err));
}

/* A run of the site of a date, sent by the organiser; 0 with f->err. */
static int64_t send_run(struct fixture *f, const char *site, const char *date, uint64_t seed,
                        int64_t supersedes) {
    struct fixture_body body;
    struct fixture_answer answer;
    struct site_row row;
    char key[32];
    assert_int_equal(site_rows_find(f->db, site, &row, &f->err), FOUND_ONE);
    fixture_body(&body, site, "spring", &row.record.place, date, seed, supersedes);
    snprintf(key, sizeof key, "season-%s-%u", site, (unsigned)seed);
    err_clear(&f->err);
    int64_t run = fixture_send(f, &f->organiser, &body, key, &answer);
    fixture_body_release(&body);
    return run;
}

/* Every step from every state, as the table of wire/day_state.h has it. */
static void states_follow_the_table(void **state) {
    struct fixture *f = *state;
    open_day(f, "spring", "", DAY_PLANNED);
    static const struct {
        enum day_state to;
        const char *reason;
        enum err_code code; /* ERR_NONE: it is done */
    } steps[] = {
        {DAY_CLOSED, "no", ERR_DAY_STATE},
        {DAY_CANCELLED, "", ERR_MISSING_FIELD},
        {DAY_ANNOUNCED, "", ERR_NONE},
        {DAY_ANNOUNCED, "", ERR_NONE}, /* as it is: nothing happens */
        {DAY_PLANNED, "no", ERR_DAY_STATE},
        {DAY_CLOSED, "", ERR_NONE},
        {DAY_PLANNED, "no", ERR_DAY_STATE},
        {DAY_CANCELLED, "no", ERR_DAY_STATE},
        {DAY_ANNOUNCED, "", ERR_MISSING_FIELD},
        {DAY_ANNOUNCED, "a school was late", ERR_NONE},
        {DAY_CANCELLED, "", ERR_MISSING_FIELD},
        {DAY_CANCELLED, "storm over the whole country", ERR_NONE},
        {DAY_CLOSED, "no", ERR_DAY_STATE},
        {DAY_ANNOUNCED, "the storm turned away", ERR_NONE},
    };
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        int result = set_state(f, &f->organiser, steps[i].to, steps[i].reason);
        if ((result == 0) != (steps[i].code == ERR_NONE) ||
            (result != 0 && f->err.code != steps[i].code))
            fail_msg("step %zu: %s %s", i, err_name(f->err.code), f->err.text);
    }
    struct day_history history;
    assert_int_equal(day_history_of(f->db, &f->organiser, "spring", &history, &f->err), 0);
    assert_int_equal(history.count, 7); /* opened, planned, and five that did something */
    assert_int_equal(history.items[0].kind, DAY_EVENT_OPEN);
    assert_int_equal(history.items[1].state, DAY_PLANNED);
    assert_int_equal(history.items[6].state, DAY_ANNOUNCED);
    assert_string_equal(history.items[4].reason, "a school was late");
    day_history_release(&history);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM audit WHERE action = 'day.state'"), 5);
}

static void only_organisers_see_what_is_planned(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key), nobody = {.role = ROLE_ANYONE};
    struct day_record day;
    struct day_page page;
    struct day_history history;
    struct warnings warnings;
    enum stand stand;
    open_day(f, "spring", "", DAY_PLANNED);
    assert_int_equal(day_get(f->db, &f->organiser, "spring", &day, &f->err), 0);
    assert_int_equal(day_list(f->db, &f->organiser, "", "", 10, &page, &f->err), 0);
    assert_int_equal(page.count, 1);
    day_page_release(&page);
    assert_int_equal(day_list(f->db, &school, "", "", 10, &page, &f->err), 0);
    assert_int_equal(page.count, 0);
    day_page_release(&page);
    assert_int_equal(day_get(f->db, &nobody, "spring", &day, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    err_clear(&f->err);
    assert_int_equal(day_history_of(f->db, &school, "spring", &history, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    assert_int_equal(join(f, &school, "hill", &stand, &warnings), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    assert_int_equal(join(f, &f->organiser, "hill", &stand, &warnings), -1);
    assert_int_equal(f->err.code, ERR_DAY_STATE);
    assert_int_equal(set_state(f, &school, DAY_ANNOUNCED, ""), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
}

/* Joining, leaving, handing in, correcting end with the day; withdrawing does not. */
static void a_closed_day_takes_nothing(void **state) {
    struct fixture *f = *state;
    struct warnings warnings;
    enum stand stand;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", 44.0, 3.0);
    open_day(f, "spring", "", DAY_ANNOUNCED);
    fixture_join(f, "spring", "hill");
    int64_t run = send_run(f, "hill", FIXTURE_DATE, 1, 0);
    assert_true(run > 0);
    assert_int_equal(set_state(f, &f->organiser, DAY_CLOSED, ""), 0);
    assert_int_equal(join(f, &f->organiser, "dale", &stand, &warnings), -1);
    assert_int_equal(f->err.code, ERR_DAY_STATE);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, day_leave(f->change, &f->organiser, "spring", "hill", NOW, err)), -1);
    assert_int_equal(f->err.code, ERR_DAY_STATE);
    assert_int_equal(send_run(f, "hill", FIXTURE_DATE, 2, run), 0);
    assert_int_equal(f->err.code, ERR_DAY_STATE);
    /* what was handed in before is answered again: its first answer was lost on the way */
    assert_int_equal(send_run(f, "hill", FIXTURE_DATE, 1, 0), run);
    err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, accept_withdraw(f->change, &f->organiser, run, "ours", NOW, err)), 0);
    assert_int_equal(set_state(f, &f->organiser, DAY_ANNOUNCED, "one more"), 0);
    assert_true(send_run(f, "hill", FIXTURE_DATE, 3, 0) > 0);
}

/* The request was looked at before the day closed, the writer comes after. */
static void a_day_closes_while_a_run_waits(void **state) {
    struct fixture *f = *state;
    struct fixture_body body;
    struct site_row row;
    static struct prepared prepared;
    struct text answer;
    bool replayed;
    fixture_site(f, "hill", 40.0, 3.0);
    open_day(f, "spring", "", DAY_ANNOUNCED);
    fixture_join(f, "spring", "hill");
    assert_int_equal(site_rows_find(f->db, "hill", &row, &f->err), FOUND_ONE);
    fixture_body(&body, "hill", "spring", &row.record.place, FIXTURE_DATE, 1, 0);
    const struct submission submission = {.caller = &f->organiser,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = "while-it-waits",
                                          .now_utc_s = NOW};
    assert_int_equal(fixture_prepare(f, &submission, &prepared, &f->err), 0);
    assert_int_equal(set_state(f, &f->organiser, DAY_CLOSED, ""), 0);
    text_init(&answer, ACCEPT_ANSWER_MAX);
    struct err *err = fixture_begin_run(f);
    assert_int_equal(fixture_end(f, accept_run(f->change, &submission, &prepared, NULL, &answer,
                                               &replayed, err)),
                     -1);
    assert_int_equal(f->err.code, ERR_DAY_STATE);
    text_release(&answer);
    fixture_body_release(&body);
}

static struct run_view view_of(struct fixture *f, int64_t run) {
    struct run_view view;
    assert_int_equal(run_get(f->db, f->almanac, run, &view, &f->err), 0);
    return view;
}

/* What a move does to runs that are in: they stay, they count as a noon of their own
 * beside those of the new date, they are listed as not of the day's date, and late
 * ones of the old date are still taken. */
static void a_move_loses_no_run(void **state) {
    struct fixture *f = *state;
    struct day_record day;
    struct warnings warnings = {.count = 0};
    static const struct {
        const char *site;
        double lat_deg;
    } sites[] = {{"a", 30.0}, {"b", 36.0}, {"c", 42.0}, {"d", 48.0}};
    open_day(f, "spring", "", DAY_ANNOUNCED);
    for (size_t i = 0; i < 4; i++) {
        fixture_site(f, sites[i].site, sites[i].lat_deg, 3.0);
        fixture_join(f, "spring", sites[i].site);
    }
    int64_t early = send_run(f, "a", FIXTURE_DATE, 1, 0);
    assert_true(early > 0);
    struct run_view view = view_of(f, early);
    assert_true(view.of_date);
    run_view_release(&view);

    assert_int_equal(move(f, NEXT_DAY, "", &day, &warnings), -1);
    assert_int_equal(f->err.code, ERR_MISSING_FIELD);
    assert_int_equal(move(f, "2027-03-25", "cloud", &day, &warnings), -1);
    assert_int_equal(f->err.code, ERR_NOT_A_SPARE_DATE);
    assert_int_equal(move(f, FIXTURE_DATE, "cloud", &day, &warnings), -1);
    assert_int_equal(f->err.code, ERR_NOT_A_SPARE_DATE);
    assert_int_equal(warnings.count, 0);
    assert_int_equal(move(f, NEXT_DAY, "cloud", &day, &warnings), 0);
    assert_int_equal(warnings.count, 1);
    assert_int_equal(warnings.item[0].code, WARNING_RUNS_MOVED);
    char date[DATE_TEXT], spare[DATE_TEXT];
    date_format(day.date, date);
    date_format(day.spare[0], spare);
    assert_string_equal(date, NEXT_DAY);
    assert_int_equal(day.spares, 1);
    assert_string_equal(spare, FIXTURE_DATE);

    view = view_of(f, early);
    assert_false(view.of_date);
    date_format(view.noon_date, date);
    assert_string_equal(date, FIXTURE_DATE);
    run_view_release(&view);
    assert_true(send_run(f, "b", FIXTURE_DATE, 2, 0) > 0); /* late, of the old date */
    assert_true(send_run(f, "c", NEXT_DAY, 3, 0) > 0);
    assert_true(send_run(f, "d", NEXT_DAY, 4, 0) > 0);
    assert_int_equal(
        fixture_count(f, "SELECT COUNT(*) FROM reduction WHERE counts = 1 AND day = 1"), 4);
    char *json;
    assert_int_equal(fixture_result(f, "spring", &json), 0);
    assert_non_null(strstr(json, "\"days\":2")); /* two noons, one line each, one slope */
    assert_non_null(strstr(json, "\"status\":\"ok\""));
    free(json);
    /* who measures again corrects */
    assert_int_equal(send_run(f, "a", NEXT_DAY, 5, 0), 0);
    assert_int_equal(f->err.code, ERR_RUN_EXISTS);
    int64_t again = send_run(f, "a", NEXT_DAY, 6, early);
    assert_true(again > 0);
    view = view_of(f, again);
    assert_true(view.of_date);
    run_view_release(&view);
    /* and back: the dates change places once more */
    assert_int_equal(move(f, FIXTURE_DATE, "the forecast changed", &day, &warnings), 0);
    date_format(day.date, date);
    assert_string_equal(date, FIXTURE_DATE);
}

static void a_moved_day_is_listed_where_it_is_now(void **state) {
    struct fixture *f = *state;
    struct day_record day;
    struct day_page page;
    struct warnings warnings = {.count = 0};
    open_day(f, "spring", "", DAY_ANNOUNCED);
    open_day(f, "summer", "", DAY_ANNOUNCED);
    assert_int_equal(move(f, NEXT_DAY, "cloud", &day, &warnings), 0);
    assert_int_equal(warnings.count, 0);
    assert_int_equal(day_list(f->db, &f->organiser, "", "", 1, &page, &f->err), 0);
    assert_string_equal(page.items[0].day, "summer");
    assert_string_equal(page.next, FIXTURE_DATE "/summer");
    day_page_release(&page);
    assert_int_equal(day_list(f->db, &f->organiser, "", FIXTURE_DATE "/summer", 1, &page, &f->err),
                     0);
    assert_string_equal(page.items[0].day, "spring");
    day_page_release(&page);
}

static void seasons_hold_days(void **state) {
    struct fixture *f = *state;
    struct season_page seasons;
    struct season_record record = {.season = "", .name = "Otoño 2027"}, kept;
    struct day_page page;
    struct day_record day;
    open_season(f, "2027", false);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, season_open(f->change, &f->organiser, &record, NOW, &kept, err)), 0);
    assert_string_equal(kept.season, "otono-2027");
    err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, season_open(f->change, &f->organiser, &record, NOW, &kept, err)), -1);
    assert_int_equal(f->err.code, ERR_SEASON_EXISTS);
    assert_int_equal(season_list(f->db, "", 1, &seasons, &f->err), 0);
    assert_string_equal(seasons.items[0].season, "2027");
    assert_string_equal(seasons.next, "2027");
    season_page_release(&seasons);
    open_day(f, "spring", "2027", DAY_ANNOUNCED);
    open_day(f, "alone", "", DAY_ANNOUNCED);
    assert_int_equal(day_list(f->db, &f->organiser, "2027", "", 10, &page, &f->err), 0);
    assert_int_equal(page.count, 1);
    assert_string_equal(page.items[0].season, "2027");
    day_page_release(&page);
    struct day_record lost;
    day_record_init(&lost);
    lost.date = page.count;
    assert_true(date_parse(FIXTURE_DATE, &lost.date));
    snprintf(lost.day, sizeof lost.day, "lost");
    snprintf(lost.season, sizeof lost.season, "1999");
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_open(f->change, &f->organiser, &lost, NOW, &day, err)), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    assert_string_equal(f->err.field, "/season");
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM day"), 2);
}

static size_t standing(struct fixture *f, enum stand stand) {
    struct participant_page page;
    assert_int_equal(day_standing_list(f->db, "spring", stand, "", LIST_LIMIT_ALL, &page, &f->err),
                     0);
    size_t count = page.count;
    participant_page_release(&page);
    return count;
}

static void with_approval_schools_wait(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    struct warnings warnings;
    enum stand stand;
    fixture_site(f, "dale", 44.0, 3.0);
    open_season(f, "2027", true);
    open_day(f, "spring", "2027", DAY_ANNOUNCED);
    assert_int_equal(say(f, "hill", true, "", &stand), -1);
    assert_int_equal(f->err.code, ERR_NOT_TAKING_PART);
    assert_int_equal(join(f, &school, "hill", &stand, &warnings), 0);
    assert_int_equal(stand, STAND_WAITING);
    assert_int_equal(warnings.count, 1);
    assert_int_equal(warnings.item[0].code, WARNING_NOT_INVITED);
    assert_int_equal(send_run(f, "hill", FIXTURE_DATE, 1, 0), 0);
    assert_int_equal(f->err.code, ERR_NOT_APPROVED);
    assert_int_equal(standing(f, STAND_WAITING), 1);
    assert_int_equal(standing(f, STAND_TAKEN), 0);
    assert_int_equal(join(f, &f->organiser, "dale", &stand, &warnings), 0); /* approves by it */
    assert_int_equal(stand, STAND_TAKEN);
    assert_int_equal(say(f, "hill", false, "", &stand), -1);
    assert_int_equal(f->err.code, ERR_MISSING_FIELD);
    assert_int_equal(say(f, "hill", false, "no such school", &stand), 0);
    assert_int_equal(send_run(f, "hill", FIXTURE_DATE, 1, 0), 0);
    assert_int_equal(f->err.code, ERR_NOT_APPROVED);
    assert_int_equal(standing(f, STAND_REFUSED), 1);
    assert_int_equal(say(f, "hill", true, "there is", &stand), 0);
    assert_int_equal(stand, STAND_TAKEN);
    assert_true(send_run(f, "hill", FIXTURE_DATE, 2, 0) > 0);
    assert_int_equal(standing(f, STAND_TAKEN), 2);
    assert_int_equal(say(f, "hill", false, "after all not", &stand), -1);
    assert_int_equal(f->err.code, ERR_RUN_EXISTS);
}

/* Who waits takes part at once when the season stops asking; who was refused not. */
static void approval_can_be_given_up(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct site_secrets dale = fixture_site(f, "dale", 44.0, 3.0);
    struct caller hill_school = fixture_caller(f, hill.school_key);
    struct caller dale_school = fixture_caller(f, dale.school_key);
    struct season_record season = {.season = "2027", .name = "Season 2027"}, kept;
    struct warnings warnings;
    enum stand stand;
    open_season(f, "2027", true);
    open_day(f, "spring", "2027", DAY_ANNOUNCED);
    assert_int_equal(join(f, &hill_school, "hill", &stand, &warnings), 0);
    assert_int_equal(join(f, &dale_school, "dale", &stand, &warnings), 0);
    assert_int_equal(say(f, "dale", false, "asked not to", &stand), 0);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, season_revise(f->change, &f->organiser, &season, NOW, &kept, err)), 0);
    assert_int_equal(standing(f, STAND_TAKEN), 1);
    assert_int_equal(standing(f, STAND_REFUSED), 1);
    assert_int_equal(standing(f, STAND_WAITING), 0);
}

/* 5 degrees are 556 km at the equator: five and a half times 100 km, below twice 300. */
static void odd_days_are_warned_of(void **state) {
    (void)state;
    struct day_record day;
    struct warnings warnings = {.count = 0};
    day_record_init(&day);
    assert_true(date_parse(FIXTURE_DATE, &day.date));
    day_warn(&day, NOW, &warnings);
    assert_int_equal(warnings.count, 0);
    day.lon_tolerance_deg = 5.0;
    day_warn(&day, NOW, &warnings);
    assert_int_equal(warnings.count, 1);
    assert_int_equal(warnings.item[0].code, WARNING_TOLERANCE_WIDE);
    assert_non_null(strstr(warnings.item[0].detail, "556 km"));
    day.min_separation_km = 300.0;
    warnings.count = 0;
    day_warn(&day, NOW, &warnings);
    assert_int_equal(warnings.count, 0);
    day.date -= 2;
    day_warn(&day, NOW, &warnings);
    assert_int_equal(warnings.count, 0); /* noon of the farthest west is just over */
    day_warn(&day, NOW + 1.0, &warnings);
    assert_int_equal(warnings.count, 1);
    assert_int_equal(warnings.item[0].code, WARNING_DATE_PASSED);
}

int main(void) {
#define SEASON_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        SEASON_TEST(states_follow_the_table),    SEASON_TEST(only_organisers_see_what_is_planned),
        SEASON_TEST(a_closed_day_takes_nothing), SEASON_TEST(a_day_closes_while_a_run_waits),
        SEASON_TEST(a_move_loses_no_run),        SEASON_TEST(a_moved_day_is_listed_where_it_is_now),
        SEASON_TEST(seasons_hold_days),          SEASON_TEST(with_approval_schools_wait),
        SEASON_TEST(approval_can_be_given_up),   SEASON_TEST(odd_days_are_warned_of),
    };
    return cmocka_run_group_tests_name("rules_season", tests, NULL, NULL);
}
