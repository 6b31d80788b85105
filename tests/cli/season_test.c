/* SPDX-License-Identifier: MIT */
/* A season through the built client: invited, planned, announced, joined with and
 * without approval, planned for by the site's clocks, moved, measured, closed,
 * reopened, called off. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <sys/stat.h>

#include "tests/support/desk.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "equinox"
#define DATE "2027-03-20"
#define SPARE "2027-03-22"

struct story {
    struct served served;
    struct desk school, office; /* two computers */
};

static struct school ceibo = {
    .site = "ceibo", .name = "Ceibo School", .lat_deg = -31.4, .lon_deg = -64.2, .gnomon_m = 2.0};

static int setup(void **state) {
    static struct story story;
    struct outcome outcome;
    served_init(&story.served);
    desk_init(&story.school);
    desk_init(&story.office);
    snprintf(story.school.server, sizeof story.school.server, "%s", story.served.base);
    snprintf(story.office.server, sizeof story.office.server, "%s", story.served.base);
    snprintf(story.school.zone, sizeof story.school.zone, "Asia/Tokyo"); /* must not matter */
    desk_run(&story.office, story.served.organiser, &outcome, "keep", "--organiser", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    *state = &story;
    return 0;
}

static int teardown(void **state) {
    struct story *story = *state;
    desk_release(&story->school);
    desk_release(&story->office);
    served_release(&story->served);
    return 0;
}

/* Runs at a desk; the outcome has this code and, in what is printed, this text. */
#define expect(desk, code, text, ...)                                                              \
    do {                                                                                           \
        struct outcome outcome_;                                                                   \
        desk_run(desk, "", &outcome_, __VA_ARGS__, NULL);                                          \
        outcome_assert_code(&outcome_, code);                                                      \
        if (strstr((code) == 0 ? outcome_.out : outcome_.err, text) == NULL)                       \
            fail_msg("no \"%s\" in:\n%s%s", text, outcome_.out, outcome_.err);                     \
        outcome_release(&outcome_);                                                                \
    } while (0)

static void schools_are_invited(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct stat status;
    struct desk *office = &story->office;
    expect(office, 0, "an organiser approves", "season", "2027", "--name", "Andes Noon 2027",
           "--approval");
    expect(office, 1, "a season called 2027", "season", "2027", "--name", "Again");
    const char *bad = desk_file(office, "name,contact\nCeibo School,\n,x\n=1+1,\n");
    desk_run(office, "", &outcome, "invite", "2027", bad, NULL);
    outcome_assert_code(&outcome, 1);
    assert_non_null(strstr(outcome.err, "2 of 3 rows are wrong"));
    assert_non_null(strstr(outcome.err, "- row 3, name: the cell is empty"));
    assert_non_null(strstr(outcome.err, "- row 4, name: a name begins with"));
    outcome_release(&outcome);
    const char *good =
        desk_file(office, "name,contact\nCeibo School,office@example.org\nQuebracho School,\n");
    const char *codes = desk_path(office, "codes.csv");
    desk_run(office, "", &outcome, "invite", "2027", good, "--codes-csv", codes, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "invited: 2 schools"));
    outcome_release(&outcome);
    assert_int_equal(stat(codes, &status), 0);
    assert_int_equal(status.st_mode & 0777, 0600);
    FILE *file = fopen(codes, "r");
    char line[200] = "", code[40] = "";
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file));
    assert_string_equal(line, "name,contact,invitation\r\n");
    assert_non_null(fgets(line, sizeof line, file));
    fclose(file);
    snprintf(code, sizeof code, "%.11s", strrchr(line, ',') + 1);
    desk_run(&story->school, "", &outcome, "register", "--name", ceibo.name, "--site", ceibo.site,
             "--lat", "-31.4", "--lon", "-64.2", "--gnomon", "2000", "--zone",
             "America/Argentina/Cordoba", "--invitation", code, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "warnings")), 0);
    outcome_release(&outcome);
    expect(office, 0, "ceibo", "invitations", "2027");
    expect(&story->school, 1, "no such invitation", "accept", "ceibo", code);
    expect(&story->school, 2, "needs an organiser", "invitations", "2027");
}

/* The same school again, the school next door, and a position that was left out. */
static void odd_registrations_get_their_answers(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    expect(&story->office, 1, "registered at that place", "register", "--name", "Ceibo School",
           "--lat", "-31.4", "--lon", "-64.2");
    desk_run(&story->school, "", &outcome, "register", "--name", "Ceibo Evening School", "--lat",
             "-31.4001", "--lon", "-64.2", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "careful: site ceibo lies within 50 m"));
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "register", "--name", "Nowhere School", "--site",
             "nowhere", "--lat", "0", "--lon", "0", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "careful: latitude and longitude are both 0"));
    outcome_release(&outcome);
}

/* The organiser's own list is warned of like a school's registration. */
static void odd_rows_of_a_list_are_told(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    const char *sheet = desk_file(&story->office, "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge\n"
                                                  "quebracho,-26.1,-64.0,200,2000,umbra\n"
                                                  "swimmer,-26.1,-20.0,0,2000,umbra\n");
    desk_run(&story->office, "", &outcome, "import", "sites", sheet, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "careful: swimmer: the position lies in the sea"));
    assert_null(strstr(outcome.err, "quebracho"));
    outcome_release(&outcome);
}

static void a_day_is_planned_and_announced(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct desk *office = &story->office, *school = &story->school;
    expect(office, 0, "day equinox is planned", "open", DAY, "--date", DATE, "--spare", SPARE,
           "--season", "2027", "--planned");
    expect(office, 1, "no season called", "open", "lost", "--date", DATE, "--season", "1999");
    desk_run(office, "", &outcome, "open", "past", "--date", "2020-03-20", "--tolerance", "9",
             NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.err, "2020-03-20 has passed"));
    assert_non_null(strstr(outcome.err, "careful: near the equator two"));
    outcome_release(&outcome);
    expect(school, 1, "no such day", "join", DAY, "ceibo");
    expect(school, 1, "no such day", "show", "day", DAY);
    expect(office, 0, "planned", "show", "day", DAY);
    expect(office, 0, DAY "\t" DATE "\tplanned\t2027", "days");
    expect(office, 0, "planned", "history", DAY);
    expect(office, 1, "cannot become closed", "close", DAY);
    expect(office, 0, "day equinox is announced: " DATE ", spare " SPARE, "announce", DAY);
    expect(school, 0, "announced", "show", "day", DAY);
    expect(school, 0, "site ceibo takes part", "join", DAY, "ceibo");
    desk_run(school, "", &outcome, "join", DAY, "nowhere", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "site nowhere waits"));
    assert_non_null(strstr(outcome.err, "an organiser has to approve"));
    outcome_release(&outcome);
    expect(office, 0, "nowhere", "show", "waiting", DAY);
    expect(office, 1, "say why", "refuse", DAY, "nowhere");
    expect(office, 0, "site nowhere is refused", "refuse", DAY, "nowhere", "--reason",
           "no school stands in the sea");
    expect(office, 0, "nowhere", "show", "refused", DAY);
    expect(office, 0, "site nowhere takes part", "approve", DAY, "nowhere");
}

/* Cordoba is 3 hours behind UTC all year; the desk's own zone is another. */
static void the_plan_goes_by_the_site_s_clocks(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    desk_run(&story->school, "", &outcome, "plan", DAY, "ceibo", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "noon      13:2")); /* 64.2 W: 16:17 and 7.6 min */
    assert_non_null(strstr(outcome.out, " -03 (" DATE " 16:2"));
    assert_non_null(strstr(outcome.out, "times are those of America/Argentina/Cordoba"));
    assert_non_null(strstr(outcome.out, "What is said of the shadow follows"));
    assert_null(strstr(outcome.out, "expected  noon angle"));
    assert_non_null(strstr(outcome.out, "- A plumb line"));
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "plan", DAY, "nowhere", "--gnomon", "3000", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "local mean solar time"));
    assert_non_null(strstr(outcome.out, "the site has no time zone"));
    assert_non_null(strstr(outcome.out, "gnomon    3000 mm"));
    assert_non_null(strstr(outcome.out, "Guy ropes"));
    outcome_release(&outcome);
    expect(&story->school, 1, "does not take part", "plan", DAY, "ceibo", "--partner",
           "ceibo-evening-school");
}

static void the_day_is_moved_and_measured(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    expect(&story->office, 1, "say why", "move", DAY, SPARE);
    expect(&story->office, 1, "none of the day's spare dates", "move", DAY, "2027-04-01",
           "--reason", "cloud");
    expect(&story->office, 0, "is announced: " SPARE ", spare " DATE, "move", DAY, SPARE,
           "--reason", "cloud over the sierras");
    text_init(&body, 65536);
    school_measure(&ceibo, DATE, 5, 0, &body); /* they had seen the Sun all the same */
    desk_run(&story->school, body.bytes, &outcome, "submit", DAY, "ceibo", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    text_release(&body);
    desk_run(&story->school, "", &outcome, "show", "run", "1", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, " -03, America/Argentina/Cordoba)"));
    assert_non_null(strstr(outcome.out, "of " DATE ", which is not the date the day is on now"));
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "plan", DAY, "ceibo", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_true(json_is_false(outcome_at(&outcome, "blind")));
    assert_string_equal(outcome_text(&outcome, "dates/0/date"), SPARE);
    /* latitude less declination: -31.4 less about 0.6 degrees two days after the equinox */
    outcome_assert_near("angle", outcome_number(&outcome, "dates/0/expected_angle_deg"), -32.0,
                        0.2);
    outcome_release(&outcome);
}

static void the_day_ends(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    struct desk *office = &story->office;
    expect(office, 0, "day equinox is closed", "close", DAY);
    text_init(&body, 65536);
    school_measure(&ceibo, DATE, 6, 1, &body);
    desk_run(&story->school, body.bytes, &outcome, "correct", DAY, "ceibo", "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "day_state");
    outcome_release(&outcome);
    text_release(&body);
    expect(office, 1, "say why", "reopen", DAY);
    expect(office, 0, "day equinox is announced", "reopen", DAY, "--reason", "one class was late");
    expect(office, 0, "day equinox is announced", "blind", DAY, "--lift", "--reason", "it is over");
    expect(office, 0, "day equinox is cancelled", "cancel", DAY, "--reason", "a test");
    desk_run(&story->school, "", &outcome, "history", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    static const char *const told[] = {"opened for " DATE,
                                       "planned",
                                       "announced",
                                       "moved to " SPARE ": cloud over the sierras",
                                       "closed",
                                       "announced: one class was late",
                                       "not blind any more: it is over",
                                       "cancelled: a test"};
    const char *at = outcome.out;
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++) {
        at = strstr(at, told[i]);
        if (at == NULL)
            fail_msg("no \"%s\", in this order, in:\n%s", told[i], outcome.out);
    }
    outcome_release(&outcome);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(schools_are_invited),
        cmocka_unit_test(odd_registrations_get_their_answers),
        cmocka_unit_test(odd_rows_of_a_list_are_told),
        cmocka_unit_test(a_day_is_planned_and_announced),
        cmocka_unit_test(the_plan_goes_by_the_site_s_clocks),
        cmocka_unit_test(the_day_is_moved_and_measured),
        cmocka_unit_test(the_day_ends),
    };
    return cmocka_run_group_tests_name("cli season", tests, setup, teardown);
}
