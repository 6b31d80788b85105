/* SPDX-License-Identifier: MIT */
/* days and plan: opening, joining, leaving; what a plan tells and what it keeps
 * to itself. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/rules/accept.h"
#include "server/rules/day_states.h"
#include "server/rules/days.h"
#include "server/rules/plan.h"
#include "server/rules/seasons.h"
#include "tests/support/store_fixture.h"

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

static struct day_record day_record(const char *day, const char *date) {
    struct day_record record;
    day_record_init(&record);
    snprintf(record.day, sizeof record.day, "%s", day);
    assert_true(date_parse(date, &record.date));
    return record;
}

static int open_day(struct fixture *f, const struct caller *caller, const struct day_record *day,
                    struct day_record *kept) {
    struct err *err = fixture_begin(f);
    return fixture_end(f, day_open(f->change, caller, day, FIXTURE_NOW_UTC_S, kept, err));
}

static void day_comes_back_with_its_rules(void **state) {
    struct fixture *f = *state;
    struct day_record day = day_record("", FIXTURE_DATE), kept;
    day.spares = 2;
    day.spare[0] = day.date + 1;
    day.spare[1] = day.date + 7;
    day.lon_tolerance_deg = 0.5;
    day.min_separation_km = 200.0;
    day.max_sigma_km = 3000.0;
    assert_int_equal(open_day(f, &f->organiser, &day, &kept), 0);
    assert_string_equal(kept.day, FIXTURE_DATE);
    assert_int_equal(day_get(f->db, &f->organiser, FIXTURE_DATE, &kept, &f->err), 0);
    assert_string_equal(kept.name, FIXTURE_DATE);
    assert_int_equal(kept.date, day.date);
    assert_int_equal(kept.spares, 2);
    assert_int_equal(kept.spare[1], day.date + 7);
    assert_true(kept.lon_tolerance_deg == 0.5 && kept.min_separation_km == 200.0);
    assert_true(kept.max_sigma_km == 3000.0);
}

static void wrong_days_are_refused(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    struct day_record good = day_record("spring", FIXTURE_DATE), kept;
    struct day_record twice = day_record("twice", FIXTURE_DATE);
    struct day_record early = day_record("early", "1971-12-31");
    struct day_record late = day_record("late", FIXTURE_DATE);
    twice.spares = late.spares = 1;
    twice.spare[0] = twice.date;
    assert_true(date_parse("2100-12-31", &late.spare[0]));
    assert_int_equal(open_day(f, &school, &good, &kept), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(open_day(f, &f->organiser, &good, &kept), 0);
    const struct {
        const struct day_record *day;
        enum err_code code;
        const char *field;
    } rows[] = {{&good, ERR_DAY_EXISTS, "/day"},
                {&twice, ERR_OUT_OF_RANGE, "/spare_dates/0"},
                {&early, ERR_OUT_OF_RANGE, "/date"},
                {&late, ERR_OUT_OF_RANGE, "/spare_dates/0"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_int_equal(open_day(f, &f->organiser, rows[i].day, &kept), -1);
        assert_int_equal(f->err.code, rows[i].code);
        assert_string_equal(f->err.field, rows[i].field);
    }
}

static void days_are_listed_by_date(void **state) {
    struct fixture *f = *state;
    static const char *const order[] = {"winter", "a-spring", "b-spring", "summer"};
    struct day_page page;
    char next[sizeof page.next] = "";
    size_t seen = 0;
    fixture_day(f, "summer", "2027-06-21");
    fixture_day(f, "b-spring", "2027-03-21");
    fixture_day(f, "winter", "2026-12-21");
    fixture_day(f, "a-spring", "2027-03-21");
    do {
        assert_int_equal(day_list(f->db, &f->organiser, "", next, 1, &page, &f->err), 0);
        assert_int_equal(page.count, 1);
        assert_string_equal(page.items[0].day, order[seen++]);
        memcpy(next, page.next, sizeof next);
        day_page_release(&page);
    } while (next[0] != '\0');
    assert_int_equal(seen, 4);
    static const char *const wrong[] = {"x", "2027-03-21", "2027-13-21/a", "2027-03-21/../x"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        err_clear(&f->err);
        assert_int_equal(day_list(f->db, &f->organiser, "", wrong[i], 1, &page, &f->err), -1);
        assert_int_equal(f->err.code, ERR_BAD_QUERY);
    }
}

static int leave(struct fixture *f, const struct caller *caller, const char *site) {
    struct err *err = fixture_begin(f);
    return fixture_end(f, day_leave(f->change, caller, "spring", site, FIXTURE_NOW_UTC_S, err));
}

static size_t participants(struct fixture *f) {
    struct participant_page page;
    assert_int_equal(day_participants(f->db, "spring", "", LIST_LIMIT_ALL, &page, &f->err), 0);
    size_t count = page.count;
    participant_page_release(&page);
    return count;
}

static void sites_join_and_leave(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    struct caller class = fixture_caller(f, hill.class_code);
    fixture_site(f, "dale", 44.0, 3.0);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "dale");
    assert_int_equal(participants(f), 2);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM participation"), 2);
    assert_int_equal(leave(f, &class, "hill"), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(leave(f, &school, "dale"), -1);
    assert_int_equal(leave(f, &school, "hill"), 0);
    assert_int_equal(leave(f, &school, "hill"), 0);
    assert_int_equal(participants(f), 1);
    fixture_join(f, "spring", "hill");
    assert_int_equal(participants(f), 2);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM participation"), 4);
    enum stand stand;
    struct warnings warnings = {.count = 0};
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_join(f->change, &f->organiser, "autumn", "hill",
                                             FIXTURE_NOW_UTC_S, &stand, &warnings, err)),
                     -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void site_with_a_run_cannot_leave(void **state) {
    struct fixture *f = *state;
    struct participant_page page;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", 44.0, 3.0);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "dale");
    int64_t run = fixture_run(f, "hill", "spring", 1, 0);
    assert_true(run > 0);
    assert_int_equal(leave(f, &f->organiser, "hill"), -1);
    assert_int_equal(f->err.code, ERR_RUN_EXISTS);
    assert_int_equal(day_participants(f->db, "spring", "", LIST_LIMIT_ALL, &page, &f->err), 0);
    assert_int_equal(page.count, 2);
    assert_string_equal(page.items[0].site.site, "dale");
    assert_int_equal(page.items[0].run, 0);
    assert_true(isnan(page.items[0].run_gnomon_mm));
    assert_true(page.items[1].run == run);
    assert_true(fabs(page.items[1].run_gnomon_mm - 1000.0) < 1e-9);
    participant_page_release(&page);
}

static const struct plan_wish no_wish = {.gnomon_mm = NAN};

static struct plan plan_of(struct fixture *f, const char *site) {
    struct plan plan;
    assert_int_equal(plan_make(f->db, f->almanac, "spring", site, &no_wish, &plan, &f->err), 0);
    return plan;
}

static void plan_knows_noon_and_window(void **state) {
    struct fixture *f = *state;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_day(f, "spring", FIXTURE_DATE);
    struct plan plan = plan_of(f, "hill");
    const struct plan_date *date = &plan.dates[0];
    assert_int_equal(plan.dates_count, 1);
    assert_int_equal(date->status, NOON_MEASURABLE);
    /* 2027-03-21: mean noon at 3 E is 11:48; the equation of time near -7.4 min
       (checks.md row 03-15 to 04-01) brings it to 11:55. */
    assert_true(fabs(date->transit_utc_s - (FIXTURE_NOW_UTC_S + 11 * 3600 + 55.4 * 60)) < 60.0);
    assert_true(date->start_utc_s <= date->transit_utc_s - 2700.0);
    assert_true(date->stop_utc_s >= date->transit_utc_s + 2700.0);
    assert_true(date->stop_utc_s - date->start_utc_s <= 5400.0 + 120.0);
    assert_true(fmod(date->start_utc_s, 60.0) == 0.0 && fmod(date->stop_utc_s, 60.0) == 0.0);
    assert_int_equal(date->sun_height, SUN_MIDDLING);
    /* by the height class alone: tan 30 = 0.577, tan 60 = 1.732; 2 s sec^2 z with the mean
       semidiameter of 0.2666 degrees: 12.4 and 37.2 mm */
    assert_true(date->shadow.from_mm == 577.0 && date->shadow.to_mm == 1732.0);
    assert_true(date->fuzzy.from_mm == 12.0 && date->fuzzy.to_mm == 37.0);
    assert_true(date->ground_mm == 2200.0 && date->suggested_gnomon_mm == 1500.0);
    assert_true(isnan(date->noon_angle_deg));
    assert_false(plan.told);
    plan_release(&plan);
}

static void set_blind(struct fixture *f, bool blind) {
    struct decision_record decision = {.blind = blind, .reason = "a class of teachers"};
    struct day_record day;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_set_blind(f->change, &f->organiser, "spring", &decision,
                                                  FIXTURE_NOW_UTC_S, &day, err)),
                     0);
}

/* A plan without its times, which follow from the longitude. */
static void untimed(const struct plan_date *date, char *out, size_t size) {
    snprintf(out, size, "%d %g %g %g %g %g %g %g", (int)date->sun_height, date->ground_mm,
             date->suggested_gnomon_mm, date->shadow.from_mm, date->shadow.to_mm,
             date->fuzzy.from_mm, date->fuzzy.to_mm, date->stop_utc_s - date->start_utc_s);
}

/* On a blind day two sites whose Suns are of one height class get the same plan, with
 * whatever gnomon they ask: nothing measures the angle for them. On the equinox the
 * zenith distance is the latitude; 31 and 59 degrees both are middling. */
static void a_blind_plan_tells_the_class_alone(void **state) {
    struct fixture *f = *state;
    fixture_site(f, "a", 31.0, 3.0);
    fixture_site(f, "b", 59.0, 3.0);
    fixture_day(f, "spring", FIXTURE_DATE);
    for (double gnomon_mm = 20.0; gnomon_mm < 5000.0; gnomon_mm *= 1.07) {
        const struct plan_wish wish = {.gnomon_mm = gnomon_mm};
        struct plan one, two;
        char first[200], second[200];
        assert_int_equal(plan_make(f->db, f->almanac, "spring", "a", &wish, &one, &f->err), 0);
        assert_int_equal(plan_make(f->db, f->almanac, "spring", "b", &wish, &two, &f->err), 0);
        untimed(&one.dates[0], first, sizeof first);
        untimed(&two.dates[0], second, sizeof second);
        assert_string_equal(first, second);
        assert_true(isnan(one.dates[0].noon_angle_deg) && isnan(two.dates[0].noon_angle_deg));
        plan_release(&one);
        plan_release(&two);
    }
}

static void the_angle_is_told_afterwards(void **state) {
    struct fixture *f = *state;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", 40.0, 3.2);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "dale");
    int64_t run = fixture_run(f, "hill", "spring", 1, 0);
    assert_true(run > 0);
    struct plan hill = plan_of(f, "hill"), dale = plan_of(f, "dale");
    /* 2027-03-21 noon: declination 0.26 (checks as in sun_test), 40 - 0.26 */
    assert_true(hill.told && fabs(hill.dates[0].noon_angle_deg - 39.74) < 0.02);
    /* 1 m tan about 40 degrees: 2 s sec^2 z = 2 * 0.2677 deg * 1.70 = 16 mm */
    assert_true(hill.dates[0].fuzzy.from_mm == 16.0 && hill.dates[0].fuzzy.to_mm == 16.0);
    assert_true(fabs(hill.dates[0].shadow.from_mm - 831.0) < 2.0); /* tan 39.74 */
    assert_true(!dale.told && isnan(dale.dates[0].noon_angle_deg));
    plan_release(&hill);
    plan_release(&dale);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, accept_withdraw(f->change, &f->organiser, run, "", FIXTURE_NOW_UTC_S, err)),
        0);
    hill = plan_of(f, "hill");
    assert_false(hill.told); /* it measures anew */
    plan_release(&hill);
    set_blind(f, false);
    dale = plan_of(f, "dale");
    assert_true(dale.told);
    plan_release(&dale);
    set_blind(f, true);
    dale = plan_of(f, "dale");
    assert_false(dale.told);
    plan_release(&dale);
}

/* A partner asked for by name, and each answer why it is none. */
static void a_partner_is_asked_for(void **state) {
    struct fixture *f = *state;
    struct season_record season = {.season = "2027", .name = "2027"}, kept_season;
    struct day_record autumn = day_record("autumn", "2027-09-23"), kept;
    struct plan plan;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "far", 30.0, 3.4);
    fixture_site(f, "off", 30.0, 9.0);
    fixture_site(f, "later", 30.0, 3.0);
    fixture_site(f, "absent", 30.0, 3.0);
    fixture_day(f, "spring", FIXTURE_DATE);
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, season_open(f->change, &f->organiser, &season,
                                                FIXTURE_NOW_UTC_S, &kept_season, err)),
                     0);
    snprintf(autumn.season, sizeof autumn.season, "2027");
    assert_int_equal(open_day(f, &f->organiser, &autumn, &kept), 0);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "far");
    fixture_join(f, "spring", "off");
    fixture_join(f, "autumn", "later");
    static const struct {
        const char *partner;
        enum err_code code;
        bool allowed;
    } rows[] = {{"far", ERR_NONE, true},
                {"off", ERR_NONE, false},
                {"later", ERR_OTHER_SEASON, false},
                {"absent", ERR_NOT_TAKING_PART, false},
                {"nowhere", ERR_NOT_FOUND, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct plan_wish wish = {.gnomon_mm = NAN, .partner = rows[i].partner};
        err_clear(&f->err);
        int result = plan_make(f->db, f->almanac, "spring", "hill", &wish, &plan, &f->err);
        assert_int_equal(f->err.code, rows[i].code);
        if (result != 0)
            continue;
        assert_int_equal(plan.partners_count, 1);
        assert_int_equal(plan.partners[0].allowed, rows[i].allowed);
        plan_release(&plan);
    }
}

static void plan_tells_where_noon_cannot_be_measured(void **state) {
    struct fixture *f = *state;
    struct day_record day = day_record("spring", "2027-12-21"), kept;
    assert_int_equal(open_day(f, &f->organiser, &day, &kept), 0);
    static const struct {
        const char *site;
        double lat_deg;
        enum noon_status status;
    } rows[] = {{"polar", 78.0, NOON_SUN_BELOW_HORIZON},
                {"north", 60.0, NOON_SUN_TOO_LOW},
                {"tropic", -23.4, NOON_SUN_OVERHEAD}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        fixture_site(f, rows[i].site, rows[i].lat_deg, 20.0);
        struct plan plan = plan_of(f, rows[i].site);
        assert_int_equal(plan.dates[0].status, rows[i].status);
        assert_true(isnan(plan.dates[0].start_utc_s) && isnan(plan.dates[0].fuzzy.from_mm));
        plan_release(&plan);
    }
}

/* At 55.5 N near the winter solstice the noon Sun is some 11 degrees up and half
 * an hour later too low: the window is drawn in. */
static void plan_keeps_the_window_above_the_limit(void **state) {
    struct fixture *f = *state;
    struct day_record day = day_record("spring", "2027-12-21"), kept;
    assert_int_equal(open_day(f, &f->organiser, &day, &kept), 0);
    fixture_site(f, "low", 55.5, 20.0);
    fixture_site(f, "high", -10.0, 20.0);
    struct plan low = plan_of(f, "low"), high = plan_of(f, "high");
    assert_int_equal(low.dates[0].status, NOON_MEASURABLE);
    assert_int_equal(low.dates[0].sun_height, SUN_LOW);
    double low_s = low.dates[0].stop_utc_s - low.dates[0].start_utc_s;
    assert_true(low_s >= 1200.0 && low_s < 5400.0);
    assert_int_equal(high.dates[0].sun_height, SUN_HIGH);
    assert_true(high.dates[0].stop_utc_s - high.dates[0].start_utc_s >= 7200.0);
    plan_release(&low);
    plan_release(&high);
}

static void partners_come_best_first(void **state) {
    struct fixture *f = *state;
    struct site_record small = fixture_site_record("small", 30.0, 3.0), kept;
    struct site_secrets secrets;
    fixture_site(f, "hill", 40.0, 179.8);
    fixture_site(f, "near", 40.5, 179.8);
    fixture_site(f, "far", 30.0, -179.7);
    fixture_site(f, "off", 30.0, -178.0);
    fixture_site(f, "equal", 40.0, 179.9);
    fixture_site(f, "absent", 10.0, 179.8);
    small.place.lon_deg = 179.5;
    small.gnomon_mm = 200.0;
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, site_register(f->change, &small, FIXTURE_NOW_UTC_S, &kept, &secrets, err)),
        0);
    fixture_day(f, "spring", FIXTURE_DATE);
    static const char *const joined[] = {"hill", "near", "far", "off", "equal", "small"};
    for (size_t i = 0; i < sizeof joined / sizeof *joined; i++)
        fixture_join(f, "spring", joined[i]);
    struct plan plan = plan_of(f, "hill");
    static const char *const order[] = {"far", "small", "near", "equal"};
    static const bool allowed[] = {true, true, false, false};
    assert_int_equal(plan.partners_count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_string_equal(plan.partners[i].site, order[i]);
        assert_int_equal(plan.partners[i].allowed, allowed[i]);
    }
    assert_true(fabs(plan.partners[0].lon_difference_deg - 0.5) < 1e-9);
    assert_true(isinf(plan.partners[3].expected_sigma_km));
    plan_release(&plan);
}

/* Neighbours either side of the date line are sent to one noon: their instants differ
 * by 0.2 degrees of longitude, not by a day. */
static void plan_sends_neighbours_to_one_noon(void **state) {
    struct fixture *f = *state;
    fixture_site(f, "east", -17.0, 179.9);
    fixture_site(f, "west", -21.0, -179.9);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "east");
    fixture_join(f, "spring", "west");
    struct plan east = plan_of(f, "east"), west = plan_of(f, "west");
    double apart_s = east.dates[0].transit_utc_s - west.dates[0].transit_utc_s;
    assert_true(fabs(apart_s - 0.2 * 240.0) < 1.0);
    assert_int_equal(east.partners_count, 1);
    assert_true(east.partners[0].allowed);
    plan_release(&east);
    plan_release(&west);
}

/* Who has no noon to measure is no partner, and has none. */
static void partners_must_have_a_noon(void **state) {
    struct fixture *f = *state;
    struct day_record day = day_record("spring", "2027-12-21"), kept;
    assert_int_equal(open_day(f, &f->organiser, &day, &kept), 0);
    static const struct {
        const char *site;
        double lat_deg;
    } rows[] = {{"polar", 80.0}, {"middle", 50.0}, {"south", -10.0}, {"tropic", -23.4}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        fixture_site(f, rows[i].site, rows[i].lat_deg, 20.0);
        fixture_join(f, "spring", rows[i].site);
    }
    struct plan middle = plan_of(f, "middle"), polar = plan_of(f, "polar");
    assert_int_equal(middle.partners_count, 3);
    for (size_t i = 0; i < middle.partners_count; i++)
        assert_int_equal(middle.partners[i].allowed, strcmp(middle.partners[i].site, "south") == 0);
    for (size_t i = 0; i < polar.partners_count; i++)
        assert_false(polar.partners[i].allowed);
    plan_release(&middle);
    plan_release(&polar);
}

static void plan_needs_day_and_site(void **state) {
    struct fixture *f = *state;
    struct plan plan;
    assert_int_equal(plan_make(f->db, f->almanac, "spring", "hill", &no_wish, &plan, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    fixture_day(f, "spring", FIXTURE_DATE);
    err_clear(&f->err);
    assert_int_equal(plan_make(f->db, f->almanac, "spring", "hill", &no_wish, &plan, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

int main(void) {
#define DAYS_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        DAYS_TEST(day_comes_back_with_its_rules),
        DAYS_TEST(wrong_days_are_refused),
        DAYS_TEST(days_are_listed_by_date),
        DAYS_TEST(sites_join_and_leave),
        DAYS_TEST(site_with_a_run_cannot_leave),
        DAYS_TEST(plan_knows_noon_and_window),
        DAYS_TEST(plan_tells_where_noon_cannot_be_measured),
        DAYS_TEST(plan_keeps_the_window_above_the_limit),
        DAYS_TEST(a_blind_plan_tells_the_class_alone),
        DAYS_TEST(the_angle_is_told_afterwards),
        DAYS_TEST(a_partner_is_asked_for),
        DAYS_TEST(partners_come_best_first),
        DAYS_TEST(plan_sends_neighbours_to_one_noon),
        DAYS_TEST(partners_must_have_a_noon),
        DAYS_TEST(plan_needs_day_and_site),
    };
    return cmocka_run_group_tests_name("rules_days", tests, NULL, NULL);
}
