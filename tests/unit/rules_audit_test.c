/* SPDX-License-Identifier: MIT */
/* The audit log: every kind of change leaves one line with who, what and when, in
 * the change's own transaction; what was refused or changed nothing leaves none;
 * and only organisers read it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/audit.h"
#include "server/rules/days.h"
#include "server/rules/list.h"
#include "tests/support/store_fixture.h"

static struct fixture fixture;

static int open_one(void **state) {
    (void)state;
    fixture_open(&fixture);
    return 0;
}

static int close_one(void **state) {
    (void)state;
    fixture_close(&fixture);
    return 0;
}

/* "role by action subject detail" of all lines from number first on, oldest first. */
static void read_log(int64_t first, struct text *out) {
    struct audit_page page;
    struct err err = {0};
    text_init(out, 1u << 16);
    assert_int_equal(audit_list(fixture.db, &fixture.organiser, 0, LIST_LIMIT_ALL, &page, &err), 0);
    for (size_t i = page.count; i-- > 0;) {
        const struct audit_record *line = &page.items[i];
        if (line->number >= first)
            text_format(out, "%s %s %s %s %s\n", line->role, line->by, line->action, line->subject,
                        line->detail);
    }
    audit_page_release(&page);
}

static void assert_log(int64_t first, const char *expected) {
    struct text log;
    read_log(first, &log);
    assert_string_equal(log.bytes ? log.bytes : "", expected);
    text_release(&log);
}

static void every_change_has_its_line(void **state) {
    struct site_record record = fixture_site_record("puna", -23.0, -66.5), kept;
    struct site_secrets secrets;
    struct class_code code;
    (void)state;
    struct err *err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, site_register(fixture.change, &record, FIXTURE_NOW_UTC_S,
                                                         &kept, &secrets, err)),
                     0);
    const struct caller school = fixture_caller(&fixture, secrets.school_key);
    fixture_day(&fixture, "equinox", FIXTURE_DATE);
    fixture_join(&fixture, "equinox", "puna");
    record.gnomon_mm = 1200.0;
    snprintf(record.contact, sizeof record.contact, "office@example.org");
    err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, site_revise(fixture.change, &school, &record,
                                                       FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
    err = fixture_begin(&fixture);
    assert_int_equal(
        fixture_end(&fixture, caller_renew_class_code(fixture.change, &school, "puna", 24.0,
                                                      FIXTURE_NOW_UTC_S, &code, err)),
        0);
    int64_t run = fixture_run(&fixture, "puna", "equinox", 7, 0);
    assert_int_equal(run, 1);
    assert_int_equal(fixture_run(&fixture, "puna", "equinox", 8, run), 2);
    err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, accept_withdraw(fixture.change, &school, 2,
                                                           "gnomon fell", FIXTURE_NOW_UTC_S, err)),
                     0);
    err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, day_leave(fixture.change, &school, "equinox", "puna",
                                                     FIXTURE_NOW_UTC_S, err)),
                     0);
    assert_log(1, "operator  organiser.add organisers with a key\n"
                  "anyone  site.register sites/puna \n"
                  "organiser Organisers day.open days/equinox \n"
                  "organiser Organisers day.join days/equinox/sites/puna \n"
                  "school puna site.revise sites/puna gnomon, contact\n"
                  "school puna site.renew_class_code sites/puna \n"
                  "organiser Organisers run.submit runs/1 \n"
                  "organiser Organisers run.correct runs/2 \n"
                  "school puna run.withdraw runs/2 \n"
                  "school puna day.leave days/equinox/sites/puna \n");
}

static void what_changed_nothing_has_none(void **state) {
    struct site_record record = fixture_site_record("puna", -23.0, -66.5), kept;
    struct site_secrets secrets;
    (void)state;
    fixture_site(&fixture, "puna", -23.0, -66.5);
    fixture_day(&fixture, "equinox", FIXTURE_DATE);
    fixture_join(&fixture, "equinox", "puna");
    assert_int_not_equal(fixture_run(&fixture, "puna", "equinox", 7, 0), 0);
    int64_t before = fixture_count(&fixture, "SELECT COUNT(*) FROM audit");
    /* The same again: a record as it is, a day joined before, a key answered before. */
    struct err *err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, site_revise(fixture.change, &fixture.organiser, &record,
                                                       FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
    fixture_join(&fixture, "equinox", "puna");
    assert_int_not_equal(fixture_run(&fixture, "puna", "equinox", 7, 0), 0);
    /* Refused: a site that exists, a second run. */
    err = fixture_begin(&fixture);
    assert_int_equal(fixture_end(&fixture, site_register(fixture.change, &record, FIXTURE_NOW_UTC_S,
                                                         &kept, &secrets, err)),
                     -1);
    assert_int_equal(fixture_run(&fixture, "puna", "equinox", 9, 0), 0);
    assert_int_equal(fixture_count(&fixture, "SELECT COUNT(*) FROM audit"), before);
}

static void pages_run_backwards(void **state) {
    struct audit_page page;
    struct err err = {0};
    int64_t before = 0, expected = 6;
    size_t seen = 0;
    (void)state;
    for (int i = 0; i < 5; i++) {
        char name[8];
        snprintf(name, sizeof name, "site-%d", i);
        fixture_site(&fixture, name, -20.0 - i, -66.5);
    }
    do {
        assert_int_equal(audit_list(fixture.db, &fixture.organiser, before, 4, &page, &err), 0);
        for (size_t i = 0; i < page.count; i++, seen++)
            assert_int_equal(page.items[i].number, expected--);
        before = page.next;
        audit_page_release(&page);
    } while (before != 0);
    assert_int_equal(seen, 6);
}

static void only_organisers_read_it(void **state) {
    struct site_secrets secrets = fixture_site(&fixture, "puna", -23.0, -66.5);
    const struct caller callers[] = {{.role = ROLE_ANYONE},
                                     fixture_caller(&fixture, secrets.school_key),
                                     fixture_caller(&fixture, secrets.class_code)};
    (void)state;
    for (size_t i = 0; i < sizeof callers / sizeof callers[0]; i++) {
        struct audit_page page;
        struct err err = {0};
        assert_int_equal(audit_list(fixture.db, &callers[i], 0, 10, &page, &err), -1);
        assert_int_equal(err.code, ERR_WRONG_KEY);
    }
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, open_one, close_one)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(every_change_has_its_line),
        TEST(what_changed_nothing_has_none),
        TEST(pages_run_backwards),
        TEST(only_organisers_read_it),
    };
    return cmocka_run_group_tests_name("rules audit", tests, NULL, NULL);
}
