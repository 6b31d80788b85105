/* SPDX-License-Identifier: MIT */
/* People through the built client: organisers log in, schools change and renew what is
 * theirs, take their data home and leave. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/desk.h"
#include "tests/support/served.h"

#define PASSWORD "long shadows at noon"

static struct served served;
static struct desk school, office;

static void run_school(struct outcome *outcome, const char *input, int code,
                       const char *const *words) {
    desk_run_words(&school, input, outcome, words);
    outcome_assert_code(outcome, code);
}

#define SCHOOL(outcome, input, code, ...)                                                          \
    run_school(outcome, input, code, (const char *const[]){__VA_ARGS__, NULL})

static void run_office(struct outcome *outcome, const char *input, int code,
                       const char *const *words) {
    desk_run_words(&office, input, outcome, words);
    outcome_assert_code(outcome, code);
}

#define OFFICE(outcome, input, code, ...)                                                          \
    run_office(outcome, input, code, (const char *const[]){__VA_ARGS__, NULL})

/* Runs and forgets what came. */
#define SCHOOL_DOES(code, ...)                                                                     \
    do {                                                                                           \
        struct outcome done;                                                                       \
        SCHOOL(&done, "", code, __VA_ARGS__);                                                      \
        outcome_release(&done);                                                                    \
    } while (0)
#define OFFICE_DOES(input, code, ...)                                                              \
    do {                                                                                           \
        struct outcome done;                                                                       \
        OFFICE(&done, input, code, __VA_ARGS__);                                                   \
        outcome_release(&done);                                                                    \
    } while (0)

static void an_organiser_logs_in_and_out(void **state) {
    struct outcome outcome;
    (void)state;
    /* Nobody is in yet. */
    OFFICE(&outcome, "", 2, "whoami");
    assert_non_null(strstr(outcome.err, "noonarc login"));
    outcome_release(&outcome);
    OFFICE(&outcome, "wrong words entirely\n", 1, "login", "maro", "--json");
    assert_string_equal(outcome_text(&outcome, "code"), "wrong_key");
    outcome_release(&outcome);
    OFFICE(&outcome, PASSWORD "\n", 0, "login", "maro");
    assert_non_null(strstr(outcome.out, "logged in as maro until "));
    assert_null(strstr(outcome.out, PASSWORD));
    assert_null(strstr(outcome.err, PASSWORD));
    outcome_release(&outcome);
    OFFICE(&outcome, "", 0, "whoami", "--json");
    assert_string_equal(outcome_text(&outcome, "role"), "organiser");
    assert_string_equal(outcome_text(&outcome, "name"), "maro");
    outcome_release(&outcome);
    OFFICE_DOES("", 0, "open", "2027-03-20");
    OFFICE(&outcome, "", 0, "audit", "--lines", "1", "--json");
    assert_string_equal(outcome_text(&outcome, "lines/0/action"), "day.open");
    assert_string_equal(outcome_text(&outcome, "lines/0/by"), "maro");
    outcome_release(&outcome);
    OFFICE_DOES("", 0, "logout");
    OFFICE_DOES("", 1, "logout");
    OFFICE_DOES("", 2, "open", "2027-03-21");
    /* The token is shown in no form. */
    OFFICE(&outcome, PASSWORD "\n", 0, "login", "maro", "--json");
    assert_null(outcome_at(&outcome, "token"));
    outcome_release(&outcome);
}

static void organisers_come_and_go(void **state) {
    struct outcome outcome;
    (void)state;
    OFFICE_DOES("another long password\n", 0, "organisers", "add", "ines");
    OFFICE(&outcome, "", 0, "organisers", "add", "clerk", "--key-only", "--json");
    assert_int_equal(strlen(outcome_text(&outcome, "key")), 26);
    outcome_release(&outcome);
    OFFICE(&outcome, "", 0, "organisers");
    assert_non_null(strstr(outcome.out, "ines"));
    assert_non_null(strstr(outcome.out, "clerk"));
    outcome_release(&outcome);
    OFFICE_DOES("short\n", 1, "organisers", "password", "ines");
    OFFICE_DOES("yet another password\n", 0, "organisers", "password", "ines");
    /* One's own takes the old one too. */
    OFFICE_DOES("entirely new words\n", 1, "organisers", "password", "maro");
    OFFICE_DOES("entirely new words\n" PASSWORD "\n", 0, "organisers", "password", "maro");
    OFFICE_DOES("", 0, "whoami");
    OFFICE_DOES(PASSWORD "\nentirely new words\n", 0, "organisers", "password", "maro");
    OFFICE_DOES("", 0, "organisers", "remove", "clerk");
    OFFICE_DOES("", 1, "organisers", "remove", "clerk");
    OFFICE_DOES("", 2, "organisers", "promote", "ines");
}

static void a_school_changes_what_is_its_own(void **state) {
    struct outcome outcome;
    (void)state;
    SCHOOL_DOES(0, "register", "--name", "Salar School", "--site", "salar", "--lat", "-23.4567",
                "--lon", "-66.5432", "--elev", "3654", "--zone", "America/Argentina/Salta",
                "--gnomon", "1000", "--contact", "office@example.org", "--decimals", "3");
    SCHOOL_DOES(0, "site", "salar", "--gnomon", "1250", "--decimals", "2");
    SCHOOL(&outcome, "", 0, "site", "salar", "--json");
    outcome_assert_near("gnomon", outcome_number(&outcome, "gnomon_mm"), 1250.0, 0.0);
    outcome_assert_near("latitude", outcome_number(&outcome, "lat_deg"), -23.4567, 0.0);
    outcome_assert_near("elevation", outcome_number(&outcome, "elev_m"), 3654.0, 0.0);
    outcome_assert_near("decimals", outcome_number(&outcome, "position_decimals"), 2.0, 0.0);
    assert_string_equal(outcome_text(&outcome, "contact"), "office@example.org");
    assert_string_equal(outcome_text(&outcome, "zone"), "America/Argentina/Salta");
    outcome_release(&outcome);
    OFFICE(&outcome, "", 0, "show", "site", "salar", "--json");
    outcome_assert_near("latitude", outcome_number(&outcome, "lat_deg"), -23.46, 0.0);
    assert_null(outcome_at(&outcome, "contact"));
    outcome_release(&outcome);
    /* What is public and looks like somebody's address is told. */
    SCHOOL(&outcome, "", 0, "site", "salar", "--name", "Salar School, maro@example.org");
    assert_non_null(strstr(outcome.err, "mail address"));
    outcome_release(&outcome);
    SCHOOL(&outcome, "", 0, "site", "salar", "--name", "Salar School");
    assert_null(strstr(outcome.err, "mail address"));
    outcome_release(&outcome);
    SCHOOL_DOES(0, "site", "salar", "--no-contact");
    SCHOOL(&outcome, "", 0, "site", "salar");
    assert_non_null(strstr(outcome.out, "-23.4567"));
    assert_null(strstr(outcome.out, "office@example.org"));
    outcome_release(&outcome);
    SCHOOL_DOES(2, "site", "salar", "--decimals", "5");
    SCHOOL_DOES(2, "site", "salar", "--edge", "somewhere");
    OFFICE_DOES("", 1, "site", "nowhere");
}

static void keys_and_codes_are_renewed(void **state) {
    struct outcome outcome;
    char key[64], code[64];
    (void)state;
    SCHOOL(&outcome, "", 0, "renew", "salar", "--class-code", "--hours", "48", "--json");
    snprintf(code, sizeof code, "%s", outcome_text(&outcome, "class_code"));
    assert_int_equal(strlen(code), 11);
    outcome_release(&outcome);
    SCHOOL(&outcome, "", 0, "whoami", "salar");
    assert_string_equal(outcome.out, "school salar, until the key is renewed\n");
    outcome_release(&outcome);
    SCHOOL(&outcome, "", 0, "whoami", "salar", "--key", code);
    assert_int_equal(strncmp(outcome.out, "class salar, until 20", 21), 0);
    outcome_release(&outcome);
    SCHOOL_DOES(0, "renew", "salar", "--revoke");
    SCHOOL_DOES(1, "whoami", "salar", "--key", code);
    SCHOOL_DOES(2, "renew", "salar", "--revoke", "--hours", "2");
    /* The school's key is lost: an organiser makes another and tells the school. */
    OFFICE(&outcome, "", 0, "renew", "salar", "--json");
    snprintf(key, sizeof key, "%s", outcome_text(&outcome, "school_key"));
    outcome_release(&outcome);
    SCHOOL_DOES(1, "whoami", "salar");
    SCHOOL(&outcome, key, 0, "keep", "salar");
    outcome_release(&outcome);
    SCHOOL_DOES(0, "whoami", "salar");
}

static void a_school_takes_its_data_and_leaves(void **state) {
    struct outcome outcome;
    (void)state;
    const char *file = desk_path(&school, "salar.json");
    SCHOOL_DOES(0, "data", "salar", "--output", file);
    SCHOOL(&outcome, "", 0, "data", "salar");
    assert_non_null(outcome.json);
    assert_true(json_array_size(outcome_at(&outcome, "versions")) >= 3);
    outcome_release(&outcome);
    /* Asked first; anything but the identifier ends it. */
    SCHOOL(&outcome, "yes\n", 2, "remove", "salar");
    assert_non_null(strstr(outcome.err, "noonarc data salar"));
    outcome_release(&outcome);
    SCHOOL_DOES(0, "whoami", "salar");
    SCHOOL(&outcome, "salar\n", 0, "remove", "salar", "--reason", "the school has closed");
    assert_non_null(strstr(outcome.out, "site salar is removed"));
    outcome_release(&outcome);
    SCHOOL_DOES(2, "whoami", "salar");
    SCHOOL_DOES(1, "show", "site", "salar");
    OFFICE_DOES("", 1, "remove", "salar", "--yes");
    const char *sheet = desk_path(&office, "audit.csv");
    OFFICE_DOES("", 0, "audit", "--output", sheet);
    OFFICE(&outcome, "", 0, "audit", "--lines", "3");
    assert_non_null(strstr(outcome.out, "site.remove"));
    outcome_release(&outcome);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    desk_init(&school);
    desk_init(&office);
    snprintf(school.server, sizeof school.server, "%s", served.base);
    snprintf(office.server, sizeof office.server, "%s", served.base);
    struct outcome outcome;
    desk_run(&office, PASSWORD "\n", &outcome, "organisers", "add", "maro", "--key",
             served.organiser, NULL);
    outcome_assert_code(&outcome, 0);
    outcome_release(&outcome);
    return 0;
}

static int stop(void **state) {
    (void)state;
    desk_release(&school);
    desk_release(&office);
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_organiser_logs_in_and_out),
        cmocka_unit_test(organisers_come_and_go),
        cmocka_unit_test(a_school_changes_what_is_its_own),
        cmocka_unit_test(keys_and_codes_are_renewed),
        cmocka_unit_test(a_school_takes_its_data_and_leaves),
    };
    return cmocka_run_group_tests_name("cli accounts", tests, start, stop);
}
