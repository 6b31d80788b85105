/* SPDX-License-Identifier: MIT */
/* editions: what is published can be worked out again to the same bytes by wire and
 * science alone, agrees with the live day, never changes, tells its changes, and keeps
 * of a school no more than it agreed to. The figures themselves are judged where
 * science is. */
#include <jansson.h>
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
#include "server/rules/editions.h"
#include "server/rules/review.h"
#include "server/rules/seasons.h"
#include "tests/support/store_fixture.h"

static const struct {
    const char *site;
    double lat_deg;
} sites[] = {{"alba", 36.0}, {"brea", 40.0}, {"cima", 44.0}, {"duna", 48.0}, {"eria", 52.0}};
#define SITES (sizeof sites / sizeof *sites)

static int64_t runs[SITES];
static struct caller schools[SITES];

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    for (size_t i = 0; i < SITES; i++) {
        struct site_secrets secrets = fixture_site(&fixture, sites[i].site, sites[i].lat_deg, 3.0);
        schools[i] = fixture_caller(&fixture, secrets.school_key);
        fixture_join(&fixture, "spring", sites[i].site);
        runs[i] = fixture_run(&fixture, sites[i].site, "spring", 30 + i, 0);
        assert_true(runs[i] > 0);
    }
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

/* Publishes the day; 0 with fixture->err when refused. */
static int64_t publish(struct fixture *f, const char *reason, struct text *bundle) {
    struct edition_ready ready;
    struct edition_ask ask = {0};
    int64_t number = 0;
    snprintf(ask.reason, sizeof ask.reason, "%s", reason);
    if (edition_prepare(f->db, &f->organiser, EDITION_DAY, "spring", &ask,
                        FIXTURE_NOW_UTC_S + 86400.0, &ready, &f->err) == 0) {
        fixture_begin(f);
        if (fixture_end(f, edition_publish(f->change, &f->organiser, &ready, &f->err)) == 0)
            number = ready.head.edition;
    }
    edition_ready_release(&ready);
    if (number != 0 && bundle != NULL) {
        text_init(bundle, EDITION_MAX);
        assert_int_equal(edition_bundle(f->db, number, bundle, &f->err), 0);
    }
    return number;
}

static struct edition_check verified(const struct text *bundle, const struct text *before) {
    struct edition_check check;
    struct err err = {0};
    if (edition_verify(bundle->bytes, bundle->length, before ? before->bytes : NULL,
                       before ? before->length : 0, &check, &err))
        fail_msg("%s (%s)", err.text, err.field);
    return check;
}

static void assert_verified(const struct text *bundle, const struct text *before) {
    struct edition_check check = verified(bundle, before);
    assert_true(check.canonical);
    if (!check.same)
        fail_msg("%s: %s, not %s", check.difference[0].pointer, check.difference[0].recomputed,
                 check.difference[0].published);
}

static void say(struct fixture *f, int64_t run, enum review_verdict verdict, const char *reason) {
    struct review_record review = {.run = run, .verdict = verdict}, made;
    snprintf(review.reason, sizeof review.reason, "%s", reason);
    fixture_begin(f);
    assert_int_equal(fixture_end(f, review_record(f->change, &f->organiser, &review,
                                                  FIXTURE_NOW_UTC_S, &made, &f->err)),
                     0);
}

static void keep(struct fixture *f, size_t site, enum edition_keeps keeps) {
    fixture_begin(f);
    assert_int_equal(fixture_end(f, edition_keeps_set(f->change, &schools[site], sites[site].site,
                                                      keeps, FIXTURE_NOW_UTC_S, &f->err)),
                     0);
}

static json_t *parsed(const struct text *bundle) {
    json_t *document = json_loadb(bundle->bytes, bundle->length, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(document);
    return document;
}

static double number_at(const json_t *document, const char *one, const char *two,
                        const char *three) {
    return json_number_value(
        json_object_get(json_object_get(json_object_get(document, one), two), three));
}

static void it_is_worked_out_again_to_the_same_bytes(void **state) {
    struct fixture *f = *state;
    struct text bundle;
    char *live;
    assert_int_equal(publish(f, "", &bundle), 1);
    assert_verified(&bundle, NULL);
    struct edition_check check = verified(&bundle, NULL);
    assert_int_equal(check.runs, SITES);
    assert_int_equal(check.headline.sites, SITES);
    assert_true(check.changes_checked);

    /* The live day says the same, to the digits of an edition. */
    json_t *document = parsed(&bundle);
    assert_int_equal(fixture_result(f, "spring", &live), 0);
    json_t *result = json_loads(live, 0, NULL);
    const double live_km = json_number_value(json_object_get(result, "circumference_km"));
    const double km = number_at(document, "figures", "result", "circumference_km");
    assert_true(fabs(km - live_km) < 1e-7 * live_km);
    json_decref(result);
    json_decref(document);
    free(live);

    /* What is published is there for good, also after the runs changed. */
    struct text again;
    assert_true(fixture_run(f, "alba", "spring", 99, runs[0]) > 0);
    text_init(&again, EDITION_MAX);
    assert_int_equal(edition_bundle(f->db, 1, &again, &f->err), 0);
    assert_string_equal(again.bytes, bundle.bytes);
    text_release(&again);
    text_release(&bundle);
}

/* One byte of a reading, a figure or the head changed is found and named. */
static void what_was_tampered_with_is_named(void **state) {
    struct fixture *f = *state;
    struct text bundle;
    static const struct {
        const char *from, *to, *pointer;
    } rows[] = {
        {"\"sigma_km\":", "\"sigma_km\":9", "/figures"},
        {"\"shadow_mm\":", "\"shadow_mm\":1", "/figures"},
        {"\"lat_deg\":36", "\"lat_deg\":36.001", "/figures"},
        {"\"changes\":[]", "\"changes\":[1]", "/changes"},
        {"\"title\":\"", "\"title \":\"", "/title"},
    };
    assert_int_equal(publish(f, "", &bundle), 1);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct text spoilt;
        struct err err = {0};
        struct edition_check check;
        const char *at = strstr(bundle.bytes, rows[i].from);
        assert_non_null(at);
        text_init(&spoilt, EDITION_MAX);
        text_add(&spoilt, bundle.bytes, (size_t)(at - bundle.bytes));
        text_put(&spoilt, rows[i].to);
        text_put(&spoilt, at + strlen(rows[i].from));
        int result = edition_verify(spoilt.bytes, spoilt.length, NULL, 0, &check, &err);
        if (result == 0) {
            assert_false(check.same);
            assert_true(check.differences > 0);
            bool named = false;
            for (size_t k = 0; k < check.differences && k < EDITION_DIFFERENCES_MAX; k++)
                named |= strncmp(check.difference[k].pointer, rows[i].pointer,
                                 strlen(rows[i].pointer)) == 0;
            if (!named)
                fail_msg("%s: first difference at %s", rows[i].to, check.difference[0].pointer);
        } else {
            assert_int_not_equal(err.code, ERR_INTERNAL);
        }
        text_release(&spoilt);
    }
    text_release(&bundle);
}

static void hostile_documents_are_refused(void **state) {
    (void)state;
    static const char *const rows[] = {
        "",
        "{}",
        "[]",
        "{\"format\":\"noonarc-edition-1\"}",
        "{\"format\":\"noonarc-edition-1\",\"edition\":1,\"kind\":\"day\",\"published_utc\":"
        "\"2027-03-22T00:00:00Z\",\"changes\":[],\"method\":\"" REDUCE_METHOD
        "\",\"replaces\":null,\"records\":{\"days\":[{\"rules\":{\"day\":\"a\",\"date\":"
        "\"2027-03-21\"},\"withdrawn\":0,\"not_agreed\":0}],\"sites\":[],\"runs\":[{\"day\":"
        "\"a\",\"site\":\"b\",\"run\":1,\"sent\":{\"gnomon\":{\"parts\":[{\"length_mm\":1000}],"
        "\"edge\":\"umbra\"},\"readings\":[{\"time\":\"2027-03-21T12:00:00Z\",\"shadow_mm\":9}]}}"
        "],\"exclusions\":[]}}",
        "{\"format\":\"noonarc-edition-1\",\"edition\":1,\"kind\":\"day\",\"published_utc\":"
        "\"2027-03-22T00:00:00Z\",\"changes\":[],\"method\":\"other-9\",\"replaces\":null}",
        "{\"format\":\"noonarc-edition-1\",\"edition\":1,\"kind\":\"day\",\"published_utc\":"
        "\"2027-03-22T00:00:00Z\",\"changes\":[],\"method\":\"" REDUCE_METHOD
        "\",\"replaces\":null,\"records\":{\"days\":[],\"sites\":[1],\"runs\":[],"
        "\"exclusions\":[]}}",
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct edition_check check;
        struct err err = {0};
        assert_int_equal(edition_verify(rows[i], strlen(rows[i]), NULL, 0, &check, &err), -1);
        assert_true(err.code != ERR_INTERNAL && err.text[0] != '\0');
    }
}

static bool has_change(const json_t *document, const char *change, const char *words) {
    size_t i;
    const json_t *entry;
    json_array_foreach(json_object_get(document, "changes"), i, entry) {
        const char *said = json_string_value(json_object_get(entry, "words"));
        if (strcmp(json_string_value(json_object_get(entry, "change")), change) == 0 &&
            strstr(said, words) != NULL)
            return true;
    }
    return false;
}

static void a_correction_tells_its_changes(void **state) {
    struct fixture *f = *state;
    struct text first, second;
    struct err err = {0};
    struct edition_check check;
    assert_int_equal(publish(f, "", &first), 1);
    assert_int_equal(publish(f, "Nothing, really.", NULL), 0);
    assert_int_equal(f->err.code, ERR_NOTHING_CHANGED);
    err_clear(&f->err);

    say(f, runs[2], REVIEW_EXCLUDE, "The pole leaned.");
    int64_t corrected = fixture_run(f, "alba", "spring", 77, runs[0]);
    fixture_begin(f);
    assert_int_equal(fixture_end(f, accept_withdraw(f->change, &schools[4], runs[4], "moved",
                                                    FIXTURE_NOW_UTC_S, &f->err)),
                     0);
    assert_int_equal(publish(f, "", NULL), 0);
    assert_int_equal(f->err.code, ERR_MISSING_FIELD);
    assert_string_equal(f->err.field, "/reason");
    err_clear(&f->err);
    assert_int_equal(publish(f, "A leaning pole and a wrong digit.", &second), 2);
    assert_verified(&second, &first);

    json_t *document = parsed(&second);
    char words[80];
    snprintf(words, sizeof words, "run %lld in place of run %lld", (long long)corrected,
             (long long)runs[0]);
    assert_true(has_change(document, "run_corrected", words));
    assert_true(has_change(document, "excluded", "The pole leaned."));
    assert_true(has_change(document, "run_removed", "eria"));
    assert_true(has_change(document, "site_removed", "eria"));
    assert_true(has_change(document, "withdrawn", "1, before 0"));
    assert_true(has_change(document, "result", "before it was"));
    assert_int_equal(json_array_size(json_object_get(document, "changes")), 6);
    const json_t *result = json_object_get(json_object_get(document, "figures"), "result");
    const json_t *counts = json_object_get(result, "left_out_counts");
    assert_int_equal(json_integer_value(json_object_get(counts, "excluded")), 1);
    assert_int_equal(json_integer_value(json_object_get(counts, "withdrawn")), 1);
    json_decref(document);

    /* The excluded run is shown with its reduction all the same. */
    assert_non_null(strstr(second.bytes, "\"excluded\":[{\"excluded_utc\""));
    check = verified(&second, NULL);
    assert_int_equal(check.runs, SITES - 1);
    assert_false(check.changes_checked);
    assert_true(check.same);
    /* Another edition than the one replaced is not taken for it. */
    assert_int_equal(
        edition_verify(second.bytes, second.length, second.bytes, second.length, &check, &err), -1);
    assert_string_equal(err.field, "/replaces/sha256");

    struct edition_row row;
    assert_int_equal(edition_get(f->db, 1, &row, &f->err), 0);
    assert_int_equal(row.replaced_by, 2);
    free(row.head);
    text_release(&first);
    text_release(&second);
}

static void it_keeps_what_was_agreed_to(void **state) {
    struct fixture *f = *state;
    struct text first, second;
    enum edition_keeps keeps;
    assert_int_equal(edition_keeps_get(f->db, "alba", &keeps, &f->err), 0);
    assert_int_equal(keeps, KEEPS_NAMED);
    assert_int_equal(publish(f, "", &first), 1);
    assert_non_null(strstr(first.bytes, "brea"));
    keep(f, 1, KEEPS_UNNAMED);
    keep(f, 2, KEEPS_NONE);
    keep(f, 2, KEEPS_NONE); /* twice is once */
    assert_int_equal(fixture_count(f, "SELECT COUNT(*) FROM edition_consent"), 2);
    fixture_begin(f);
    assert_int_equal(fixture_end(f, edition_keeps_set(f->change, &schools[0], "brea", KEEPS_NONE,
                                                      FIXTURE_NOW_UTC_S, &f->err)),
                     -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    err_clear(&f->err);
    say(f, runs[2], REVIEW_EXCLUDE, "Of a school that keeps out.");

    assert_int_equal(publish(f, "Two schools thought again.", &second), 2);
    assert_verified(&second, &first);
    json_t *document = parsed(&second);
    const json_t *records = json_object_get(document, "records");
    assert_int_equal(json_array_size(json_object_get(records, "sites")), SITES - 1);
    assert_int_equal(json_array_size(json_object_get(records, "exclusions")), 0);
    const json_t *last = json_array_get(json_object_get(records, "sites"), SITES - 2);
    assert_string_equal(json_string_value(json_object_get(last, "site")), "unnamed-2");
    assert_true(json_is_null(json_object_get(last, "name")));
    char *text = json_dumps(records, 0);
    assert_null(strstr(text, "brea"));
    assert_null(strstr(text, "\"cima\""));
    assert_null(strstr(text, "School cima"));
    assert_null(strstr(text, "keeps out"));
    free(text);
    const json_t *counts = json_object_get(
        json_object_get(json_object_get(document, "figures"), "result"), "left_out_counts");
    assert_int_equal(json_integer_value(json_object_get(counts, "not_agreed")), 1);
    assert_int_equal(json_integer_value(json_object_get(counts, "excluded")), 0);
    json_decref(document);
    text_release(&first);
    text_release(&second);
}

/* A rounded position is published and used rounded, its rounding in sigma. */
static void a_rounded_position_enters_rounded(void **state) {
    struct fixture *f = *state;
    struct text first, second;
    assert_int_equal(publish(f, "", &first), 1);
    struct site_record site = fixture_site_record("cima", 44.0432, 3.0218), out;
    site.position_decimals = 1;
    fixture_begin(f);
    assert_int_equal(fixture_end(f, site_revise(f->change, &schools[2], &site, FIXTURE_NOW_UTC_S,
                                                &out, &f->err)),
                     0);
    assert_int_equal(publish(f, "A position is let out rounded.", &second), 2);
    assert_verified(&second, &first);
    assert_null(strstr(second.bytes, "44.04"));
    assert_null(strstr(second.bytes, "3.02"));
    json_t *one = parsed(&first), *two = parsed(&second);
    double before = 0.0, after = 0.0;
    for (size_t i = 0; i < SITES; i++) {
        json_t *documents[] = {one, two};
        double *sigma[] = {&before, &after};
        for (int k = 0; k < 2; k++) {
            const json_t *day = json_array_get(
                json_object_get(json_object_get(documents[k], "figures"), "days"), 0);
            const json_t *reduction = json_array_get(json_object_get(day, "reductions"), i);
            if (strcmp(json_string_value(json_object_get(reduction, "site")), "cima") == 0)
                *sigma[k] = json_number_value(json_object_get(reduction, "sigma_deg"));
        }
    }
    /* 0.1 degrees over the square root of 12 is 0.029 degrees. */
    assert_true(after * after > before * before + 0.0288 * 0.0288);
    assert_true(after < 0.2);
    json_decref(one);
    json_decref(two);
    text_release(&first);
    text_release(&second);
}

static void open_in_season(struct fixture *f, const char *day, const char *date) {
    struct day_record record, kept;
    day_record_init(&record);
    snprintf(record.day, sizeof record.day, "%s", day);
    snprintf(record.season, sizeof record.season, "year");
    assert_true(date_parse(date, &record.date));
    fixture_begin(f);
    assert_int_equal(fixture_end(f, day_open(f->change, &f->organiser, &record, FIXTURE_NOW_UTC_S,
                                             &kept, &f->err)),
                     0);
}

static int64_t send_on(struct fixture *f, size_t site, const char *day, const char *date,
                       uint64_t seed) {
    struct fixture_body body;
    const struct place place = {sites[site].lat_deg, 3.0, 200.0, 0.0};
    char key[40];
    fixture_join(f, day, sites[site].site);
    fixture_body(&body, sites[site].site, day, &place, date, seed, 0);
    snprintf(key, sizeof key, "season-%s-%zu", day, site);
    int64_t run = fixture_send(f, &f->organiser, &body, key, NULL);
    fixture_body_release(&body);
    return run;
}

/* The days of a season in one figure; what a site repeats at each of its noons keeps
 * it from being as sure as that many schools were. */
static void a_season_is_all_its_days(void **state) {
    struct fixture *f = *state;
    struct season_record season = {.season = "year", .name = "The year"}, made;
    struct edition_ready ready;
    const struct edition_ask ask = {0};
    fixture_begin(f);
    assert_int_equal(fixture_end(f, season_open(f->change, &f->organiser, &season,
                                                FIXTURE_NOW_UTC_S, &made, &f->err)),
                     0);
    open_in_season(f, "june", "2027-06-21");
    open_in_season(f, "april", "2027-04-20");
    open_in_season(f, "off", "2027-07-01");
    for (size_t i = 0; i < SITES; i++) {
        assert_true(send_on(f, i, "april", "2027-04-20", 50 + i) > 0);
        assert_true(send_on(f, i, "june", "2027-06-21", 60 + i) > 0);
    }
    assert_int_equal(edition_prepare(f->db, &f->organiser, EDITION_SEASON, "year", &ask,
                                     FIXTURE_NOW_UTC_S, &ready, &f->err),
                     0);
    assert_string_equal(ready.head.title, "The year");
    struct edition_check check = verified(&ready.bundle, NULL);
    assert_true(check.same);
    assert_int_equal(check.days, 3); /* one of them without a run */
    assert_int_equal(check.runs, 2 * SITES);
    assert_int_equal(check.headline.days, 2);
    assert_int_equal(check.headline.sites, SITES);
    json_t *document = parsed(&ready.bundle);
    const json_t *figures = json_object_get(document, "figures");
    const json_t *days = json_object_get(figures, "days");
    assert_string_equal(json_string_value(json_object_get(json_array_get(days, 0), "day")),
                        "april");
    const double one_km = json_number_value(
        json_object_get(json_object_get(json_array_get(days, 0), "result"), "internal_sigma_km"));
    const double both_km = number_at(document, "figures", "result", "internal_sigma_km");
    assert_true(both_km < one_km);
    assert_true(both_km > one_km / sqrt(2.0));
    json_decref(document);
    edition_ready_release(&ready);
}

static void only_organisers_publish(void **state) {
    struct fixture *f = *state;
    struct edition_ready ready;
    const struct edition_ask ask = {0};
    assert_int_equal(edition_prepare(f->db, &schools[0], EDITION_DAY, "spring", &ask,
                                     FIXTURE_NOW_UTC_S, &ready, &f->err),
                     -1);
    assert_int_equal(f->err.code, ERR_WRONG_KEY);
    edition_ready_release(&ready);
    err_clear(&f->err);
    assert_int_equal(edition_prepare(f->db, &f->organiser, EDITION_SEASON, "spring", &ask,
                                     FIXTURE_NOW_UTC_S, &ready, &f->err),
                     -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
    edition_ready_release(&ready);
    err_clear(&f->err);

    /* Two at one moment: the second one is told to look again. */
    struct edition_ready one, two;
    assert_int_equal(edition_prepare(f->db, &f->organiser, EDITION_DAY, "spring", &ask,
                                     FIXTURE_NOW_UTC_S, &one, &f->err),
                     0);
    assert_int_equal(edition_prepare(f->db, &f->organiser, EDITION_DAY, "spring", &ask,
                                     FIXTURE_NOW_UTC_S, &two, &f->err),
                     0);
    fixture_begin(f);
    assert_int_equal(fixture_end(f, edition_publish(f->change, &f->organiser, &one, &f->err)), 0);
    fixture_begin(f);
    assert_int_equal(fixture_end(f, edition_publish(f->change, &f->organiser, &two, &f->err)), -1);
    assert_int_equal(f->err.code, ERR_BUSY);
    edition_ready_release(&one);
    edition_ready_release(&two);
}

static void change_state(struct fixture *f, const char *day, enum day_state state) {
    const struct decision_record decision = {.state = state, .reason = "So it is."};
    struct day_record kept;
    fixture_begin(f);
    assert_int_equal(fixture_end(f, day_change_state(f->change, &f->organiser, day, &decision,
                                                     FIXTURE_NOW_UTC_S, &kept, &f->err)),
                     0);
}

static void assert_unpublished(struct fixture *f, const char *day, enum err_code code) {
    struct edition_ready ready;
    const struct edition_ask ask = {0};
    assert_int_equal(edition_prepare(f->db, &f->organiser, EDITION_DAY, day, &ask,
                                     FIXTURE_NOW_UTC_S, &ready, &f->err),
                     -1);
    assert_int_equal(f->err.code, code);
    edition_ready_release(&ready);
    err_clear(&f->err);
}

/* Of a day that nobody has seen as yet, of one to which nothing came in, and of one that
 * was called off nothing is published; of one that goes on, and of one that is over, what
 * stands. */
static void a_day_has_to_have_been(void **state) {
    struct fixture *f = *state;
    struct day_record planned, kept;
    day_record_init(&planned);
    snprintf(planned.day, sizeof planned.day, "later");
    assert_true(date_parse("2027-09-22", &planned.date));
    planned.state = DAY_PLANNED;
    fixture_begin(f);
    assert_int_equal(fixture_end(f, day_open(f->change, &f->organiser, &planned, FIXTURE_NOW_UTC_S,
                                             &kept, &f->err)),
                     0);
    assert_unpublished(f, "later", ERR_DAY_STATE);
    change_state(f, "later", DAY_ANNOUNCED);
    assert_unpublished(f, "later", ERR_NOTHING_TO_PUBLISH);
    change_state(f, "later", DAY_CLOSED);
    assert_unpublished(f, "later", ERR_NOTHING_TO_PUBLISH);
    assert_unpublished(f, "never", ERR_NOT_FOUND);

    change_state(f, "spring", DAY_CANCELLED);
    assert_unpublished(f, "spring", ERR_DAY_STATE);
    change_state(f, "spring", DAY_ANNOUNCED);
    assert_int_equal(publish(f, "", NULL), 1);
    change_state(f, "spring", DAY_CLOSED);
    /* What is out is corrected also where nothing is left. */
    for (size_t i = 0; i < SITES; i++) {
        fixture_begin(f);
        assert_int_equal(
            fixture_end(f, accept_withdraw(f->change, &f->organiser, runs[i],
                                           "All of it was made up.", FIXTURE_NOW_UTC_S, &f->err)),
            0);
    }
    assert_int_equal(publish(f, "All of it was made up.", NULL), 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(it_is_worked_out_again_to_the_same_bytes, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(what_was_tampered_with_is_named, set_up, tear_down),
        cmocka_unit_test(hostile_documents_are_refused),
        cmocka_unit_test_setup_teardown(a_correction_tells_its_changes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(it_keeps_what_was_agreed_to, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_rounded_position_enters_rounded, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_season_is_all_its_days, set_up, tear_down),
        cmocka_unit_test_setup_teardown(only_organisers_publish, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_day_has_to_have_been, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("rules editions", tests, NULL, NULL);
}
