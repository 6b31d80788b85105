/* SPDX-License-Identifier: MIT */
/* A measurement day through the built client against the built server. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <math.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/science/meridian.h"
#include "tests/support/desk.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"

struct story {
    struct served served;
    struct desk school, office; /* two computers */
};

static int setup(void **state) {
    static struct story story;
    served_init(&story.served);
    desk_init(&story.school);
    desk_init(&story.office);
    snprintf(story.school.server, sizeof story.school.server, "%s", story.served.base);
    snprintf(story.office.server, sizeof story.office.server, "%s", story.served.base);
    struct outcome outcome;
    desk_run(&story.office, story.served.organiser, &outcome, "keep", "--organiser", NULL);
    outcome_assert_code(&outcome, 0);
    assert_null(strstr(outcome.out, story.served.organiser));
    outcome_release(&outcome);
    desk_run(&story.office, "", &outcome, "open", DAY, "--spare", "2027-03-22", "--name",
             "March equinox", "--tolerance", "0.5", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_equal(outcome_text(&outcome, "day"), DAY);
    assert_string_equal(outcome_text(&outcome, "spare_dates/0"), "2027-03-22");
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

static struct school pupils[] = {
    {.site = "acacia", .name = "Acacia School", .lat_deg = 14.5, .lon_deg = 3.1, .gnomon_m = 2.0},
    {.site = "cedar", .name = "Cedar School", .lat_deg = 36.5, .lon_deg = 3.2, .gnomon_m = 2.0},
};

/* Registers with the client, which keeps the keys, and joins the day. */
static void arrive(struct story *story, struct school *school) {
    struct outcome outcome;
    char lat[32], lon[32], gnomon[32];
    snprintf(lat, sizeof lat, "%.4f", school->lat_deg);
    snprintf(lon, sizeof lon, "%.4f", school->lon_deg);
    snprintf(gnomon, sizeof gnomon, "%.0f", school->gnomon_m * 1000.0);
    desk_run(&story->school, "", &outcome, "register", "--name", school->name, "--site",
             school->site, "--lat", lat, "--lon", lon, "--gnomon", gnomon, "--contact",
             "office@example.org", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    snprintf(school->key, sizeof school->key, "%s", outcome_text(&outcome, "school_key"));
    snprintf(school->code, sizeof school->code, "%s", outcome_text(&outcome, "class_code"));
    assert_true(strlen(school->key) > 20);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "join", DAY, school->site, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
}

/* Hands in a run and returns its number. */
static int64_t measure(struct story *story, const struct school *school, uint64_t seed) {
    struct outcome outcome;
    struct text body;
    text_init(&body, 65536);
    school_measure(school, DAY, seed, 0, &body);
    desk_run(&story->school, body.bytes, &outcome, "submit", DAY, school->site, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    int64_t run = (int64_t)outcome_number(&outcome, "run/id");
    assert_true(run > 0);
    assert_string_equal(outcome_text(&outcome, "reduction/status"), "ok");
    text_release(&body);
    outcome_release(&outcome);
    return run;
}

static void two_schools_measure_the_earth(void **state) {
    struct story *story = *state;
    struct outcome outcome, again;
    for (size_t i = 0; i < 2; i++)
        arrive(story, &pupils[i]);
    desk_run(&story->school, "", &outcome, "plan", DAY, "acacia", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "Never look at the Sun"));
    assert_non_null(strstr(outcome.out, "cedar"));
    outcome_release(&outcome);

    for (size_t i = 0; i < 2; i++)
        (void)measure(story, &pupils[i], 31 + i);
    desk_run(&story->school, "", &outcome, "show", "pairs", DAY, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "pairs")), 1);
    outcome_assert_near("circumference", outcome_number(&outcome, "pairs/0/circumference_km"),
                        MERIDIAN_CIRCUMFERENCE_KM,
                        3.0 * outcome_number(&outcome, "pairs/0/sigma_km") + 200.0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "result", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_ptr_equal(strstr(outcome.out, "circumference  "), outcome.out);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "leaderboard", DAY, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("place", outcome_number(&outcome, "pairs/0/place"), 1.0, 0.0);
    outcome_release(&outcome);

    /* The day's two spreadsheets give the same angles here as on the server. */
    const char *sites = desk_path(&story->school, "sites.csv");
    const char *readings = desk_path(&story->school, "readings.csv");
    desk_run(&story->school, "", &outcome, "export", "sites", DAY, "--output", sites, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "export", "readings", DAY, "--output", readings, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "runs", DAY, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    desk_run(&story->school, "", &again, "reduce", sites, readings, "--json", NULL);
    outcome_assert_code(&again, 0);
    for (int i = 0; i < 2; i++) {
        char here[64], there[64];
        snprintf(there, sizeof there, "runs/%d/reduction/noon_angle_deg", i);
        snprintf(here, sizeof here, "sites/%d/noon_angle_deg", i);
        outcome_assert_near(here, outcome_number(&again, here), outcome_number(&outcome, there),
                            1e-9);
    }
    outcome_release(&again);
    outcome_release(&outcome);

    /* And brought back they change nothing. */
    desk_run(&story->office, "", &outcome, "import", "readings", DAY, readings, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "runs: 0 new, 0 replaced, 2 unchanged"));
    outcome_release(&outcome);
}

static void a_run_is_corrected_and_withdrawn(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    char number[32];
    arrive(story, &pupils[0]);
    int64_t first = measure(story, &pupils[0], 41);
    text_init(&body, 65536);
    school_measure(&pupils[0], DAY, 42, 0, &body);
    const char *path = desk_file(&story->school, body.bytes);
    desk_run(&story->school, "", &outcome, "submit", DAY, "acacia", "--file", path, "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "run_exists");
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "correct", DAY, "acacia", "--file", path, "--json",
             NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("supersedes", outcome_number(&outcome, "run/supersedes"), (double)first,
                        0.0);
    snprintf(number, sizeof number, "%.0f", outcome_number(&outcome, "run/id"));
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "withdraw", number, "--reason", "the pole & base: 100 %",
             NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "runs", DAY, "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "runs")), 0);
    outcome_release(&outcome);
    text_release(&body);
}

static void a_mistaken_unit_changes_nothing(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    arrive(story, &pupils[0]);
    text_init(&body, 65536);
    school_measure(&pupils[0], DAY, 51, 0, &body);
    desk_run(&story->school, body.bytes, &outcome, "submit", DAY, "acacia", "--gnomon", "200",
             "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "unit_mistaken");
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "runs", DAY, "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "runs")), 0);
    outcome_release(&outcome);
    text_release(&body);
}

/* Starts the server again at the address it had. */
static void restart(struct story *story) {
    const char *build = getenv("BUILD");
    char program[512], line[128];
    int ends[2];
    snprintf(program, sizeof program, "%s/noonarcd", build == NULL ? "build" : build);
    assert_int_equal(pipe(ends), 0);
    story->served.pid = fork();
    assert_true(story->served.pid >= 0);
    if (story->served.pid == 0) {
        dup2(ends[1], STDOUT_FILENO);
        execl(program, program, "--store", story->served.store, "--listen",
              story->served.base + strlen("http://"), "serve", (char *)NULL);
        _exit(127);
    }
    close(ends[1]);
    FILE *out = fdopen(ends[0], "r");
    assert_non_null(out);
    assert_non_null(fgets(line, sizeof line, out)); /* it listens */
    fclose(out);
}

/* Handed in with no server, sent when there is one again, and once more: counted once. */
static void a_day_without_network_loses_nothing(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    arrive(story, &pupils[1]);
    text_init(&body, 65536);
    school_measure(&pupils[1], DAY, 61, 0, &body);
    served_stop(&story->served, SIGTERM);
    desk_run(&story->school, body.bytes, &outcome, "submit", DAY, "cedar", "--json", NULL);
    outcome_assert_code(&outcome, 3);
    double sigma_deg = outcome_number(&outcome, "reduction/sigma_deg"); /* worked out here */
    double angle_deg = outcome_number(&outcome, "reduction/noon_angle_deg");
    assert_true(sigma_deg > 0.0 && sigma_deg < 0.5);
    outcome_release(&outcome);
    restart(story);
    desk_run(&story->school, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "runs", DAY, "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(json_array_size(outcome_at(&outcome, "runs")), 1);
    outcome_assert_near("angle", outcome_number(&outcome, "runs/0/reduction/noon_angle_deg"),
                        angle_deg, 1e-12);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "nothing was waiting"));
    outcome_release(&outcome);
    text_release(&body);
}

/* A correction with no server is kept as well, against the run handed in last. */
static void a_correction_without_network_is_kept(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct text body;
    arrive(story, &pupils[0]);
    text_init(&body, 65536);
    school_measure(&pupils[0], DAY, 72, 0, &body);
    const char *path = desk_file(&story->school, body.bytes);
    served_stop(&story->served, SIGTERM);
    desk_run(&story->school, "", &outcome, "correct", DAY, "acacia", "--file", path, NULL);
    outcome_assert_code(&outcome, 3); /* nothing was handed in from here yet */
    assert_non_null(strstr(outcome.err, "--supersedes"));
    outcome_release(&outcome);
    restart(story);
    int64_t first = measure(story, &pupils[0], 71);
    served_stop(&story->served, SIGTERM);
    desk_run(&story->school, "", &outcome, "correct", DAY, "acacia", "--file", path, NULL);
    outcome_assert_code(&outcome, 3);
    outcome_release(&outcome);
    restart(story);
    desk_run(&story->school, "", &outcome, "outbox", "send", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    desk_run(&story->school, "", &outcome, "show", "runs", DAY, "--json", NULL);
    outcome_assert_near("supersedes", outcome_number(&outcome, "runs/0/run/supersedes"),
                        (double)first, 0.0);
    outcome_release(&outcome);
    text_release(&body);
}

/* With or without an identifier: nothing is made, no key is lost, and it is said. */
static void a_site_is_registered_once(void **state) {
    struct story *story = *state;
    static const char *const more[][2] = {{"--json", "--json"}, {"--site", "acacia"}};
    arrive(story, &pupils[0]);
    for (size_t i = 0; i < 2; i++) {
        struct outcome outcome;
        desk_run(&story->school, "", &outcome, "register", "--name", "Acacia School", "--lat",
                 "14.5", "--lon", "3.1", more[i][0], i == 0 ? NULL : more[i][1], NULL);
        outcome_assert_code(&outcome, 1);
        assert_non_null(
            strstr(i == 0 ? outcome.out : outcome.err, "registered it before, as site acacia"));
        outcome_release(&outcome);
    }
    struct outcome outcome;
    desk_run(&story->school, "", &outcome, "show", "sites", "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "sites")), 1);
    outcome_release(&outcome);
    /* No figure yet is told in words. */
    desk_run(&story->school, "", &outcome, "show", "result", DAY, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "none yet: it takes two sites"));
    outcome_release(&outcome);
}

static void an_organiser_feeds_a_day_from_spreadsheets(void **state) {
    static const char sites[] = "site,lat_deg,lon_deg,elev_m,gnomon_mm,edge,name\n"
                                "acacia,14.5,3.1,0,2000,umbra,Acacia School\n"
                                "cedar,36.5,3.2,0,2000,umbra,Cedar School\n";
    struct story *story = *state;
    struct outcome outcome;
    struct stat status;
    const char *keys = desk_path(&story->office, "keys.csv");
    desk_run(&story->office, sites, &outcome, "import", "sites", "-", "--keys-csv", keys, NULL);
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, "2 new"));
    outcome_release(&outcome);
    assert_int_equal(stat(keys, &status), 0);
    assert_int_equal(status.st_mode & 0777, 0600);
    /* rows 2 and 3 are whole, row 4 has no offset: nothing counts */
    desk_run(&story->office,
             "site,utc,shadow_mm\nacacia," DAY "T11:50:00Z,510\nacacia," DAY
             "T11:55:00Z,509\nacacia," DAY "T12:00:00,510\n",
             &outcome, "import", "readings", DAY, "-", "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "bad_time");
    assert_string_equal(outcome_text(&outcome, "field"), "row 4, utc");
    outcome_release(&outcome);
    desk_run(&story->office, "", &outcome, "show", "sites", "--json", NULL);
    assert_int_equal(json_array_size(outcome_at(&outcome, "sites")), 2);
    outcome_release(&outcome);
}

/* Secrets: kept with mode 0600, printed once, never again. */
static void keys_are_kept_and_not_shown(void **state) {
    struct story *story = *state;
    struct outcome outcome;
    struct stat status;
    static const char *const words[][4] = {
        {"show", "site", "acacia", NULL},
        {"outbox", "--json", NULL},
        {"leave", DAY, "acacia", NULL},
        {"days", NULL},
    };
    arrive(story, &pupils[0]);
    assert_int_equal(stat(desk_path(&story->school, "config/noonarc/keys.json"), &status), 0);
    assert_int_equal(status.st_mode & 0777, 0600);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        desk_run_words(&story->school, "", &outcome, words[i]);
        outcome_assert_code(&outcome, 0);
        assert_null(strstr(outcome.out, pupils[0].key));
        assert_null(strstr(outcome.err, pupils[0].key));
        outcome_release(&outcome);
    }
    desk_run(&story->school, "", &outcome, "join", DAY, "acacia", "--key",
             "0000000000000000000000000A", "--json", NULL);
    outcome_assert_code(&outcome, 1);
    assert_string_equal(outcome_text(&outcome, "code"), "wrong_key");
    outcome_release(&outcome);
    /* a new class code takes the old one's place, here and there */
    desk_run(&story->school, "", &outcome, "renew", "acacia", "--class-code", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_string_not_equal(outcome_text(&outcome, "class_code"), pupils[0].code);
    outcome_release(&outcome);
}

#define STORY(function) cmocka_unit_test_setup_teardown(function, setup, teardown)

int main(void) {
    const struct CMUnitTest tests[] = {
        STORY(two_schools_measure_the_earth),
        STORY(a_run_is_corrected_and_withdrawn),
        STORY(a_mistaken_unit_changes_nothing),
        STORY(a_day_without_network_loses_nothing),
        STORY(a_correction_without_network_is_kept),
        STORY(a_site_is_registered_once),
        STORY(an_organiser_feeds_a_day_from_spreadsheets),
        STORY(keys_are_kept_and_not_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
