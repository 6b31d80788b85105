/* SPDX-License-Identifier: MIT */
/* The sky board, partners and the watch through the built client. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/desk.h"
#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"

static struct served served;
static struct desk desk;
static struct school schools[] = {
    {.site = "acacia", .name = "Acacia School", .lat_deg = 14.5, .lon_deg = 3.1, .gnomon_m = 2.0},
    {.site = "cedar", .name = "Cedar School", .lat_deg = 36.5, .lon_deg = 3.2, .gnomon_m = 2.0},
    {.site = "dune", .name = "Dune School", .lat_deg = 23.5, .lon_deg = 3.0, .gnomon_m = 2.0},
};
#define SCHOOLS (sizeof schools / sizeof schools[0])

/* The code was given to the class; it is kept at the desk. */
static void keep_code(const struct school *school) {
    struct outcome outcome;
    desk_run(&desk, school->code, &outcome, "keep", school->site, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
}

static void says_and_shows_the_sky(void **state) {
    struct outcome outcome;
    (void)state;
    desk_run(&desk, "", &outcome, "sky", DAY, "acacia", "gone-home", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_equal(outcome.out, "said for acacia: gone_home\n");
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "sky", DAY, "acacia", "clear", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_equal(outcome_text(&outcome, "report/sky"), "clear");
    outcome_release(&outcome);

    desk_run(&desk, "", &outcome, "sky", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "0 of 3 schools handed in, 0 readings\n"));
    assert_non_null(strstr(outcome.out, "1 clear, 0 broken, 0 overcast, 0 gone home, 2 not said"));
    assert_non_null(strstr(outcome.out, "acacia\tclear\t"));
    outcome_release(&outcome);

    desk_run(&desk, "", &outcome, "sky", DAY, "acacia", "sunny", NULL);
    outcome_assert_code(&outcome, 2);
    assert_non_null(strstr(outcome.err, "clear, broken, overcast or gone_home"));
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "sky", DAY, "acacia", NULL);
    outcome_assert_code(&outcome, 2);
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "sky", DAY, "cedar", "clear", NULL);
    outcome_assert_code(&outcome, 2); /* no key here for that one */
    outcome_release(&outcome);
}

static void chooses_and_shows_partners(void **state) {
    struct outcome outcome;
    (void)state;
    desk_run(&desk, "", &outcome, "partner", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "were not chosen yet"));
    outcome_release(&outcome);
    desk_run(&desk, served.organiser, &outcome, "keep", "--organiser", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "partner", DAY, "--choose", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "3 schools: 1 pairs, of which 1 are threes, and 0 alone"));
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "partner", DAY, "cedar", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "cedar with acacia, expected ± "));
    assert_non_null(strstr(outcome.out, "its sky: clear, 0 readings"));
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "partner", DAY, "cedar", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_equal(outcome_text(&outcome, "partners/0/site"), "acacia");
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "partner", DAY, "cedar", "--choose", NULL);
    outcome_assert_code(&outcome, 2);
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "partner", "never", NULL);
    outcome_assert_code(&outcome, 1);
    outcome_release(&outcome);
}

/* Somebody says something while it is watched, a while after it began. */
static pid_t say_later(void) {
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid != 0)
        return pid;
    usleep(1200000);
    json_decref(http_send(served.base, "PUT", "/api/v1/days/" DAY "/sites/dune/sky",
                          schools[2].code, "{\"sky\":\"overcast\"}", 200));
    _exit(0);
}

static void watches(void **state) {
    struct outcome outcome;
    (void)state;
    pid_t pid = say_later();
    desk_run(&desk, "", &outcome, "watch", DAY, "--for", "3", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "watching day " DAY ", 3 schools\n"));
    assert_non_null(strstr(outcome.out, "dune: sky overcast\n"));
    assert_null(strchr(outcome.out, '\033'));
    outcome_release(&outcome);
    assert_int_equal(waitpid(pid, NULL, 0), pid);

    pid = say_later();
    desk_run(&desk, "", &outcome, "watch", DAY, "--for", "3", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "{\"event\":\"start\",\"data\":{\"day\":\"" DAY
                                        "\",\"missed\":true}}\n"));
    outcome_release(&outcome);
    assert_int_equal(waitpid(pid, NULL, 0), pid);

    desk_run(&desk, "", &outcome, "watch", "never", "--for", "3", NULL);
    outcome_assert_code(&outcome, 1);
    outcome_release(&outcome);
}

/* The times come from this computer's clock, which is the server's too: its offset is
 * measured, small, and sent with the run. */
static void sends_how_its_clock_is(void **state) {
    struct outcome outcome;
    struct text body;
    (void)state;
    text_init(&body, 65536);
    school_measure(&schools[0], DAY, 3, 0, &body);
    desk_run(&desk, body.bytes, &outcome, "submit", DAY, "acacia", "--clock", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    char run[24];
    snprintf(run, sizeof run, "%.0f", outcome_number(&outcome, "run/id"));
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "show", "run", run, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("offset", outcome_number(&outcome, "run/clock/offset_s"), 0.0, 0.2);
    double sigma_s = outcome_number(&outcome, "run/clock/sigma_s");
    assert_true(sigma_s >= 0.001 && sigma_s < 0.5);
    outcome_release(&outcome);
    desk_run(&desk, body.bytes, &outcome, "noon", "--lat", "14.5", "--lon", "3.1", "--clock", NULL);
    outcome_assert_code(&outcome, 2);
    outcome_release(&outcome);
    text_release(&body);
}

/* Where the day corrects clocks, what is worked out here is what the server answers. */
static void works_out_by_the_rule_of_the_day(void **state) {
    struct outcome outcome;
    struct text body, run;
    (void)state;
    text_init(&body, 65536);
    text_init(&run, 65536);
    school_measure(&schools[0], DAY, 5, 0, &body);
    text_format(&run, "{\"clock\":{\"offset_s\":1800,\"sigma_s\":0.1},%s", body.bytes + 1);
    desk_run(&desk, run.bytes, &outcome, "submit", "corrected", "acacia", NULL);
    outcome_assert_code(&outcome, 0);
    const char *here = strstr(outcome.out, "noon angle");
    const char *there = strstr(outcome.out, "recorded as run");
    assert_non_null(here);
    assert_non_null(there);
    assert_true(here < there);
    assert_non_null(strstr(outcome.out, "more than the day's 15 s"));
    assert_non_null(strstr(outcome.out, "corrected by that, by the day's rule"));
    there = strstr(there, "noon angle ") + strlen("noon angle ");
    here += strlen("noon angle");
    here += strspn(here, " ");
    assert_memory_equal(here, there, strcspn(there, "\n"));
    outcome_release(&outcome);
    text_release(&run);
    text_release(&body);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    desk_init(&desk);
    snprintf(desk.server, sizeof desk.server, "%s", served.base);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"day\":\"corrected\",\"date\":\"" DAY "\",\"clock_correct\":true}",
                          201));
    for (size_t i = 0; i < SCHOOLS; i++) {
        school_register(served.base, &schools[i]);
        school_join(served.base, &schools[i], DAY);
    }
    school_join(served.base, &schools[0], "corrected");
    keep_code(&schools[0]);
    return 0;
}

static int stop(void **state) {
    (void)state;
    desk_release(&desk);
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_and_shows_the_sky),
        cmocka_unit_test(chooses_and_shows_partners),
        cmocka_unit_test(watches),
        cmocka_unit_test(sends_how_its_clock_is),
        cmocka_unit_test(works_out_by_the_rule_of_the_day),
    };
    return cmocka_run_group_tests_name("cli board", tests, start, stop);
}
