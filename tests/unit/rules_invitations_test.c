/* SPDX-License-Identifier: MIT */
/* invitations, site_warnings: lists of schools with every wrong row told, codes that
 * work once, what is odd about a place, and who is registered already. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/rules/days.h"
#include "server/rules/invitations.h"
#include "server/rules/seasons.h"
#include "server/rules/site_warnings.h"
#include "server/rules/sites.h"
#include "tests/support/store_fixture.h"

#define NOW FIXTURE_NOW_UTC_S

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

static void open_season(struct fixture *f, const char *season, const char *day) {
    struct season_record record = {.approval = true}, kept;
    struct day_record spring, opened;
    snprintf(record.season, sizeof record.season, "%s", season);
    snprintf(record.name, sizeof record.name, "Season %s", season);
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, season_open(f->change, &f->organiser, &record, NOW, &kept, err)), 0);
    day_record_init(&spring);
    snprintf(spring.day, sizeof spring.day, "%s", day);
    snprintf(spring.season, sizeof spring.season, "%s", season);
    assert_true(date_parse(FIXTURE_DATE, &spring.date));
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, day_open(f->change, &f->organiser, &spring, NOW, &opened, err)),
                     0);
}

/* Reads and invites; errors and codes are the caller's. */
static int invite_sheet(struct fixture *f, const char *season, const char *csv,
                        struct row_errors *errors, struct invited *invited) {
    struct invitation_sheet sheet;
    err_clear(&f->err);
    int result = invitation_sheet_read(csv, strlen(csv), &sheet, errors, &f->err);
    if (result == 0) {
        struct err *err = fixture_begin(f);
        result = fixture_end(
            f, invite(f->change, &f->organiser, season, &sheet, NOW, invited, errors, err));
    }
    invitation_sheet_release(&sheet);
    return result;
}

static int register_with(struct fixture *f, const char *site, double lat_deg, const char *code,
                         struct site_secrets *secrets) {
    struct site_record record = fixture_site_record(site, lat_deg, 3.0), kept;
    snprintf(record.invitation, sizeof record.invitation, "%s", code);
    struct err *err = fixture_begin(f);
    return fixture_end(f, site_register(f->change, &record, NOW, &kept, secrets, err));
}

static enum stand joined(struct fixture *f, const struct caller *caller, const char *day,
                         const char *site, struct warnings *warnings) {
    enum stand stand = STAND_NONE;
    *warnings = (struct warnings){.count = 0};
    struct err *err = fixture_begin(f);
    assert_int_equal(
        fixture_end(f, day_join(f->change, caller, day, site, NOW, &stand, warnings, err)), 0);
    return stand;
}

static void every_wrong_row_is_told(void **state) {
    struct fixture *f = *state;
    static struct row_errors errors;
    struct invited invited;
    open_season(f, "2027", "spring");
    assert_int_equal(invite_sheet(f, "2027",
                                  "name,contact\n"
                                  "Altiplano School,office@example.org\n"
                                  ",nobody@example.org\n"
                                  "=HYPERLINK(1),x\n"
                                  "River School,\n"
                                  "\xff\xfe,y\n",
                                  &errors, &invited),
                     -1);
    assert_int_equal(f->err.code, ERR_ROWS);
    assert_int_equal(errors.count, 3);
    assert_string_equal(errors.item[0].field, "row 3, name");
    assert_int_equal(errors.item[0].code, ERR_MISSING_FIELD);
    assert_string_equal(errors.item[1].field, "row 4, name");
    assert_int_equal(errors.item[1].code, ERR_BAD_TEXT);
    assert_string_equal(errors.item[2].field, "row 6, name");
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM invitation"), 0);
    /* twice in the list */
    assert_int_equal(invite_sheet(f, "2027", "contact;name\nx;River School\nx;River School\n",
                                  &errors, &invited),
                     -1);
    assert_int_equal(errors.count, 1);
    assert_string_equal(errors.item[0].field, "row 3, name");
    /* and what is no list at all */
    assert_int_equal(invite_sheet(f, "2027", "school\nRiver School\n", &errors, &invited), -1);
    assert_int_equal(f->err.code, ERR_UNKNOWN_FIELD);
    assert_int_equal(invite_sheet(f, "1999", "name\nRiver School\n", &errors, &invited), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void an_invitation_works_once(void **state) {
    struct fixture *f = *state;
    static struct row_errors errors;
    struct invited invited;
    struct site_secrets hill, dale;
    struct warnings warnings;
    struct invitation_page page;
    open_season(f, "2027", "spring");
    open_season(f, "2028", "later");
    assert_int_equal(
        invite_sheet(f, "2027", "name,contact\nHill,a@example.org\nDale,\n", &errors, &invited), 0);
    assert_int_equal(invited.count, 2);
    assert_true(strcmp(invited.codes[0].code, invited.codes[1].code) != 0);
    assert_int_equal(register_with(f, "hill", 40.0, "00000-00000", &hill), -1);
    assert_int_equal(f->err.code, ERR_WRONG_INVITATION);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM site"), 0);
    assert_int_equal(register_with(f, "hill", 40.0, invited.codes[0].code, &hill), 0);
    assert_int_equal(register_with(f, "dale", 44.0, invited.codes[0].code, &dale), -1);
    assert_int_equal(f->err.code, ERR_WRONG_INVITATION);
    assert_int_equal(register_with(f, "dale", 44.0, "", &dale), 0);
    struct caller hill_school = fixture_caller(f, hill.school_key);
    struct caller dale_school = fixture_caller(f, dale.school_key);
    /* invited to one season: approved there at once, elsewhere it waits and is told why */
    assert_int_equal(joined(f, &hill_school, "spring", "hill", &warnings), STAND_TAKEN);
    assert_int_equal(warnings.count, 0);
    assert_int_equal(joined(f, &hill_school, "later", "hill", &warnings), STAND_WAITING);
    assert_int_equal(warnings.item[0].code, WARNING_OTHER_SEASON);
    /* joined first, invitation given afterwards: joining once more is enough */
    assert_int_equal(joined(f, &dale_school, "spring", "dale", &warnings), STAND_WAITING);
    assert_int_equal(warnings.item[0].code, WARNING_NOT_INVITED);
    char season[ID_MAX + 1];
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, invitation_redeem(f->change, &hill_school, "dale",
                                                      invited.codes[1].code, NOW, season, err)),
                     -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, invitation_redeem(f->change, &dale_school, "dale",
                                                      invited.codes[1].code, NOW, season, err)),
                     0);
    assert_string_equal(season, "2027");
    assert_int_equal(joined(f, &dale_school, "spring", "dale", &warnings), STAND_TAKEN);
    /* nobody is invited twice, and organisers alone see the list */
    assert_int_equal(invite_sheet(f, "2027", "name\nDale\nVale\n", &errors, &(struct invited){0}),
                     -1);
    assert_string_equal(errors.item[0].field, "row 2, name");
    err_clear(&f->err);
    assert_int_equal(invitation_list(f->db, &hill_school, "2027", 0, 10, &page, &f->err), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    err_clear(&f->err);
    assert_int_equal(invitation_list(f->db, &f->organiser, "2027", 0, 1, &page, &f->err), 0);
    assert_string_equal(page.items[0].site, "hill");
    assert_string_equal(page.items[0].contact, "a@example.org");
    assert_true(page.next == page.items[0].id);
    invitation_page_release(&page);
    /* the code is nowhere kept */
    struct text dump;
    text_init(&dump, 1 << 20);
    fixture_dump(f, "SELECT * FROM invitation", &dump);
    assert_null(strstr(dump.bytes, invited.codes[0].code));
    text_release(&dump);
    invited_release(&invited);
}

static struct site_record placed(const char *site, const char *name, double lat_deg,
                                 double lon_deg) {
    struct site_record record = fixture_site_record(site, lat_deg, lon_deg);
    snprintf(record.name, sizeof record.name, "%s", name);
    site_record_settle(&record);
    return record;
}

static int warned(struct fixture *f, const struct site_record *record) {
    struct warnings warnings = {.count = 0};
    assert_int_equal(site_warn(f->db, record, &warnings, &f->err), 0);
    return warnings.count == 0 ? -1 : (int)warnings.item[0].code;
}

/* A degree of latitude is 111.0 km at 40 degrees (111.035 in handbooks, from memory), so
 * 0.0004 degrees are 44 m and 0.0005 are 56. On 180 degrees of longitude the neighbour is
 * across the date line. */
static void odd_places_are_warned_of(void **state) {
    struct fixture *f = *state;
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "line", -17.0, 179.9999);
    struct site_record near = placed("new", "New", 40.0004, 3.0);
    struct site_record apart = placed("new", "New", 40.0005, 3.0);
    struct site_record itself = placed("hill", "New", 40.0, 3.0);
    struct site_record across = placed("new", "New", -17.0, -179.9998);
    struct site_record nowhere = placed("new", "New", 0.0, 0.0);
    struct site_record equator = placed("new", "New", 0.0, 37.5);
    assert_int_equal(warned(f, &near), WARNING_NEIGHBOUR);
    assert_int_equal(warned(f, &apart), -1);
    assert_int_equal(warned(f, &itself), -1);
    assert_int_equal(warned(f, &across), WARNING_NEIGHBOUR);
    assert_int_equal(warned(f, &nowhere), WARNING_POSITION_ZERO);
    struct site_record sea = placed("new", "New", 40.0, -40.0); /* middle of the Atlantic */
    assert_int_equal(warned(f, &equator), -1);
    assert_int_equal(warned(f, &sea), WARNING_POSITION_SEA);
}

static int register_record(struct fixture *f, const struct site_record *record) {
    struct site_record kept;
    struct site_secrets secrets;
    struct err *err = fixture_begin(f);
    return fixture_end(f, site_register(f->change, record, NOW, &kept, &secrets, err));
}

static void a_school_registers_once(void **state) {
    struct fixture *f = *state;
    struct site_record first = placed("", "Hillside School", 40.0, 3.0);
    struct site_record again = placed("", "hillside school", 40.0001, 3.0);
    struct site_record beside = placed("", "Hillside Primary", 40.0001, 3.0);
    struct site_record town = placed("", "Hillside School", 40.2, 3.0);
    assert_int_equal(register_record(f, &first), 0);
    assert_int_equal(register_record(f, &again), -1);
    assert_int_equal(f->err.code, ERR_SITE_DUPLICATE);
    assert_non_null(strstr(f->err.text, "hillside-school"));
    assert_int_equal(register_record(f, &beside), 0);
    assert_int_equal(register_record(f, &town), 0);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM site"), 3);
}

/* Nothing is told of a position beyond what its school lets out: not whether a point is
 * near it, only whether it rounds to the same. */
static void a_rounded_position_stays_rounded(void **state) {
    struct fixture *f = *state;
    struct site_record shy = fixture_site_record("shy", 40.0123, 3.0123);
    snprintf(shy.name, sizeof shy.name, "Shy School");
    shy.position_decimals = 1;
    assert_int_equal(register_record(f, &shy), 0);
    struct site_record near = placed("new", "New", 40.0123, 3.0123);
    assert_int_equal(warned(f, &near), -1);
    for (double lat_deg = 39.96; lat_deg < 40.045; lat_deg += 0.01) {
        struct site_record probe = placed("", "Shy School", lat_deg, 3.0);
        assert_int_equal(site_refuse_duplicate(f->db, &probe, &f->err), -1);
        err_clear(&f->err);
    }
    struct site_record outside = placed("", "Shy School", 40.06, 3.0);
    assert_int_equal(site_refuse_duplicate(f->db, &outside, &f->err), 0);
}

int main(void) {
#define INVITATION_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        INVITATION_TEST(every_wrong_row_is_told),
        INVITATION_TEST(an_invitation_works_once),
        INVITATION_TEST(odd_places_are_warned_of),
        INVITATION_TEST(a_school_registers_once),
        INVITATION_TEST(a_rounded_position_stays_rounded),
    };
    return cmocka_run_group_tests_name("rules_invitations", tests, NULL, NULL);
}
