/* SPDX-License-Identifier: MIT */
/* Taking a school out: nothing that tells who it was is left anywhere in the store, its
 * numbers still count, coarser, and what is derived is what a rebuild makes. And the
 * rule of how long things are kept. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/audit.h"
#include "server/rules/days.h"
#include "server/rules/own_data.h"
#include "server/rules/purge.h"
#include "server/rules/rebuild.h"
#include "server/rules/removal.h"
#include "server/rules/session.h"
#include "tests/support/store_fixture.h"

#define DAY_S 86400.0
#define WORDS "anemone"

static struct fixture fixture;
static struct site_secrets secrets;

/* A school whose every text holds a word that is found nowhere else, beside three
 * others on its meridian. */
static int open_one(void **state) {
    struct site_record record = fixture_site_record(WORDS "-school", -23.0123, -66.5123), kept;
    (void)state;
    fixture_open(&fixture);
    fixture_day(&fixture, "equinox", FIXTURE_DATE);
    fixture_day(&fixture, "solstice", "2027-06-21");
    fixture_site(&fixture, "north", -8.0, -66.3);
    fixture_site(&fixture, "middle", -30.0, -66.1);
    fixture_site(&fixture, "south", -41.0, -66.4);
    snprintf(record.name, sizeof record.name, "Colegio " WORDS);
    snprintf(record.contact, sizeof record.contact, WORDS "@example.org");
    snprintf(record.zone, sizeof record.zone, "America/Argentina/Salta");
    struct err *err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, site_register(fixture.change, &record, FIXTURE_NOW_UTC_S,
                                                         &kept, &secrets, err)),
                     0);
    static const char *const sites[] = {"north", "middle", "south", WORDS "-school"};
    for (size_t i = 0; i < 4; i++) {
        fixture_join(&fixture, "equinox", sites[i]);
        fixture_join(&fixture, "solstice", sites[i]);
    }
    for (size_t i = 0; i < 3; i++)
        assert_int_not_equal(fixture_run(&fixture, sites[i], "equinox", 5 + i, 0), 0);
    return 0;
}

static int close_one(void **state) {
    (void)state;
    fixture_close(&fixture);
    return 0;
}

/* A run with words in it, by the class; then one of north again, whose kept answer
 * names the school among its pairs. */
static int64_t hand_in_with_words(void) {
    struct fixture_body body;
    struct site_record record;
    assert_int_equal(site_get(fixture.db, WORDS "-school", &record, &fixture.err), 0);
    fixture_body(&body, WORDS "-school", "equinox", &record.exact, FIXTURE_DATE, 9, 0);
    assert_int_equal(body.text.bytes[body.text.length - 1], '}');
    body.text.length--;
    text_put(&body.text, ",\"sky\":\"clear, " WORDS "\",\"level\":\"" WORDS
                         "\",\"note\":\"by " WORDS " of form 3\"}");
    fixture_body_read(&body);
    const struct caller class = fixture_caller(&fixture, secrets.class_code);
    int64_t run = fixture_send(&fixture, &class, &body, "key-of-words", NULL);
    fixture_body_release(&body);
    assert_int_not_equal(run, 0);
    return run;
}

static int remove_school(const struct caller *caller, bool withdraw, char out[ID_MAX + 1]) {
    struct err *err = fixture_begin(&fixture);
    return fixture_end(&fixture, site_remove(fixture.change, caller, WORDS "-school", "moved away",
                                             withdraw, FIXTURE_NOW_UTC_S + 1000.0, out, err));
}

static bool stands_in_the_store(const char *word) {
    static const char *const tables[] = {
        "site",          "site_version", "credential", "run",   "withdrawal",
        "participation", "review",       "reduction",  "audit", "session",
        "removal",       "run_flag",     "invitation",
    };
    bool found = false;
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        char sql[64];
        struct text text;
        snprintf(sql, sizeof sql, "SELECT * FROM %s", tables[i]);
        text_init(&text, 1u << 24);
        fixture_dump(&fixture, sql, &text);
        found = found || (text.bytes && strstr(text.bytes, word));
        text_release(&text);
    }
    return found;
}

static void assert_rebuilds_the_same(void) {
    struct rebuild_counts counts;
    size_t differences = 1;
    assert_int_equal(rebuild_check(fixture.change, &counts, &differences, &fixture.err), 0);
    change_forget(fixture.change);
    assert_int_equal(differences, 0);
}

static void nothing_tells_who_it_was(void **state) {
    char identifier[ID_MAX + 1];
    struct site_record record;
    struct caller caller;
    (void)state;
    hand_in_with_words();
    const struct caller school = fixture_caller(&fixture, secrets.school_key);
    assert_true(stands_in_the_store(WORDS));
    assert_true(stands_in_the_store("Salta"));
    assert_int_equal(remove_school(&school, false, identifier), 0);
    assert_string_equal(identifier, "removed-4");
    assert_false(stands_in_the_store(WORDS));
    assert_false(stands_in_the_store("Salta"));
    assert_false(stands_in_the_store("form 3"));
    /* Kept to 11 km. */
    assert_int_equal(site_get(fixture.db, identifier, &record, &fixture.err), 0);
    assert_true(record.exact.lat_deg == -23.0 && record.exact.lon_deg == -66.5);
    assert_int_equal(record.position_decimals, 1);
    assert_string_equal(record.name, REMOVED_NAME);
    /* As if it had never been called so, and nobody has a key. */
    assert_int_equal(site_get(fixture.db, WORDS "-school", &record, &fixture.err), -1);
    assert_int_equal(fixture.err.code, ERR_NOT_FOUND);
    err_clear(&fixture.err);
    assert_int_equal(
        caller_resolve(fixture.db, secrets.school_key, FIXTURE_NOW_UTC_S, &caller, &fixture.err),
        -1);
    assert_int_equal(
        caller_resolve(fixture.db, secrets.class_code, FIXTURE_NOW_UTC_S, &caller, &fixture.err),
        -1);
    err_clear(&fixture.err);
    assert_int_equal(remove_school(&school, false, identifier), -1);
}

static void its_numbers_still_count(void **state) {
    char identifier[ID_MAX + 1];
    struct participant_page page;
    (void)state;
    int64_t run = hand_in_with_words();
    char sql[128];
    snprintf(sql, sizeof sql, "SELECT counts FROM reduction WHERE run = %lld", (long long)run);
    assert_int_equal(fixture_count(&fixture, sql), 1);
    assert_int_equal(remove_school(&fixture.organiser, false, identifier), 0);
    assert_int_equal(fixture_count(&fixture, sql), 1);
    assert_rebuilds_the_same();
    /* It measured at the equinox; at the solstice it will not be there. */
    assert_int_equal(day_participants(fixture.db, "equinox", "", 100, &page, &fixture.err), 0);
    assert_int_equal(page.count, 4);
    participant_page_release(&page);
    assert_int_equal(day_participants(fixture.db, "solstice", "", 100, &page, &fixture.err), 0);
    assert_int_equal(page.count, 3);
    participant_page_release(&page);
}

static void withdrawn_numbers_stay_without_counting(void **state) {
    char identifier[ID_MAX + 1], sql[128];
    (void)state;
    int64_t run = hand_in_with_words();
    assert_int_equal(remove_school(&fixture.organiser, true, identifier), 0);
    snprintf(sql, sizeof sql, "SELECT counts FROM reduction WHERE run = %lld", (long long)run);
    assert_int_equal(fixture_count(&fixture, sql), 0);
    assert_false(stands_in_the_store(WORDS));
    assert_rebuilds_the_same();
}

/* The log tells that a school was removed, by whom, and what happened to it before,
 * under the name it has now; a school that is called alike is not taken for it. */
static void the_log_follows(void **state) {
    char identifier[ID_MAX + 1];
    struct audit_page page;
    (void)state;
    hand_in_with_words();
    fixture_site(&fixture, "re-" WORDS "-school", -10.0, -60.0);
    assert_int_equal(remove_school(&fixture.organiser, false, identifier), 0);
    assert_int_equal(audit_list(fixture.db, &fixture.organiser, 0, 100, &page, &fixture.err), 0);
    assert_string_equal(page.items[0].action, "site.remove");
    assert_string_equal(page.items[0].subject, "sites/removed-4");
    assert_string_equal(page.items[1].subject, "sites/re-" WORDS "-school");
    size_t joined = 0, registered = 0;
    for (size_t i = 0; i < page.count; i++) {
        joined += strcmp(page.items[i].subject, "days/equinox/sites/removed-4") == 0;
        registered += strcmp(page.items[i].action, "site.register") == 0 &&
                      strcmp(page.items[i].subject, "sites/removed-4") == 0;
    }
    assert_int_equal(joined, 1);
    assert_int_equal(registered, 1);
    audit_page_release(&page);
}

/* Somebody may be called so already. */
static void the_number_is_taken(void **state) {
    char identifier[ID_MAX + 1];
    (void)state;
    fixture_site(&fixture, "removed-4", -10.0, -60.0);
    assert_int_equal(remove_school(&fixture.organiser, false, identifier), 0);
    assert_string_equal(identifier, "removed-4-2");
}

static void others_may_not(void **state) {
    char identifier[ID_MAX + 1];
    (void)state;
    struct site_secrets other = fixture_site(&fixture, "other", -10.0, -60.0);
    const struct caller callers[] = {fixture_caller(&fixture, other.school_key),
                                     fixture_caller(&fixture, secrets.class_code),
                                     {.role = ROLE_ANYONE}};
    for (size_t i = 0; i < 3; i++) {
        struct own_data data;
        struct err err = {0};
        assert_int_equal(remove_school(&callers[i], false, identifier), -1);
        assert_int_equal(fixture.err.code, ERR_WRONG_KEY);
        assert_int_equal(
            own_data_gather(fixture.db, fixture.almanac, &callers[i], WORDS "-school", &data, &err),
            -1);
        assert_int_equal(err.code, ERR_WRONG_KEY);
    }
}

static struct purge_counts counted(int keep_days, double now_utc_s) {
    struct purge_counts counts;
    assert_int_equal(purge_count(fixture.db, keep_days, now_utc_s, &counts, NULL, &fixture.err), 0);
    return counts;
}

static void what_is_kept_too_long_goes(void **state) {
    struct session session;
    struct purge_counts counts, again;
    const double later_utc_s = FIXTURE_NOW_UTC_S + 400.0 * DAY_S;
    (void)state;
    hand_in_with_words();
    /* A contact replaced by another; a session that will be over. */
    struct site_record record = fixture_site_record("north", -8.0, -66.3), kept;
    snprintf(record.contact, sizeof record.contact, "first@example.org");
    for (int i = 0; i < 2; i++) {
        struct err *err = fixture_begin(&fixture);
        assert_int_equal(
            fixture_end(&fixture, site_revise(fixture.change, &fixture.organiser, &record,
                                              later_utc_s - 10.0 * DAY_S, &kept, err)),
            0);
        snprintf(record.contact, sizeof record.contact, "second@example.org");
    }
    struct err *err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, session_start_as(fixture.change, &fixture.organiser,
                                                            FIXTURE_NOW_UTC_S, &session, err)),
                     0);

    /* Nothing is over yet but what is over at once. */
    counts = counted(1095, later_utc_s);
    assert_int_equal(counts.schools + counts.words + counts.audit + counts.invitations, 0);
    assert_int_equal(counts.sessions, 1);
    assert_int_equal(counts.contacts, 1);
    assert_int_equal(counts.answers, 4);
    /* Looking changed nothing. */
    assert_true(stands_in_the_store(WORDS) && stands_in_the_store("first@example.org"));
    /* With a year only north, which was revised lately, is heard of. */
    counts = counted(365, later_utc_s);
    assert_int_equal(counts.schools, 3);
    assert_int_equal(counts.words, 1);
    assert_true(counts.audit > 0);

    assert_int_equal(purge_do(fixture.change, 365, later_utc_s, &again, &fixture.err), 0);
    assert_memory_equal(&again, &counts, sizeof counts);
    assert_false(stands_in_the_store(WORDS));
    assert_false(stands_in_the_store("first@example.org"));
    assert_true(stands_in_the_store("second@example.org"));
    assert_rebuilds_the_same();
    counts = counted(365, later_utc_s);
    assert_int_equal(counts.schools + counts.words + counts.audit + counts.sessions +
                         counts.answers + counts.contacts,
                     0);
    /* The log's oldest lines are gone; the purge itself is in it. */
    struct audit_page page;
    assert_int_equal(audit_list(fixture.db, &fixture.organiser, 0, 100, &page, &fixture.err), 0);
    assert_string_equal(page.items[0].action, "store.purge");
    assert_string_equal(page.items[0].role, "operator");
    audit_page_release(&page);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, open_one, close_one)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(nothing_tells_who_it_was),
        TEST(its_numbers_still_count),
        TEST(withdrawn_numbers_stay_without_counting),
        TEST(the_log_follows),
        TEST(the_number_is_taken),
        TEST(others_may_not),
        TEST(what_is_kept_too_long_goes),
    };
    return cmocka_run_group_tests_name("rules removal", tests, NULL, NULL);
}
