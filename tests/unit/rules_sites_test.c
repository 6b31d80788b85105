/* SPDX-License-Identifier: MIT */
/* sites and callers: who gets which key, what it opens, how a site changes and
 * keeps its history, and how a spreadsheet comes in whole or not at all. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/rules/days.h"
#include "server/rules/purge.h"
#include "server/rules/secret.h"
#include "server/rules/slug.h"
#include "server/store/site_rows.h"
#include "tests/support/simulate.h"
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

static int register_record(struct fixture *f, const struct site_record *record,
                           struct site_record *kept) {
    struct site_secrets secrets;
    struct err *err = fixture_begin(f);
    return fixture_end(f, site_register(f->change, record, FIXTURE_NOW_UTC_S, kept, &secrets, err));
}

static void identifier_is_made_from_the_name(void **state) {
    static const struct {
        const char *name, *slug;
    } rows[] = {
        {"Colegio Ñandú, San Juan", "colegio-nandu-san-juan"},
        {"  Łódź – Œuvre ß 7", "lodz-ouvre-s-7"},
        {"学校", "site"},
        {"An extraordinarily long name of a school by a river",
         "an-extraordinarily-long-name-of-a-school"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char slug[ID_MAX + 1];
        slug_make(rows[i].name, 1, slug);
        assert_string_equal(slug, rows[i].slug);
    }
    char slug[ID_MAX + 1];
    slug_make("An extraordinarily long name of a school by a river", 12, slug);
    assert_string_equal(slug, "an-extraordinarily-long-name-of-a-sch-12");
}

static void equal_names_get_numbers(void **state) {
    struct fixture *f = *state;
    struct site_record record = fixture_site_record("", 40.0, 3.0), kept;
    snprintf(record.name, sizeof record.name, "Hillside");
    assert_int_equal(register_record(f, &record, &kept), 0);
    assert_string_equal(kept.site, "hillside");
    record.place.lat_deg = 41.0; /* another school of that name */
    assert_int_equal(register_record(f, &record, &kept), 0);
    assert_string_equal(kept.site, "hillside-2");
}

static void taken_identifier_is_refused(void **state) {
    struct fixture *f = *state;
    struct site_record record = fixture_site_record("hill", 40.0, 3.0), kept;
    fixture_site(f, "hill", 40.0, 3.0);
    assert_int_equal(register_record(f, &record, &kept), -1);
    assert_int_equal(f->err.code, ERR_SITE_EXISTS);
    assert_string_equal(f->err.field, "/site");
}

static void registered_site_comes_back(void **state) {
    struct fixture *f = *state;
    struct site_record record = fixture_site_record("hill", -33.25, 18.5), kept;
    snprintf(record.zone, sizeof record.zone, "Africa/Johannesburg");
    snprintf(record.contact, sizeof record.contact, "office@example.org");
    record.gnomon_mm = NAN;
    record.edge = EDGE_PENUMBRA;
    assert_int_equal(register_record(f, &record, &kept), 0);
    assert_int_equal(site_get(f->db, "hill", &kept, &f->err), 0);
    assert_true(kept.place.lat_deg == -33.25 && kept.place.lon_deg == 18.5);
    assert_true(kept.place.elevation_m == 200.0);
    assert_string_equal(kept.name, "School hill");
    assert_string_equal(kept.zone, "Africa/Johannesburg");
    assert_string_equal(kept.contact, "office@example.org");
    assert_true(isnan(kept.gnomon_mm));
    assert_int_equal(kept.edge, EDGE_PENUMBRA);
    assert_int_equal(site_get(f->db, "dale", &kept, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void secrets_open_their_own_site_only(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", 44.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    struct caller class = fixture_caller(f, hill.class_code);
    struct caller anyone = fixture_caller(f, NULL);
    const struct {
        const struct caller *caller;
        enum role least;
        const char *site;
        bool may;
    } rows[] = {
        {&class, ROLE_CLASS, "hill", true},        {&class, ROLE_CLASS, "dale", false},
        {&class, ROLE_SCHOOL, "hill", false},      {&class, ROLE_ORGANISER, NULL, false},
        {&school, ROLE_CLASS, "hill", true},       {&school, ROLE_SCHOOL, "hill", true},
        {&school, ROLE_SCHOOL, "dale", false},     {&school, ROLE_ORGANISER, NULL, false},
        {&anyone, ROLE_CLASS, "hill", false},      {&anyone, ROLE_ORGANISER, NULL, false},
        {&f->organiser, ROLE_CLASS, "hill", true}, {&f->organiser, ROLE_ORGANISER, NULL, true},
    };
    assert_int_equal(school.role, ROLE_SCHOOL);
    assert_int_equal(class.role, ROLE_CLASS);
    assert_string_equal(class.site_id, "hill");
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct err err = {0};
        bool may = caller_may(rows[i].caller, rows[i].least, rows[i].site, &err) == 0;
        if (may != rows[i].may)
            fail_msg("row %zu", i);
        assert_int_equal(err.code, may ? ERR_NONE : ERR_WRONG_KEY);
    }
}

static void secrets_are_read_as_people_write_them(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    assert_int_equal(strlen(hill.school_key), 26);
    assert_int_equal(strlen(hill.class_code), 11);
    assert_int_equal(hill.class_code[5], '-');
    char written[SECRET_MAX];
    size_t n = 0;
    for (const char *c = hill.class_code; *c; c++)
        if (*c != '-')
            written[n++] = *c == '0'   ? 'o'
                           : *c == '1' ? 'l'
                           : *c > '9'  ? (char)(*c - 'A' + 'a')
                                       : *c;
    written[n] = '\0';
    struct caller class = fixture_caller(f, written);
    assert_int_equal(class.role, ROLE_CLASS);
}

static void refusals_are_all_alike(void **state) {
    struct fixture *f = *state;
    static const char *const wrong[] = {"",
                                        "x",
                                        "00000-00000",
                                        "00000000000000000000000000",
                                        "UUUUU-UUUUU",
                                        "000000000000000000000000000000000000000000000000000000",
                                        "' OR 1=1 --",
                                        "\xff\xfe"};
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller class = fixture_caller(f, hill.class_code), caller;
    struct err first = {0};
    assert_int_equal(caller_may(&class, ROLE_ORGANISER, NULL, &first), -1);
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct err err = {0};
        assert_int_equal(caller_resolve(f->db, wrong[i], FIXTURE_NOW_UTC_S, &caller, &err), -1);
        assert_int_equal(err.code, ERR_WRONG_KEY);
        assert_string_equal(err.text, first.text);
        assert_string_equal(err.field, first.field);
    }
}

static void secrets_are_nowhere_in_the_store(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct text dump;
    text_init(&dump, 1u << 20);
    fixture_dump(f, "SELECT * FROM credential", &dump);
    assert_null(strstr(dump.bytes, hill.school_key));
    assert_null(strstr(dump.bytes, hill.class_code));
    assert_null(strstr(dump.bytes, f->organiser_key));
    assert_non_null(strstr(dump.bytes, "school"));
    text_release(&dump);
    char one[SECRET_MAX], two[SECRET_MAX];
    secret_make_key(one);
    secret_make_key(two);
    assert_string_not_equal(one, two);
}

/* Secrets of a seed come again, and hang on all of it. */
static void secrets_come_again_from_their_seed(void **state) {
    (void)state;
    struct secret_seed seed = {.key = "0123456789abcdef0123456789abcdef"};
    struct secret_seed salted = seed, other = seed;
    char key[SECRET_MAX], code[SECRET_MAX], again[SECRET_MAX], hash[HASH_HEX_MAX];
    secret_make_salt(seed.salt);
    secret_make_salt(salted.salt);
    memcpy(other.salt, seed.salt, sizeof other.salt);
    other.key = "0123456789abcdef0123456789abcdee";
    secret_key_of(&seed, key);
    secret_code_of(&seed, code);
    assert_int_equal(strlen(key), 26);
    assert_int_equal(strlen(code), 11);
    assert_true(secret_hash(key, hash) && secret_hash(code, hash));
    assert_memory_not_equal(key, code, 5);
    secret_key_of(&seed, again);
    assert_string_equal(key, again);
    secret_code_of(&seed, again);
    assert_string_equal(code, again);
    secret_key_of(&salted, again);
    assert_string_not_equal(key, again);
    secret_key_of(&other, again);
    assert_string_not_equal(key, again);
}

/* Answered again for as long as answers are kept, and then a duplicate. */
static void a_registration_is_forgotten(void **state) {
    struct fixture *f = *state;
    const char body[] = "{}";
    const struct registering asked = {.idempotency_key = "0123456789abcdef0123456789abcdef",
                                      .body = body,
                                      .body_length = sizeof body - 1};
    struct site_record record, kept;
    struct site_secrets first, again;
    struct purge_counts counts;
    site_record_init(&record);
    snprintf(record.name, sizeof record.name, "Hill School");
    record.place = (struct place){.lat_deg = 44.0, .lon_deg = 3.0};
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_register_once(f->change, &record, &asked,
                                                       FIXTURE_NOW_UTC_S, &kept, &first, err)),
                     0);
    const double soon_utc_s = FIXTURE_NOW_UTC_S + 89.0 * 86400.0;
    assert_int_equal(purge_do(f->change, 1095, soon_utc_s, &counts, err), 0);
    assert_int_equal(counts.registrations, 0);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_register_once(f->change, &record, &asked, soon_utc_s,
                                                       &kept, &again, err)),
                     0);
    assert_string_equal(first.school_key, again.school_key);
    assert_string_equal(first.class_code, again.class_code);
    assert_true(first.class_code_expires_utc_s == again.class_code_expires_utc_s);
    const double late_utc_s = FIXTURE_NOW_UTC_S + 91.0 * 86400.0;
    assert_int_equal(purge_count(f->db, 1095, late_utc_s, &counts, NULL, err), 0);
    assert_int_equal(counts.registrations, 1);
    assert_int_equal(purge_do(f->change, 1095, late_utc_s, &counts, err), 0);
    assert_int_equal(counts.registrations, 1);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, site_register_once(f->change, &record, &asked, late_utc_s,
                                                       &kept, &again, err)),
                     -1);
    assert_int_equal(f->err.code, ERR_SITE_DUPLICATE);
}

static void renewed_code_replaces_the_old(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key), caller;
    struct caller class = fixture_caller(f, hill.class_code);
    struct class_code code;
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, caller_renew_class_code(f->change, &class, "hill", 2.0,
                                                            FIXTURE_NOW_UTC_S, &code, err)),
                     -1);
    err = fixture_begin(f);
    assert_int_equal(fixture_end(f, caller_renew_class_code(f->change, &school, "hill", 2.0,
                                                            FIXTURE_NOW_UTC_S, &code, err)),
                     0);
    assert_int_equal(caller_resolve(f->db, hill.class_code, FIXTURE_NOW_UTC_S, &caller, &f->err),
                     -1);
    assert_int_equal(fixture_caller(f, code.code).role, ROLE_CLASS);
    assert_int_equal(fixture_caller(f, hill.school_key).role, ROLE_SCHOOL);
    /* Two hours, and not a second more. */
    assert_true(code.expires_utc_s == FIXTURE_NOW_UTC_S + 7200.0);
    assert_int_equal(caller_resolve(f->db, code.code, FIXTURE_NOW_UTC_S + 7199.0, &caller, &f->err),
                     0);
    err_clear(&f->err);
    assert_int_equal(caller_resolve(f->db, code.code, FIXTURE_NOW_UTC_S + 7200.0, &caller, &f->err),
                     -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
}

static void a_new_key_shuts_out_the_old(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller caller;
    char fresh[SECRET_MAX];
    struct err *err = fixture_begin(f);
    assert_int_equal(fixture_end(f, caller_renew_school_key(f->change, &f->organiser, "hill",
                                                            FIXTURE_NOW_UTC_S, fresh, err)),
                     0);
    assert_int_equal(caller_resolve(f->db, hill.school_key, FIXTURE_NOW_UTC_S, &caller, &f->err),
                     -1);
    assert_int_equal(fixture_caller(f, fresh).role, ROLE_SCHOOL);
}

static int revise(struct fixture *f, const struct caller *caller, const struct site_record *site) {
    struct site_record kept;
    struct err *err = fixture_begin(f);
    return fixture_end(f, site_revise(f->change, caller, site, FIXTURE_NOW_UTC_S, &kept, err));
}

static void revision_appends_and_keeps_history(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    struct caller class = fixture_caller(f, hill.class_code);
    struct site_record record = fixture_site_record("hill", 40.5, 3.0), kept;
    assert_int_equal(revise(f, &class, &record), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(revise(f, &school, &record), 0);
    assert_int_equal(site_get(f->db, "hill", &kept, &f->err), 0);
    assert_true(kept.place.lat_deg == 40.5);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM site_version"), 2);
    assert_int_equal(revise(f, &school, &record), 0);
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM site_version"), 2);
    snprintf(record.site, sizeof record.site, "dale");
    assert_int_equal(revise(f, &f->organiser, &record), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

static void pages_follow_one_another(void **state) {
    struct fixture *f = *state;
    struct site_page page;
    char site[ID_MAX + 1], next[ID_MAX + 1] = "";
    size_t seen = 0, pages = 0;
    for (int i = 6; i >= 0; i--) {
        snprintf(site, sizeof site, "site-%d", i);
        fixture_site(f, site, 40.0 + i, 3.0);
    }
    do {
        assert_int_equal(site_list(f->db, next, 3, &page, &f->err), 0);
        for (size_t i = 0; i < page.count; i++) {
            snprintf(site, sizeof site, "site-%zu", seen++);
            assert_string_equal(page.items[i].site, site);
        }
        memcpy(next, page.next, sizeof next);
        site_page_release(&page);
        pages++;
    } while (next[0] != '\0');
    assert_int_equal(seen, 7);
    assert_int_equal(pages, 3);
    assert_int_equal(site_list(f->db, "", LIST_LIMIT_ALL, &page, &f->err), 0);
    assert_int_equal(page.count, 7);
    assert_string_equal(page.next, "");
    site_page_release(&page);
}

static void last_page_that_is_full_has_no_next(void **state) {
    struct fixture *f = *state;
    struct site_page page;
    fixture_site(f, "a", 40.0, 3.0);
    fixture_site(f, "b", 41.0, 3.0);
    assert_int_equal(site_list(f->db, "", 2, &page, &f->err), 0);
    assert_int_equal(page.count, 2);
    assert_string_equal(page.next, "");
    site_page_release(&page);
}

static int import(struct fixture *f, const struct caller *caller, const struct site_record *sites,
                  size_t count, struct site_import *out) {
    struct err *err = fixture_begin(f);
    return fixture_end(f,
                       site_import(f->change, caller, sites, count, FIXTURE_NOW_UTC_S, out, err));
}

static void spreadsheet_adds_changes_and_leaves_alone(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    struct caller school = fixture_caller(f, hill.school_key);
    fixture_site(f, "dale", 44.0, 3.0);
    struct site_record sites[] = {fixture_site_record("hill", 40.0, 3.0),
                                  fixture_site_record("moor", 48.0, 3.0),
                                  fixture_site_record("dale", 44.5, 3.0)};
    struct site_import result;
    struct site_record kept;
    snprintf(sites[2].name, sizeof sites[2].name, "dale"); /* no such column: the name stays */
    assert_int_equal(import(f, &school, sites, 3, &result), -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    assert_int_equal(import(f, &f->organiser, sites, 3, &result), 0);
    assert_int_equal(result.added, 1);
    assert_int_equal(result.changed, 1);
    assert_int_equal(result.unchanged, 1);
    assert_string_equal(result.keys[0].site, "moor");
    assert_string_equal(fixture_caller(f, result.keys[0].secrets.class_code).site_id, "moor");
    site_import_release(&result);
    assert_int_equal(site_get(f->db, "dale", &kept, &f->err), 0);
    assert_true(kept.place.lat_deg == 44.5);
    assert_string_equal(kept.name, "School dale");
}

static void organisers_need_a_name(void **state) {
    struct fixture *f = *state;
    static const char *const wrong[] = {"", "=1+1", "a\nb"};
    char secret[SECRET_MAX];
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct err *err = fixture_begin(f);
        assert_int_equal(fixture_end(f, caller_add_organiser(f->change, wrong[i], FIXTURE_NOW_UTC_S,
                                                             secret, err)),
                         -1);
        assert_int_equal(f->err.code, ERR_BAD_TEXT);
    }
}

/* ---- the sites about a place ---- */

static int64_t number_of(const struct site_record *record) {
    return strtoll(record->site + 1, NULL, 10);
}

static bool lies_in(const struct site_record *site, const struct site_belt *belt) {
    const struct place *at = &site->exact;
    bool within = false;
    for (int turn = -1; turn <= 1; turn++)
        within |= at->lon_deg + 360.0 * turn >= belt->low_lon_deg &&
                  at->lon_deg + 360.0 * turn <= belt->high_lon_deg;
    return within && at->lat_deg >= belt->low_lat_deg && at->lat_deg <= belt->high_lat_deg;
}

/* Against a look at all, where it is hardest: at the equator, where numbers may be cut or
 * rounded towards it, about 180 degrees, at the poles, and at sites upon an edge. */
#define ABOUT 1200
static void sites_about_a_place_are_those_of_a_look_at_all(void **state) {
    static const double centre_deg[][2] = {{0.0, 180.0},   {0.0, -180.0}, {0.05, 179.95},
                                           {89.9, 10.0},   {-90.0, 0.0},  {0.2, -179.9},
                                           {-0.2, 179.99}, {-0.1, 0.0},   {89.95, -170.0}};
    struct fixture *f = *state;
    struct chance chance = chance_seeded(11);
    struct site_record *all, *about;
    size_t count, found;
    struct err *err = fixture_begin(f);
    int result = 0;
    for (int i = 1; i <= ABOUT && result == 0; i++) {
        char sql[512];
        const double *centre = centre_deg[i % (int)(sizeof centre_deg / sizeof *centre_deg)];
        double lat_deg = centre[0] + 0.05 * floor(20.0 * chance_even(&chance) - 10.0);
        double lon_deg = centre[1] + 0.05 * floor(20.0 * chance_even(&chance) - 10.0);
        lat_deg = fmax(-90.0, fmin(90.0, lat_deg));
        lon_deg -= lon_deg > 180.0 ? 360.0 : lon_deg < -180.0 ? -360.0 : 0.0;
        snprintf(sql, sizeof sql,
                 "INSERT INTO site (id, site, created_utc_s) VALUES (%d, 'a%d', 0);"
                 "INSERT INTO site_version (site, version, name, lat_deg, lon_deg, elev_m, zone, "
                 "edge, contact, recorded_utc_s) VALUES (%d, 1, '', %.17g, %.17g, 0, '', 'umbra', "
                 "'', 0)",
                 i, i, i, lat_deg, lon_deg);
        result = db_script(f->db, sql, err);
    }
    assert_int_equal(fixture_end(f, result), 0);
    assert_int_equal(site_rows_list(f->db, "", 10 * ABOUT, &all, &count, err), 0);
    assert_int_equal(count, ABOUT);
    size_t hits = 0;
    for (int k = 0; k < 400; k++) {
        const double *centre = centre_deg[k % (int)(sizeof centre_deg / sizeof *centre_deg)];
        const double lat_deg = centre[0] + 0.4 * (chance_even(&chance) - 0.5);
        const double lon_deg = centre[1] + 0.4 * (chance_even(&chance) - 0.5);
        const double high_deg = k % 3 == 0 ? 0.5 * SITE_BELT_DEG : 0.1;
        const double wide_deg = k % 5 == 0 ? 180.0 : 0.15;
        const struct site_belt belt = {lat_deg - high_deg, lat_deg + 0.999 * high_deg,
                                       lon_deg - wide_deg, lon_deg + wide_deg};
        bool told[ABOUT + 1] = {false};
        assert_int_equal(site_rows_about(f->db, &belt, &about, &found, err), 0);
        for (size_t i = 0; i < found; i++)
            told[number_of(&about[i])] = true;
        free(about);
        for (size_t i = 0; i < count; i++)
            assert_int_equal(told[number_of(&all[i])], lies_in(&all[i], &belt));
        hits += found;
    }
    assert_true(hits > 1000);
    free(all);
}

static void keys_work_after_a_restart(void **state) {
    struct fixture *f = *state;
    struct site_secrets hill = fixture_site(f, "hill", 40.0, 3.0);
    fixture_reopen(f);
    assert_int_equal(fixture_caller(f, hill.school_key).role, ROLE_SCHOOL);
    assert_int_equal(fixture_caller(f, f->organiser_key).role, ROLE_ORGANISER);
}

int main(void) {
#define SITES_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(identifier_is_made_from_the_name),
        SITES_TEST(equal_names_get_numbers),
        SITES_TEST(taken_identifier_is_refused),
        SITES_TEST(registered_site_comes_back),
        SITES_TEST(secrets_open_their_own_site_only),
        SITES_TEST(secrets_are_read_as_people_write_them),
        SITES_TEST(refusals_are_all_alike),
        cmocka_unit_test(secrets_come_again_from_their_seed),
        SITES_TEST(a_registration_is_forgotten),
        SITES_TEST(secrets_are_nowhere_in_the_store),
        SITES_TEST(renewed_code_replaces_the_old),
        SITES_TEST(a_new_key_shuts_out_the_old),
        SITES_TEST(revision_appends_and_keeps_history),
        SITES_TEST(pages_follow_one_another),
        SITES_TEST(last_page_that_is_full_has_no_next),
        SITES_TEST(spreadsheet_adds_changes_and_leaves_alone),
        SITES_TEST(organisers_need_a_name),
        SITES_TEST(sites_about_a_place_are_those_of_a_look_at_all),
        SITES_TEST(keys_work_after_a_restart),
    };
    return cmocka_run_group_tests_name("rules_sites", tests, NULL, NULL);
}
