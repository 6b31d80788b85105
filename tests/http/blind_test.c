/* SPDX-License-Identifier: MIT */
/* A blind day over HTTP: until a site has handed in, no read of the interface has a
 * number in it that is its expected angle or shadow. Every route of the table that
 * reads about a day or a site is asked, and every number of the answers looked at. The
 * Sun of a date and what was measured elsewhere are what everyone may compute with. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/http/routes.h"
#include "tests/support/http.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define API "/api/v1"
#define DAY "2027-03-20"

static struct served served;
/* Latitudes whose noon angles (less about -0.1 degrees) are no other number about. */
static struct school north = {.site = "causse-school",
                              .name = "Causse School",
                              .lat_deg = 47.31,
                              .lon_deg = 3.2,
                              .gnomon_m = 1.7};
static struct school south = {
    .site = "tell-school", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.5};

static double told_angle_deg, told_shadow_mm; /* of north, by a day that is not blind */

static json_t *plan_of(const char *day, const char *site) {
    char path[200];
    snprintf(path, sizeof path, API "/days/%s/sites/%s/plan", day, site);
    return http_get(served.base, path, 200);
}

static double number_of(const json_t *plan, const char *key) {
    return json_number_value(
        json_object_get(json_array_get(json_object_get(plan, "dates"), 0), key));
}

/* Within a tenth of a degree of the angle, either sign, or a hundredth of the shadow,
 * in millimetres or metres. */
static bool tells(double value) {
    return fabs(fabs(value) - fabs(told_angle_deg)) < 0.1 ||
           fabs(value - told_shadow_mm) < 0.01 * told_shadow_mm ||
           fabs(1000.0 * value - told_shadow_mm) < 0.01 * told_shadow_mm;
}

/* The path of the first number that tells, "" none. Positions are no secret. */
static bool search(const json_t *value, char *where, size_t size) {
    size_t length = strlen(where), i;
    const char *key;
    json_t *inner;
    if (json_is_number(value))
        return tells(json_number_value(value));
    json_object_foreach((json_t *)(uintptr_t)value, key, inner) {
        if (strcmp(key, "lat_deg") == 0 || strcmp(key, "lon_deg") == 0)
            continue;
        snprintf(where + length, size - length, "/%s", key);
        if (search(inner, where, size))
            return true;
        where[length] = '\0';
    }
    json_array_foreach(value, i, inner) {
        snprintf(where + length, size - length, "/%zu", i);
        if (search(inner, where, size))
            return true;
        where[length] = '\0';
    }
    return false;
}

/* The pattern with this day, these sites and nothing else open; "" when more is. */
static void fill(const char *pattern, char *out, size_t size) {
    static const struct {
        const char *hole, *word;
    } words[] = {{"{day}", DAY}, {"{site}", "causse-school"}, {"{partner}", "tell-school"}};
    out[0] = '\0';
    size_t length = 0;
    while (*pattern != '\0' && length + 64 < size) {
        const char *word = NULL;
        for (size_t i = 0; i < sizeof words / sizeof words[0] && *pattern == '{'; i++)
            if (strncmp(pattern, words[i].hole, strlen(words[i].hole)) == 0) {
                word = words[i].word;
                pattern += strlen(words[i].hole);
                break;
            }
        if (word == NULL && *pattern == '{') {
            out[0] = '\0';
            return;
        }
        length += (size_t)snprintf(out + length, size - length, word == NULL ? "%.1s" : "%s",
                                   word == NULL ? pattern++ : word);
    }
}

static int ask_all(const char *key) {
    int asked = 0;
    for (int i = 0; i < routes_count; i++) {
        char path[300], where[400] = "";
        struct answer answer;
        fill(routes[i].pattern, path, sizeof path);
        if (routes[i].method != METHOD_GET || strncmp(path, API, strlen(API)) != 0 ||
            strstr(path, "/live") != NULL || strstr(path, "openapi") != NULL)
            continue;
        http_ask(served.base, &(struct ask){.path = path, .key = key}, &answer);
        if (answer.status == 200)
            asked++;
        if (search(answer.json, where, sizeof where))
            fail_msg("%s tells at %s", path, where);
        answer_release(&answer);
    }
    return asked;
}

static void nothing_tells_beforehand(void **state) {
    (void)state;
    int asked = ask_all(NULL);
    assert_true(asked > 15);
    assert_true(ask_all(north.key) >= asked);
    assert_true(ask_all(north.code) >= asked);
    /* nor by asking again and again with gnomons of all heights */
    double first_from = NAN, first_to = NAN;
    for (int mm = 100; mm <= 5000; mm += 97) {
        char path[300];
        snprintf(path, sizeof path, API "/days/" DAY "/sites/causse-school/plan?gnomon_mm=%d", mm);
        json_t *plan = http_get(served.base, path, 200);
        double from = round(1000.0 * number_of(plan, "shadow_from_mm") / mm);
        double to = round(1000.0 * number_of(plan, "shadow_to_mm") / mm);
        assert_true(isnan(first_from) || (fabs(from - first_from) < 8 && fabs(to - first_to) < 8));
        first_from = isnan(first_from) ? from : first_from;
        first_to = isnan(first_to) ? to : first_to;
        json_decref(plan);
    }
}

/* Wrong keys, wrong bodies, implausible runs: no refusal tells either. */
static void refusals_do_not_tell(void **state) {
    (void)state;
    static const char *const bodies[] = {
        "{\"gnomon\":{\"parts\":[{\"length_mm\":1700}],\"edge\":\"umbra\"},\"readings\":["
        "{\"time\":\"2027-03-20T11:40:00Z\",\"shadow_mm\":900},"
        "{\"time\":\"2027-03-20T11:54:00Z\",\"shadow_mm\":905},"
        "{\"time\":\"2027-03-20T12:10:00Z\",\"shadow_mm\":910}]}",
        "{\"gnomon\":{\"parts\":[{\"length_mm\":170}],\"edge\":\"umbra\"},\"readings\":["
        "{\"time\":\"2027-03-20T11:40:00Z\",\"shadow_mm\":1848},"
        "{\"time\":\"2027-03-20T11:54:00Z\",\"shadow_mm\":1840},"
        "{\"time\":\"2027-03-20T12:10:00Z\",\"shadow_mm\":1849}]}"};
    char number[2][40];
    snprintf(number[0], sizeof number[0], "%.0f", told_shadow_mm);
    snprintf(number[1], sizeof number[1], "%.1f", fabs(told_angle_deg));
    for (size_t i = 0; i < sizeof bodies / sizeof bodies[0]; i++) {
        struct answer answer;
        http_ask(served.base,
                 &(struct ask){.method = "POST",
                               .path = API "/days/" DAY "/sites/causse-school/runs",
                               .key = north.code,
                               .type = "application/json",
                               .body = bodies[i],
                               .header = {"Idempotency-Key: blind-test-1"}},
                 &answer);
        assert_int_equal(answer.status, 422);
        for (size_t n = 0; n < 2; n++)
            if (strstr(answer.body.bytes, number[n]) != NULL)
                fail_msg("%s stands in %s", number[n], answer.body.bytes);
        answer_release(&answer);
    }
}

static void the_angle_comes_with_the_readings(void **state) {
    struct text run;
    struct answer answer;
    (void)state;
    text_init(&run, 65536);
    school_measure(&north, DAY, 3, 0, &run);
    http_ask(served.base,
             &(struct ask){.method = "POST",
                           .path = API "/days/" DAY "/sites/causse-school/runs",
                           .key = north.code,
                           .type = "application/json",
                           .body = run.bytes,
                           .header = {"Idempotency-Key: blind-test-2"}},
             &answer);
    assert_int_equal(answer.status, 201);
    answer_release(&answer);
    text_release(&run);
    json_t *plan = plan_of(DAY, north.site), *other = plan_of(DAY, south.site);
    assert_true(fabs(number_of(plan, "expected_angle_deg") - told_angle_deg) < 1e-9);
    assert_true(json_is_true(json_object_get(other, "blind")));
    json_decref(plan);
    json_decref(other);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    school_register(served.base, &north);
    school_register(served.base, &south);
    json_decref(http_send(served.base, "POST", API "/days", served.organiser,
                          "{\"date\":\"" DAY "\",\"spare_dates\":[\"2027-03-21\"]}", 201));
    json_decref(http_send(served.base, "POST", API "/days", served.organiser,
                          "{\"day\":\"told\",\"date\":\"" DAY "\",\"blind\":false}", 201));
    school_join(served.base, &north, DAY);
    school_join(served.base, &south, DAY);
    json_t *plan = plan_of("told", north.site);
    told_angle_deg = number_of(plan, "expected_angle_deg");
    told_shadow_mm = number_of(plan, "shadow_to_mm");
    json_decref(plan);
    /* 47.31 less a declination of about -0.1 degrees; 1.7 m tan 47.4 */
    assert_true(fabs(told_angle_deg - 47.4) < 0.1 && fabs(told_shadow_mm - 1848.0) < 15.0);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_tells_beforehand),
        cmocka_unit_test(refusals_do_not_tell),
        cmocka_unit_test(the_angle_comes_with_the_readings),
    };
    return cmocka_run_group_tests_name("http blind", tests, start, stop);
}
