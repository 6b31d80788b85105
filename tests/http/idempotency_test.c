/* SPDX-License-Identifier: MIT */
/* A run, or a registration, sent again: after a lost answer, after the service died and came back,
 * at the very same moment. It is there once, and the answer is always the first,
 * byte for byte. (Answers are kept with their runs, which are kept for ever.) */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <signal.h>
#include <unistd.h>

#include "tests/support/http.h"
#include "tests/support/raw.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define SCHOOLS 12
#define PATIENCE_MS 20000

static struct served served;
static struct school schools[SCHOOLS];
static char names[SCHOOLS][24];

static void send_run(const struct school *school, const char *key, const char *idempotency,
                     const struct text *body, struct answer *answer) {
    char path[200], line[100];
    snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/%s/runs", school->site);
    snprintf(line, sizeof line, "Idempotency-Key: %s", idempotency);
    const struct ask ask = {.method = "POST",
                            .path = path,
                            .key = key,
                            .type = "application/json",
                            .body = body->bytes,
                            .length = body->length,
                            .header = {line}};
    http_ask(served.base, &ask, answer);
}

static void assert_same(const struct answer *first, const struct answer *again) {
    char location[200];
    assert_int_equal(first->status, 201);
    assert_int_equal(again->status, 201);
    assert_int_equal(first->body.length, again->body.length);
    assert_memory_equal(first->body.bytes, again->body.bytes, first->body.length);
    answer_header(first, "Location", location, sizeof location);
    assert_true(answer_header_is(again, "Location", location));
}

/* Current runs of the day that a site has. */
static int runs_of(const char *site) {
    json_t *page = http_get(served.base, "/api/v1/days/" DAY "/runs?limit=500", 200);
    const json_t *entry;
    size_t i;
    int count = 0;
    json_array_foreach(json_object_get(page, "runs"), i, entry) {
        const json_t *run = json_object_get(entry, "run");
        const char *of = json_string_value(json_object_get(run == NULL ? entry : run, "site"));
        assert_non_null(of);
        count += strcmp(of, site) == 0;
    }
    json_decref(page);
    return count;
}

static void measure(const struct school *school, uint64_t seed, struct text *body) {
    text_init(body, 65536);
    school_measure(school, DAY, seed, 0, body);
}

static void again_and_after_a_restart(void **state) {
    const struct school *school = &schools[0];
    struct answer first, again;
    struct text body;
    (void)state;
    measure(school, 1, &body);
    send_run(school, school->code, "first-run-1", &body, &first);
    send_run(school, school->code, "first-run-1", &body, &again);
    assert_same(&first, &again);
    answer_release(&again);
    /* Others come in between, so that the answer could not be made anew alike. */
    struct text other;
    struct answer others;
    measure(&schools[1], 2, &other);
    send_run(&schools[1], schools[1].code, "other-run-1", &other, &others);
    assert_int_equal(others.status, 201);
    answer_release(&others);
    text_release(&other);
    static const int ends[] = {SIGTERM, SIGKILL};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        (void)served_stop(&served, ends[i]);
        served_start(&served);
        send_run(school, school->code, "first-run-1", &body, &again);
        assert_same(&first, &again);
        answer_release(&again);
    }
    assert_int_equal(runs_of(school->site), 1);
    answer_release(&first);
    text_release(&body);
}

/* After a correction, the retry of the first still gets the first answer. */
static void a_retry_after_a_correction(void **state) {
    const struct school *school = &schools[2];
    struct answer first, corrected, again;
    struct text body, correction;
    (void)state;
    measure(school, 3, &body);
    send_run(school, school->code, "run-to-correct", &body, &first);
    assert_int_equal(first.status, 201);
    int64_t id =
        json_integer_value(json_object_get(json_object_get(first.json, "run"), "id") != NULL
                               ? json_object_get(json_object_get(first.json, "run"), "id")
                               : json_object_get(json_object_get(first.json, "run"), "run"));
    text_init(&correction, 65536);
    school_measure(school, DAY, 4, id, &correction);
    send_run(school, school->code, "the-correction", &correction, &corrected);
    assert_int_equal(corrected.status, 201);
    send_run(school, school->code, "run-to-correct", &body, &again);
    assert_same(&first, &again);
    assert_int_equal(runs_of(school->site), 1);
    answer_release(&first);
    answer_release(&corrected);
    answer_release(&again);
    text_release(&body);
    text_release(&correction);
}

static void the_key_with_another_body(void **state) {
    const struct school *school = &schools[3];
    struct answer first, other;
    struct text body, changed;
    (void)state;
    measure(school, 5, &body);
    measure(school, 6, &changed);
    send_run(school, school->code, "one-key-only", &body, &first);
    assert_int_equal(first.status, 201);
    send_run(school, school->code, "one-key-only", &changed, &other);
    answer_assert_problem(&other, 422, "idempotency_key_reused", "Idempotency-Key");
    answer_release(&other);
    /* The key is its credential's: with another one it is another key. */
    send_run(school, school->key, "one-key-only", &body, &other);
    answer_assert_problem(&other, 409, "run_exists", "/supersedes");
    answer_release(&other);
    answer_release(&first);
    text_release(&body);
    text_release(&changed);
}

/* A refusal is not an answer to keep: mended, the run may use the key. */
static void a_refusal_leaves_the_key_free(void **state) {
    const struct school *school = &schools[4];
    struct answer answer;
    struct text wrong, body;
    (void)state;
    text_init(&wrong, 100);
    text_put(&wrong, "{\"readings\":[]}");
    measure(school, 7, &body);
    send_run(school, school->code, "mended-run", &wrong, &answer);
    assert_int_equal(answer.status, 422);
    answer_release(&answer);
    send_run(school, school->code, "mended-run", &body, &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    text_release(&wrong);
    text_release(&body);
}

static void write_request(const struct school *school, const char *idempotency,
                          const struct text *body, struct text *out) {
    text_init(out, 131072);
    text_format(out,
                "POST /api/v1/days/" DAY "/sites/%s/runs HTTP/1.1\r\nHost: a\r\n"
                "Authorization: Bearer %s\r\nIdempotency-Key: %s\r\nConnection: close\r\n"
                "Content-Type: application/json\r\nContent-Length: %zu\r\n\r\n",
                school->site, school->code, idempotency, body->length);
    text_add(out, body->bytes, body->length);
    assert_false(out->failed);
}

/* The network is cut at any point of the request, or after it: the retry answers
 * as if it were the first, and there is one run. */
static void a_lost_answer(void **state) {
    const struct school *school = &schools[5];
    struct answer first, again;
    struct text body, request;
    (void)state;
    measure(school, 8, &body);
    write_request(school, "lost-answer", &body, &request);
    const size_t lengths[] = {10, request.length - body.length, request.length - 1, request.length};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        int socket_of = raw_dial(served.base, "127.0.0.1");
        char kept = request.bytes[lengths[i]];
        request.bytes[lengths[i]] = '\0';
        raw_say(socket_of, request.bytes);
        request.bytes[lengths[i]] = kept;
        close(socket_of);
    }
    send_run(school, school->code, "lost-answer", &body, &first);
    send_run(school, school->code, "lost-answer", &body, &again);
    assert_same(&first, &again);
    assert_int_equal(runs_of(school->site), 1);
    answer_release(&first);
    answer_release(&again);
    text_release(&request);
    text_release(&body);
}

/* ---- registrations ---- */

static void send_site(const char *idempotency, const char *body, struct answer *answer) {
    char line[160];
    snprintf(line, sizeof line, "Idempotency-Key: %s", idempotency);
    const struct ask ask = {.method = "POST",
                            .path = "/api/v1/sites",
                            .type = "application/json",
                            .body = body,
                            .header = {line}};
    http_ask(served.base, &ask, answer);
}

static const char *text_of(const struct answer *answer, const char *key) {
    const char *text = json_string_value(json_object_get(answer->json, key));
    assert_non_null(text);
    return text;
}

static void assert_store_without(const char *word) {
    static char bytes[1 << 23];
    FILE *file = fopen(served.store, "rb");
    assert_non_null(file);
    size_t length = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    assert_true(length > 0 && length < sizeof bytes);
    if (memmem(bytes, length, word, strlen(word)) != NULL)
        fail_msg("%s stands in the store", word);
}

#define VALLEY_KEY "b7f1c2d98e604a35b2c17d0e9f348a61"
#define VALLEY                                                                                     \
    "{\"name\":\"Valley "                                                                          \
    "School\",\"lat_deg\":-31.5,\"lon_deg\":-68.5,\"contact\":\"a@example.org\"}"

/* The answer to a registration is lost; sent again it is the same, secrets and all, and
 * the secrets work. Without the key it is the duplicate that it always was. */
static void a_registration_again(void **state) {
    struct answer first, again;
    (void)state;
    send_site(VALLEY_KEY, VALLEY, &first);
    assert_int_equal(first.status, 201);
    assert_true(answer_header_is(&first, "Cache-Control", "no-store"));
    static const int ends[] = {0, SIGTERM, SIGKILL};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        if (ends[i] != 0) {
            (void)served_stop(&served, ends[i]);
            served_start(&served);
        }
        send_site(VALLEY_KEY, VALLEY, &again);
        assert_same(&first, &again);
        answer_release(&again);
    }
    const char *const secrets[] = {text_of(&first, "school_key"), text_of(&first, "class_code")};
    static const char *const roles[] = {"school", "class"};
    for (size_t i = 0; i < 2; i++) {
        http_ask(served.base, &(struct ask){.path = "/api/v1/session", .key = secrets[i]}, &again);
        assert_int_equal(again.status, 200);
        assert_string_equal(text_of(&again, "role"), roles[i]);
        assert_string_equal(text_of(&again, "site"), "valley-school");
        answer_release(&again);
    }
    http_ask(
        served.base,
        &(struct ask){
            .method = "POST", .path = "/api/v1/sites", .type = "application/json", .body = VALLEY},
        &again);
    answer_assert_problem(&again, 409, "site_duplicate", "/name");
    answer_release(&again);
    send_site("another-key-from-chance-1", VALLEY, &again);
    answer_assert_problem(&again, 409, "site_duplicate", "/name");
    answer_release(&again);
    /* A change in between is none of the registration's. */
    json_decref(http_send(served.base, "PUT", "/api/v1/sites/valley-school", secrets[0],
                          "{\"name\":\"Upper Valley School\",\"lat_deg\":-31.5,"
                          "\"lon_deg\":-68.5}",
                          200));
    send_site(VALLEY_KEY, VALLEY, &again);
    assert_same(&first, &again);
    answer_release(&again);
    /* Neither the secrets nor what they are made from can be read in the store. */
    (void)served_stop(&served, SIGTERM);
    assert_store_without(VALLEY_KEY);
    assert_store_without(secrets[0]);
    assert_store_without(secrets[1]);
    served_start(&served);
    answer_release(&first);
}

static void keys_of_registrations(void **state) {
    struct answer answer;
    (void)state;
    send_site(VALLEY_KEY, "{\"name\":\"Other School\",\"lat_deg\":-30.5,\"lon_deg\":-68.5}",
              &answer);
    answer_assert_problem(&answer, 422, "idempotency_key_reused", "Idempotency-Key");
    answer_release(&answer);
    /* Guessed in no time, it would give the secrets away. */
    send_site("one-two-three", "{\"name\":\"Other School\",\"lat_deg\":-30.5,\"lon_deg\":-68.5}",
              &answer);
    answer_assert_problem(&answer, 400, "bad_header", "Idempotency-Key");
    answer_release(&answer);
    /* A refusal leaves the key free. */
    send_site("a-key-that-is-free-again",
              "{\"name\":\"Other School\",\"lat_deg\":-130.5,\"lon_deg\":-68.5}", &answer);
    assert_int_equal(answer.status, 422);
    answer_release(&answer);
    send_site("a-key-that-is-free-again",
              "{\"name\":\"Other School\",\"lat_deg\":-30.5,\"lon_deg\":-68.5}", &answer);
    assert_int_equal(answer.status, 201);
    /* A school that was taken out is not answered for any more. */
    json_decref(http_send(served.base, "DELETE", "/api/v1/sites/other-school",
                          text_of(&answer, "school_key"), NULL, 200));
    struct answer anew;
    send_site("a-key-that-is-free-again",
              "{\"name\":\"Other School\",\"lat_deg\":-30.5,\"lon_deg\":-68.5}", &anew);
    assert_int_equal(anew.status, 201);
    assert_string_not_equal(text_of(&anew, "school_key"), text_of(&answer, "school_key"));
    answer_release(&anew);
    answer_release(&answer);
}

/* Sixteen of the same at once, for six schools: one run each, and sixteen times
 * the same answer. */
static void at_the_same_moment(void **state) {
    enum { SAME = 16 };
    static char answers[SAME][65536];
    int sockets[SAME];
    (void)state;
    for (int s = 6; s < SCHOOLS; s++) {
        struct text body, request;
        measure(&schools[s], (uint64_t)s + 10, &body);
        write_request(&schools[s], "same-moment", &body, &request);
        for (int i = 0; i < SAME; i++)
            sockets[i] = raw_dial(served.base, "127.0.0.1");
        for (int i = 0; i < SAME; i++)
            raw_say(sockets[i], request.bytes);
        for (int i = 0; i < SAME; i++) {
            int status = raw_hear(sockets[i], PATIENCE_MS, answers[i], sizeof answers[i]);
            if (status != 201)
                fail_msg("%d: %s", status, answers[i]);
            close(sockets[i]);
            assert_string_equal(strstr(answers[i], "\r\n\r\n"), strstr(answers[0], "\r\n\r\n"));
        }
        assert_int_equal(runs_of(schools[s].site), 1);
        text_release(&request);
        text_release(&body);
    }
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\"}", 201));
    for (int i = 0; i < SCHOOLS; i++) {
        snprintf(names[i], sizeof names[i], "school-%d", i);
        schools[i] = (struct school){.site = names[i],
                                     .name = names[i],
                                     .lat_deg = 30.0 + 1.5 * i,
                                     .lon_deg = 3.2,
                                     .gnomon_m = 1.2};
        school_register(served.base, &schools[i]);
        school_join(served.base, &schools[i], DAY);
    }
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(again_and_after_a_restart),
        cmocka_unit_test(a_retry_after_a_correction),
        cmocka_unit_test(the_key_with_another_body),
        cmocka_unit_test(a_refusal_leaves_the_key_free),
        cmocka_unit_test(a_lost_answer),
        cmocka_unit_test(a_registration_again),
        cmocka_unit_test(keys_of_registrations),
        cmocka_unit_test(at_the_same_moment),
    };
    return cmocka_run_group_tests_name("http idempotency", tests, start, stop);
}
