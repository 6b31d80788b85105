/* SPDX-License-Identifier: MIT */
/* Partners over HTTP: chosen for all, looked at, and another one at once when cloud
 * comes. Schools are invented, on land along three degrees of longitude in West and
 * North Africa and France; sigmas are held against 40 008 km times the two noon sigmas
 * over the angle, worked out by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/http.h"
#include "tests/support/near.h"
#include "tests/support/school.h"
#include "tests/support/served.h"

#define DAY "2027-03-20"
#define PARTNERS "/api/v1/days/" DAY "/partners"

static struct served served;
/* Two pairs and one over on the meridian of 3 E; one far off it. */
static struct school schools[] = {
    {.site = "benin", .name = "Benin School", .lat_deg = 9.0, .lon_deg = 2.6, .gnomon_m = 1.0},
    {.site = "niger", .name = "Niger School", .lat_deg = 14.0, .lon_deg = 2.9, .gnomon_m = 1.0},
    {.site = "tell", .name = "Tell School", .lat_deg = 36.4, .lon_deg = 3.3, .gnomon_m = 1.0},
    {.site = "causse", .name = "Causse School", .lat_deg = 44.5, .lon_deg = 3.2, .gnomon_m = 1.0},
    {.site = "ahaggar", .name = "Ahaggar School", .lat_deg = 23.0, .lon_deg = 3.1, .gnomon_m = 1.0},
    {.site = "kalahari",
     .name = "Kalahari School",
     .lat_deg = -24.0,
     .lon_deg = 21.0,
     .gnomon_m = 1.0},
};
#define SCHOOLS (sizeof schools / sizeof schools[0])

static const char *text_at(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value == NULL ? "" : value;
}

static void say(size_t school, const char *sky) {
    char path[120], body[40];
    snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/%s/sky", schools[school].site);
    snprintf(body, sizeof body, "{\"sky\":\"%s\"}", sky);
    json_decref(http_send(served.base, "PUT", path, schools[school].code, body, 200));
}

/* The nth partner of a site, copied as "site kind because"; "" when there is none. */
static const char *partner(const char *site, size_t nth) {
    static char words[3][150];
    static int turn;
    char path[120], *out = words[turn++ % 3];
    snprintf(path, sizeof path, "/api/v1/days/" DAY "/sites/%s/partner", site);
    json_t *answer = http_get(served.base, path, 200);
    const json_t *one = json_array_get(json_object_get(answer, "partners"), nth);
    out[0] = '\0';
    if (one != NULL)
        snprintf(out, sizeof words[0], "%s %s %s", text_at(one, "site"), text_at(one, "kind"),
                 text_at(one, "because"));
    json_decref(answer);
    return out;
}

/* Nobody has one before; then the most pairs and the least sum: benin-tell (27.4
 * degrees) and niger-causse (30.5) beat all other ways, ahaggar joins whom it does best
 * with (causse, 21.5 degrees), kalahari is alone. */
static void chosen_for_all(void **state) {
    (void)state;
    struct answer answer;
    json_t *before = http_get(served.base, PARTNERS, 200);
    assert_true(json_is_null(json_object_get(before, "chosen_utc")));
    assert_int_equal(json_array_size(json_object_get(before, "sites")), SCHOOLS);
    json_decref(before);
    assert_string_equal(partner("benin", 0), "");

    json_decref(http_send(served.base, "POST", PARTNERS, schools[0].key, NULL, 401));
    http_ask(served.base,
             &(struct ask){.method = "POST", .path = PARTNERS, .key = served.organiser}, &answer);
    assert_int_equal(answer.status, 201);
    assert_true(answer_header_is(&answer, "Location", PARTNERS));
    const json_t *chosen = answer.json;
    assert_int_equal(json_integer_value(json_object_get(chosen, "sites")), SCHOOLS);
    assert_int_equal(json_integer_value(json_object_get(chosen, "pairs")), 2);
    assert_int_equal(json_integer_value(json_object_get(chosen, "threes")), 1);
    assert_int_equal(json_integer_value(json_object_get(chosen, "alone")), 1);
    assert_true(json_is_true(json_object_get(chosen, "exact")));
    /* Each noon: hypot of 0.03, 0.02 and 1 mm in 1 m (0.0573) = 0.0677 degrees; two of
     * them 0.0957; over 27.3 and 30.4 degrees of arc, some 140 and 126 km. */
    assert_near(json_number_value(json_object_get(chosen, "mean_expected_sigma_km")), 133.0, 3.0);
    answer_release(&answer);

    assert_string_equal(partner("benin", 0), "tell assigned ");
    assert_string_equal(partner("tell", 0), "benin assigned ");
    assert_string_equal(partner("niger", 0), "causse assigned ");
    assert_string_equal(partner("ahaggar", 0), "causse assigned ");
    assert_string_equal(partner("kalahari", 0), "");
    assert_string_equal(partner("causse", 2), "");

    http_ask(served.base, &(struct ask){.path = PARTNERS ".csv"}, &answer);
    assert_non_null(strstr(answer.body.bytes, "site,partner,kind,because,expected_sigma_km\r\n"));
    assert_non_null(strstr(answer.body.bytes, "benin,tell,assigned,,1"));
    assert_non_null(strstr(answer.body.bytes, "kalahari,,,,\r\n"));
    answer_release(&answer);
}

/* Cloud at tell: benin is offered the best free school. Those of the three have one
 * another, so nobody is free, and the best of all, causse, becomes a second. */
static void cloud_comes(void **state) {
    (void)state;
    say(2, "broken");
    assert_string_equal(partner("benin", 0), "tell assigned ");
    say(2, "overcast");
    assert_string_equal(partner("benin", 0), "causse second tell");
    assert_string_equal(partner("benin", 1), "tell assigned ");
    assert_string_equal(partner("causse", 0), "benin second tell");

    /* Then at causse: niger and ahaggar still have one another, too near the Sun for
     * neither; benin has nobody who can go on and is offered ahaggar or niger as a
     * second, whichever is farther: ahaggar. */
    say(3, "gone_home");
    assert_string_equal(partner("benin", 0), "ahaggar second causse");

    /* tell clears: benin's own partner can go on again, nothing is offered anew. */
    say(2, "clear");
    assert_string_equal(partner("tell", 0), "benin assigned ");
    assert_string_equal(partner("tell", 1), "");
}

/* Leaving is like cloud. The free one is taken before the better one that is not. */
static void one_leaves(void **state) {
    (void)state;
    struct answer answer;
    say(2, "clear");
    say(3, "clear");
    json_decref(http_send(served.base, "POST", PARTNERS, served.organiser, NULL, 201));
    assert_string_equal(partner("benin", 0), "tell assigned ");
    assert_string_equal(partner("benin", 1), "");
    /* ahaggar and niger lose causse; they have one another. Without ahaggar, niger has
     * nobody and nobody is free: the best is tell. */
    say(4, "overcast");
    http_ask(served.base,
             &(struct ask){.method = "DELETE",
                           .path = "/api/v1/days/" DAY "/sites/causse",
                           .key = schools[3].key},
             &answer);
    assert_int_equal(answer.status, 204);
    answer_release(&answer);
    assert_string_equal(partner("niger", 0), "tell second causse");
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/" DAY "/sites/causse/partner"},
             &answer);
    answer_assert_problem(&answer, 409, "not_taking_part", NULL);
    answer_release(&answer);

    /* benin goes: tell is left with niger. A newcomer who sees the Sun is free, and is
     * given to nobody before it says so; then it gets the best: no one is free. */
    say(0, "gone_home");
    assert_string_equal(partner("tell", 0), "niger second causse");
    say(1, "overcast");
    school_join(served.base, &schools[3], DAY);
    say(3, "clear");
    assert_string_equal(partner("causse", 0), "tell offered ");
    assert_string_equal(partner("tell", 0), "causse offered ");
}

static void an_unknown_day(void **state) {
    (void)state;
    struct answer answer;
    http_ask(served.base, &(struct ask){.path = "/api/v1/days/never/partners"}, &answer);
    answer_assert_problem(&answer, 404, "not_found", NULL);
    answer_release(&answer);
    http_ask(served.base, &(struct ask){.path = PARTNERS "?limit=2"}, &answer);
    assert_int_equal(json_array_size(json_object_get(answer.json, "sites")), 2);
    assert_string_equal(text_at(answer.json, "next_cursor"), "benin");
    answer_release(&answer);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    json_decref(http_send(served.base, "POST", "/api/v1/days", served.organiser,
                          "{\"date\":\"" DAY "\",\"min_separation_km\":300}", 201));
    for (size_t i = 0; i < SCHOOLS; i++) {
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
        cmocka_unit_test(chosen_for_all),
        cmocka_unit_test(cloud_comes),
        cmocka_unit_test(one_leaves),
        cmocka_unit_test(an_unknown_day),
    };
    return cmocka_run_group_tests_name("http partners", tests, start, stop);
}
