/* SPDX-License-Identifier: MIT */
/* Organisers who log in, over HTTP: what a log-in gives and when it ends, that a
 * refusal tells nothing, that passwords hold nobody else up, and that a page's cookie
 * counts for pages of ours alone. Keys that are lost and codes that end, too. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <pthread.h>
#include <stdatomic.h>

#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define API "/api/v1"
#define NAME "maro"
#define PASSWORD "long shadows at noon"
#define GOOD "{\"name\":\"" NAME "\",\"password\":\"" PASSWORD "\"}"
#define WRONG "{\"name\":\"" NAME "\",\"password\":\"short shadows at noon\"}"
#define UNKNOWN "{\"name\":\"nobody\",\"password\":\"short shadows at noon\"}"
#define REMOVED "{\"name\":\"gone\",\"password\":\"" PASSWORD "\"}"

static struct served served;
static struct school puna = {
    .site = "puna", .name = "Puna School", .lat_deg = -22.7213, .lon_deg = -65.6972, .gnomon_m = 1};

static void post(const char *path, const char *key, const char *body, struct answer *answer) {
    http_ask(served.base,
             &(struct ask){.method = "POST",
                           .path = path,
                           .key = key,
                           .type = body == NULL ? NULL : "application/json",
                           .body = body},
             answer);
}

static void log_in(const char *body, char token[64]) {
    json_t *made = http_send(served.base, "POST", API "/session", NULL, body, 201);
    snprintf(token, 64, "%s", json_string_value(json_object_get(made, "token")));
    assert_int_equal(strlen(token), 26);
    json_decref(made);
}

static const char *member(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    return text == NULL ? "" : text;
}

static long asked_with(const char *key) {
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = API "/session", .key = key}, &answer);
    long status = answer.status;
    answer_release(&answer);
    return status;
}

static long passwords_computed(void) {
    static const char name[] = "\nnoonarc_passwords_computed_total ";
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = "/metrics"}, &answer);
    const char *at = strstr(answer.body.bytes, name);
    assert_non_null(at);
    long count = strtol(at + strlen(name), NULL, 10);
    answer_release(&answer);
    return count;
}

static void a_log_in_and_its_end(void **state) {
    char token[64];
    (void)state;
    log_in(GOOD, token);
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = API "/session", .key = token}, &answer);
    assert_int_equal(answer.status, 200);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-store"));
    assert_string_equal(member(answer.json, "role"), "organiser");
    assert_string_equal(member(answer.json, "name"), NAME);
    assert_int_equal(strlen(member(answer.json, "expires_utc")), strlen("2027-03-21T12:00:00Z"));
    answer_release(&answer);
    json_decref(
        http_send(served.base, "POST", API "/days", token, "{\"date\":\"2027-03-20\"}", 201));
    json_decref(http_send(served.base, "DELETE", API "/session", token, NULL, 204));
    assert_int_equal(asked_with(token), 401);
    assert_int_equal(asked_with(NULL), 401);
    json_decref(
        http_send(served.base, "POST", API "/days", token, "{\"date\":\"2027-03-21\"}", 401));
}

/* One computation each, of the same cost, and the very same answer: the computation is
 * all that takes time, so neither clock nor words tell whether a name exists. */
static void a_refusal_tells_nothing(void **state) {
    static const char *const bodies[] = {WRONG, UNKNOWN, REMOVED};
    struct answer first, answer;
    (void)state;
    json_decref(http_send(served.base, "POST", API "/organisers", served.organiser,
                          "{\"name\":\"gone\",\"password\":\"" PASSWORD "\"}", 201));
    json_decref(
        http_send(served.base, "DELETE", API "/organisers/gone", served.organiser, NULL, 204));
    for (size_t i = 0; i < 3; i++) {
        long before = passwords_computed();
        post(API "/session", NULL, bodies[i], &answer);
        assert_int_equal(passwords_computed() - before, 1);
        answer_assert_problem(&answer, 401, "wrong_key", NULL);
        if (i == 0) {
            first = answer;
            continue;
        }
        assert_string_equal(answer.body.bytes, first.body.bytes);
        answer_release(&answer);
    }
    answer_release(&first);
    long before = passwords_computed();
    char token[64];
    log_in(GOOD, token);
    assert_int_equal(passwords_computed() - before, 1);
}

#define AT_ONCE 6

static atomic_int over;

static void *log_in_once(void *context) {
    long *status = context;
    struct answer answer;
    post(API "/session", NULL, UNKNOWN, &answer);
    *status = answer.status;
    answer_release(&answer);
    atomic_fetch_add(&over, 1);
    return NULL;
}

/* While passwords are computed, reads and writes go on: many of each are done before
 * the last log-in is refused. Both take turns with it, were they held up by it. */
static void passwords_hold_nobody_up(void **state) {
    pthread_t thread[AT_ONCE];
    long status[AT_ONCE];
    int reads = 0, writes = 0;
    (void)state;
    atomic_store(&over, 0);
    for (size_t i = 0; i < AT_ONCE; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, log_in_once, &status[i]), 0);
    while (atomic_load(&over) < AT_ONCE) {
        json_decref(http_get(served.base, API "/sites", 200));
        reads++;
        struct answer answer;
        post(API "/sites/puna/class_code", puna.key, NULL, &answer);
        assert_int_equal(answer.status, 201);
        snprintf(puna.code, sizeof puna.code, "%s", member(answer.json, "class_code"));
        answer_release(&answer);
        writes++;
    }
    for (size_t i = 0; i < AT_ONCE; i++) {
        pthread_join(thread[i], NULL);
        assert_int_equal(status[i], 401);
    }
    assert_true(reads > 2 * AT_ONCE && writes > 2 * AT_ONCE);
}

static void ask_by_cookie(const char *method, const char *path, const char *cookie,
                          const char *origin, const char *fetch_site, struct answer *answer) {
    char header[2][160] = {"", ""};
    struct ask ask = {.method = method, .path = path, .header = {cookie}};
    int headers = 1;
    if (origin != NULL) {
        snprintf(header[0], sizeof header[0], "Origin: %s", origin);
        ask.header[headers++] = header[0];
    }
    if (fetch_site != NULL) {
        snprintf(header[1], sizeof header[1], "Sec-Fetch-Site: %s", fetch_site);
        ask.header[headers++] = header[1];
    }
    http_ask(served.base, &ask, answer);
}

static void a_cookie_counts_for_our_pages_alone(void **state) {
    static const char path[] = API "/sites/puna/class_code";
    char set[256], cookie[200] = "Cookie: ";
    struct answer answer;
    (void)state;
    char body[160];
    snprintf(body, sizeof body, "{\"key\":\"%s\",\"cookie\":true}", puna.key);
    post(API "/session", NULL, body, &answer);
    assert_int_equal(answer.status, 201);
    assert_null(json_object_get(answer.json, "token"));
    assert_string_equal(member(answer.json, "site"), "puna");
    answer_header(&answer, "Set-Cookie", set, sizeof set);
    assert_int_equal(strncmp(set, "noonarc_session=", 16), 0);
    assert_non_null(strstr(set, "; HttpOnly; SameSite=Strict; Path=/api; Max-Age=43200"));
    assert_null(strstr(set, "Secure")); /* it came over plain HTTP */
    answer_release(&answer);
    strncat(cookie, set, strcspn(set, ";"));

    const char *ours = served.base;
    const struct {
        const char *origin, *fetch_site;
        long status;
    } rows[] = {
        {ours, NULL, 201},
        {NULL, "same-origin", 201},
        {ours, "same-origin", 201},
        {NULL, NULL, 403},
        {"http://elsewhere.example", NULL, 403},
        {"null", NULL, 403},
        {ours, "cross-site", 403},
        {ours, "same-site", 403},
        {ours, "none", 403},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        ask_by_cookie("POST", path, cookie, rows[i].origin, rows[i].fetch_site, &answer);
        assert_int_equal(answer.status, rows[i].status);
        if (rows[i].status == 403)
            answer_assert_problem(&answer, 403, "cross_origin", NULL);
        else
            snprintf(puna.code, sizeof puna.code, "%s", member(answer.json, "class_code"));
        answer_release(&answer);
    }
    /* Reading changes nothing and needs no origin. */
    ask_by_cookie("GET", API "/session", cookie, NULL, NULL, &answer);
    assert_int_equal(answer.status, 200);
    assert_string_equal(member(answer.json, "role"), "school");
    answer_release(&answer);
    ask_by_cookie("GET", API "/sites/puna", cookie, NULL, NULL, &answer);
    assert_string_equal(member(answer.json, "contact"), "office@example.org");
    answer_release(&answer);
    /* Out: the cookie is taken back, and what it was is worth nothing. */
    ask_by_cookie("DELETE", API "/session", cookie, ours, NULL, &answer);
    assert_int_equal(answer.status, 204);
    answer_header(&answer, "Set-Cookie", set, sizeof set);
    assert_non_null(strstr(set, "noonarc_session=; "));
    assert_non_null(strstr(set, "Max-Age=0"));
    answer_release(&answer);
    ask_by_cookie("POST", path, cookie, ours, NULL, &answer);
    assert_int_equal(answer.status, 401);
    answer_release(&answer);
    /* A reader with a stale cookie is a reader like all others. */
    ask_by_cookie("GET", API "/sites/puna", cookie, NULL, NULL, &answer);
    assert_int_equal(answer.status, 200);
    assert_null(json_object_get(answer.json, "contact"));
    answer_release(&answer);
}

/* A school's key was lost: an organiser gives it another. What was begun with the old
 * one is over. */
static void a_lost_key_is_replaced(void **state) {
    char session[64], body[160], old[64];
    struct answer answer;
    (void)state;
    snprintf(body, sizeof body, "{\"key\":\"%s\"}", puna.key);
    log_in(body, session);
    assert_int_equal(asked_with(session), 200);
    post(API "/sites/puna/school_key", puna.code, NULL, &answer);
    assert_int_equal(answer.status, 401);
    answer_release(&answer);
    post(API "/sites/puna/school_key", served.organiser, NULL, &answer);
    assert_int_equal(answer.status, 201);
    assert_true(answer_header_is(&answer, "Cache-Control", "no-store"));
    snprintf(old, sizeof old, "%s", puna.key);
    snprintf(puna.key, sizeof puna.key, "%s", member(answer.json, "school_key"));
    answer_release(&answer);
    assert_int_equal(asked_with(old), 401);
    assert_int_equal(asked_with(session), 401);
    assert_int_equal(asked_with(puna.key), 200);
    assert_int_equal(asked_with(puna.code), 200);
}

static void a_class_code_can_be_taken_back(void **state) {
    struct answer answer;
    (void)state;
    http_ask(
        served.base,
        &(struct ask){.method = "DELETE", .path = API "/sites/puna/class_code", .key = puna.key},
        &answer);
    assert_int_equal(answer.status, 204);
    answer_release(&answer);
    assert_int_equal(asked_with(puna.code), 401);
    post(API "/sites/puna/class_code", puna.key, "{\"valid_h\":1}", &answer);
    assert_int_equal(answer.status, 201);
    snprintf(puna.code, sizeof puna.code, "%s", member(answer.json, "class_code"));
    assert_int_equal(strlen(member(answer.json, "expires_utc")), strlen("2027-03-21T12:00:00Z"));
    answer_release(&answer);
    post(API "/sites/puna/class_code", puna.key, "{\"valid_h\":8785}", &answer);
    answer_assert_problem(&answer, 422, "out_of_range", "/valid_h");
    answer_release(&answer);
}

static void passwords_change(void **state) {
    static const char path[] = API "/organisers/" NAME "/password";
    char mine[64], other[64];
    struct answer answer;
    (void)state;
    log_in(GOOD, mine);
    log_in(GOOD, other);
    json_decref(
        http_send(served.base, "PUT", path, mine, "{\"password\":\"a new long one\"}", 422));
    json_decref(http_send(served.base, "PUT", path, mine,
                          "{\"password\":\"a new long one\",\"old_password\":\"not this one\"}",
                          401));
    json_decref(http_send(served.base, "PUT", path, mine, "{\"password\":\"too short\"}", 422));
    json_decref(http_send(served.base, "PUT", path, mine,
                          "{\"password\":\"a new long one\",\"old_password\":\"" PASSWORD "\"}",
                          204));
    assert_int_equal(asked_with(mine), 200);
    assert_int_equal(asked_with(other), 401);
    post(API "/session", NULL, GOOD, &answer);
    assert_int_equal(answer.status, 401);
    answer_release(&answer);
    /* Another organiser helps one who forgot. */
    json_decref(http_send(served.base, "PUT", path, served.organiser,
                          "{\"password\":\"" PASSWORD "\"}", 204));
    assert_int_equal(asked_with(mine), 401);
    json_decref(http_send(served.base, "PUT", API "/organisers/nobody/password", served.organiser,
                          "{\"password\":\"" PASSWORD "\"}", 404));
    json_decref(
        http_send(served.base, "PUT", path, puna.key, "{\"password\":\"" PASSWORD "\"}", 401));
}

static void somebody_is_left_to_organise(void **state) {
    struct answer answer;
    (void)state;
    http_ask(served.base, &(struct ask){.path = API "/organisers", .key = served.organiser},
             &answer);
    const json_t *organisers = json_object_get(answer.json, "organisers");
    assert_int_equal(json_array_size(organisers), 2);
    assert_string_equal(member(json_array_get(organisers, 0), "name"), "Meridian Office");
    assert_string_equal(member(json_array_get(organisers, 0), "organiser"), "meridian-office");
    assert_string_equal(member(json_array_get(organisers, 1), "comes_with"), "password");
    answer_release(&answer);
    char token[64];
    log_in(GOOD, token);
    json_decref(
        http_send(served.base, "DELETE", API "/organisers/meridian-office", token, NULL, 204));
    assert_int_equal(asked_with(served.organiser), 401);
    http_ask(served.base,
             &(struct ask){.method = "DELETE", .path = API "/organisers/" NAME, .key = token},
             &answer);
    answer_assert_problem(&answer, 409, "last_organiser", NULL);
    answer_release(&answer);
    json_t *made =
        http_send(served.base, "POST", API "/organisers", token, "{\"name\":\"office\"}", 201);
    snprintf(served.organiser, sizeof served.organiser, "%s", member(made, "key"));
    json_decref(made);
    assert_int_equal(asked_with(served.organiser), 200);
}

/* Whoever has the store has no secret of it. */
static void the_store_holds_no_secret(void **state) {
    char token[64], path[320];
    static const char *const endings[] = {"", "-wal"};
    (void)state;
    log_in(GOOD, token);
    const char *const secrets[] = {token, puna.key, puna.code, served.organiser, PASSWORD};
    for (size_t e = 0; e < 2; e++) {
        snprintf(path, sizeof path, "%s%s", served.store, endings[e]);
        FILE *file = fopen(path, "rb");
        assert_non_null(file);
        static char bytes[1 << 23];
        size_t length = fread(bytes, 1, sizeof bytes, file);
        fclose(file);
        assert_true(length > 0 && length < sizeof bytes);
        for (size_t i = 0; i < sizeof secrets / sizeof secrets[0]; i++)
            assert_null(memmem(bytes, length, secrets[i], strlen(secrets[i])));
    }
}

#define GUESSES 3 /* a minute */

/* One every twenty seconds, and a minute's worth at once; last, for it uses them up. */
static void guessing_is_slow(void **state) {
    (void)state;
    long before = passwords_computed(), tries = 0, status = 401;
    for (; tries < 4 * GUESSES && status == 401; tries++) {
        struct answer answer;
        post(API "/session", NULL, WRONG, &answer);
        status = answer.status;
        if (status == 429) {
            char seconds[16];
            answer_assert_problem(&answer, 429, "too_many_requests", NULL);
            answer_header(&answer, "Retry-After", seconds, sizeof seconds);
            assert_true(strtol(seconds, NULL, 10) >= 1);
        }
        answer_release(&answer);
    }
    assert_int_equal(status, 429);
    assert_int_equal(tries, GUESSES + 1);
    assert_int_equal(passwords_computed() - before, tries - 1);
    /* Keys are not guessed at, and go on. */
    assert_int_equal(asked_with(puna.key), 200);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    school_register(served.base, &puna);
    json_decref(http_send(served.base, "POST", API "/organisers", served.organiser, GOOD, 201));
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

/* A server of its own, whose address has asked for nothing yet. */
static int restart(void **state) {
    (void)state;
    assert_int_equal(served_stop(&served, 15), 0);
    served_start(&served);
    return 0;
}

static int restart_with_few_guesses(void **state) {
    (void)state;
    assert_int_equal(served_stop(&served, 15), 0);
    setenv("NOONARC_ADDRESS_LOGINS", "3", 1);
    served_start(&served);
    unsetenv("NOONARC_ADDRESS_LOGINS");
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_log_in_and_its_end),
        cmocka_unit_test(a_refusal_tells_nothing),
        cmocka_unit_test_setup(passwords_hold_nobody_up, restart),
        cmocka_unit_test(a_cookie_counts_for_our_pages_alone),
        cmocka_unit_test(a_lost_key_is_replaced),
        cmocka_unit_test(a_class_code_can_be_taken_back),
        cmocka_unit_test(passwords_change),
        cmocka_unit_test(somebody_is_left_to_organise),
        cmocka_unit_test(the_store_holds_no_secret),
        cmocka_unit_test_setup(guessing_is_slow, restart_with_few_guesses),
    };
    return cmocka_run_group_tests_name("http accounts", tests, start, stop);
}
