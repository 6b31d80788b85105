/* SPDX-License-Identifier: MIT */
/* record_read and record_write: hostile bodies, each refused with its code and
 * the JSON pointer of its field, and records there and back. Invented values:
 * this is plumbing. */
#include "tests/unit/near.h"

#include <jansson.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/field.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

enum what { SITE, DAY, RUN };

static int read_any(enum what what, const char *body, size_t length, struct err *err) {
    struct site_record site;
    struct day_record day;
    static struct run_record run;
    switch (what) {
    case SITE:
        return record_read_site(body, length, &site, err);
    case DAY:
        return record_read_day(body, length, &day, err);
    case RUN:
        break;
    }
    return record_read_run(body, length, &run, err);
}

#define PLACE "\"lat_deg\":-33.4,\"lon_deg\":-70.6"
#define NAMED "\"name\":\"Los Aromos\","
#define GNOMON "\"gnomon\":{\"parts\":[{\"length_mm\":1000}],\"edge\":\"umbra\"}"
#define READING "{\"time\":\"2027-03-21T12:04:30+01:00\",\"shadow_mm\":880}"
#define READINGS "\"readings\":[" READING "," READING "," READING "]"

static const struct {
    enum what what;
    const char *body;
    enum err_code code; /* ERR_NONE: taken */
    const char *field;
} bodies[] = {
    /* JSON itself */
    {SITE, "", ERR_BAD_JSON, ""},
    {SITE, "{", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED PLACE "}}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED PLACE ",}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED PLACE "} // hello", ERR_BAD_JSON, ""},
    {SITE, "{'name':1}", ERR_BAD_JSON, ""},
    {SITE, "\xEF\xBB\xBF{" NAMED PLACE "}", ERR_BAD_JSON, ""},
    {SITE, "{\"name\":\"\xFF\"," PLACE "}", ERR_BAD_JSON, ""},
    {SITE, "{\"name\":\"a\\u0000b\"," PLACE "}", ERR_BAD_JSON, ""},
    {SITE, "{\"name\":\"\\uD800\"," PLACE "}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":NaN,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":Infinity,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":1e999,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":99999999999999999999,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":01,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED "\"lat_deg\":+1,\"lon_deg\":0}", ERR_BAD_JSON, ""},
    {SITE, "{" NAMED PLACE ",\"name\":\"Twice\"}", ERR_BAD_JSON, ""},
    {SITE, "[]", ERR_WRONG_TYPE, ""},
    {SITE, "null", ERR_WRONG_TYPE, ""},
    {SITE, "3", ERR_WRONG_TYPE, ""},
    {SITE, "\"site\"", ERR_WRONG_TYPE, ""},
    /* keys */
    {SITE, "{}", ERR_MISSING_FIELD, "/name"},
    {SITE, "{" NAMED "\"lon_deg\":1}", ERR_MISSING_FIELD, "/lat_deg"},
    {SITE, "{" NAMED PLACE ",\"Name\":\"x\"}", ERR_UNKNOWN_FIELD, "/Name"},
    {SITE, "{" NAMED PLACE ",\"\":1}", ERR_UNKNOWN_FIELD, "/"},
    /* RFC 6901 sec. 3: ~ and / in a key */
    {SITE, "{" NAMED PLACE ",\"a/b~c\":1}", ERR_UNKNOWN_FIELD, "/a~1b~0c"},
    {SITE, "{" NAMED PLACE ",\"a\\nb\":1}", ERR_UNKNOWN_FIELD, "/a?b"},
    /* types */
    {SITE, "{\"name\":5," PLACE "}", ERR_WRONG_TYPE, "/name"},
    {SITE, "{\"name\":null," PLACE "}", ERR_WRONG_TYPE, "/name"},
    {SITE, "{" NAMED "\"lat_deg\":\"45\",\"lon_deg\":0}", ERR_WRONG_TYPE, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":true,\"lon_deg\":0}", ERR_WRONG_TYPE, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":[45],\"lon_deg\":0}", ERR_WRONG_TYPE, "/lat_deg"},
    {SITE, "{" NAMED PLACE ",\"edge\":1}", ERR_WRONG_TYPE, "/edge"},
    {SITE, "{" NAMED PLACE ",\"zone\":null,\"gnomon_mm\":null}", ERR_NONE, NULL},
    /* texts */
    {SITE, "{\"name\":\"\"," PLACE "}", ERR_BAD_TEXT, "/name"},
    {SITE, "{\"name\":\"=2+3\"," PLACE "}", ERR_BAD_TEXT, "/name"},
    {SITE, "{\"name\":\"a\\tb\"," PLACE "}", ERR_BAD_TEXT, "/name"},
    {SITE, "{\"name\":\"a\\u202Eb\"," PLACE "}", ERR_BAD_TEXT, "/name"},
    {SITE, "{\"name\":\"\\u00c9cole\"," PLACE "}", ERR_NONE, NULL},
    {SITE, "{\"site\":\"los aromos\"," NAMED PLACE "}", ERR_BAD_TEXT, "/site"},
    {SITE, "{\"site\":\"\"," NAMED PLACE "}", ERR_BAD_TEXT, "/site"},
    /* positions */
    {SITE, "{" NAMED "\"lat_deg\":90,\"lon_deg\":-180}", ERR_NONE, NULL},
    {SITE, "{" NAMED "\"lat_deg\":90.000001,\"lon_deg\":170}", ERR_OUT_OF_RANGE, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":200,\"lon_deg\":10}", ERR_OUT_OF_RANGE, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":1e308,\"lon_deg\":10}", ERR_OUT_OF_RANGE, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":120,\"lon_deg\":-33}", ERR_POSITION_SWAPPED, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":0,\"lon_deg\":180.5}", ERR_OUT_OF_RANGE, "/lon_deg"},
    {SITE, "{" NAMED PLACE ",\"elev_m\":-501}", ERR_OUT_OF_RANGE, "/elev_m"},
    {SITE, "{" NAMED PLACE ",\"elev_m\":9001}", ERR_OUT_OF_RANGE, "/elev_m"},
    {SITE, "{" NAMED PLACE ",\"gnomon_mm\":19.99}", ERR_OUT_OF_RANGE, "/gnomon_mm"},
    {SITE, "{" NAMED PLACE ",\"gnomon_mm\":100001}", ERR_OUT_OF_RANGE, "/gnomon_mm"},
    {SITE, "{" NAMED PLACE ",\"edge\":\"Umbra\"}", ERR_OUT_OF_RANGE, "/edge"},
    {SITE, "{" NAMED PLACE ",\"zone\":\"America/Santiago\"}", ERR_NONE, NULL},
    {SITE, "{" NAMED PLACE ",\"zone\":\"America/Atlantis\"}", ERR_UNKNOWN_ZONE, "/zone"},
    {SITE, "{" NAMED PLACE ",\"zone\":\"../../etc/passwd\"}", ERR_UNKNOWN_ZONE, "/zone"},
    {SITE, "{" NAMED "\"lat_deg\":36.8,\"lon_deg\":-1.3,\"zone\":\"Africa/Nairobi\"}",
     ERR_POSITION_SWAPPED, "/lat_deg"},
    {SITE, "{" NAMED "\"lat_deg\":-1.3,\"lon_deg\":36.8,\"zone\":\"Africa/Nairobi\"}", ERR_NONE,
     NULL},
    /* Lagos is at 6.45, 3.4: exchanged it would be nearer, but it is near enough */
    {SITE, "{" NAMED "\"lat_deg\":3,\"lon_deg\":7,\"zone\":\"Africa/Lagos\"}", ERR_NONE, NULL},
    /* a foreign zone: far away, and exchanged no nearer */
    {SITE, "{" NAMED PLACE ",\"zone\":\"Asia/Kathmandu\"}", ERR_NONE, NULL},
    /* a zone without a place says nothing */
    {SITE, "{" NAMED "\"lat_deg\":36.8,\"lon_deg\":-1.3,\"zone\":\"UTC\"}", ERR_NONE, NULL},
    /* days */
    {DAY, "{\"date\":\"2027-03-21\"}", ERR_NONE, NULL},
    {DAY, "{}", ERR_MISSING_FIELD, "/date"},
    {DAY, "{\"date\":\"2027-02-29\"}", ERR_BAD_DATE, "/date"},
    {DAY, "{\"date\":\"21.03.2027\"}", ERR_BAD_DATE, "/date"},
    {DAY, "{\"date\":20270321}", ERR_WRONG_TYPE, "/date"},
    {DAY, "{\"date\":\"1971-12-31\"}", ERR_OUT_OF_RANGE, "/date"},
    {DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":\"2027-03-22\"}", ERR_WRONG_TYPE,
     "/spare_dates"},
    {DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-22\",5]}", ERR_WRONG_TYPE,
     "/spare_dates/1"},
    {DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":[null]}", ERR_WRONG_TYPE, "/spare_dates/0"},
    {DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-22\",\"2027-03-22\"]}",
     ERR_OUT_OF_RANGE, "/spare_dates/1"},
    {DAY, "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-21\"]}", ERR_OUT_OF_RANGE,
     "/spare_dates/0"},
    {DAY,
     "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-01\",\"2027-03-02\","
     "\"2027-03-03\",\"2027-03-04\",\"2027-03-05\",\"2027-03-06\",\"2027-03-07\","
     "\"2027-03-08\",\"2027-03-09\"]}",
     ERR_OUT_OF_RANGE, "/spare_dates"},
    {DAY, "{\"date\":\"2027-03-21\",\"lon_tolerance_deg\":0}", ERR_OUT_OF_RANGE,
     "/lon_tolerance_deg"},
    {DAY, "{\"date\":\"2027-03-21\",\"min_separation_km\":5001}", ERR_OUT_OF_RANGE,
     "/min_separation_km"},
    {DAY, "{\"date\":\"2027-03-21\",\"max_sigma_km\":9.9}", ERR_OUT_OF_RANGE, "/max_sigma_km"},
    {DAY, "{\"date\":\"2027-03-21\",\"max_sigma_km\":null}", ERR_NONE, NULL},
    /* runs */
    {RUN, "{" GNOMON "," READINGS "}", ERR_NONE, NULL},
    {RUN, "{" READINGS "}", ERR_MISSING_FIELD, "/gnomon"},
    {RUN, "{" GNOMON "}", ERR_MISSING_FIELD, "/readings"},
    {RUN, "{\"gnomon\":1000," READINGS "}", ERR_WRONG_TYPE, "/gnomon"},
    {RUN, "{\"gnomon\":{\"edge\":\"umbra\"}," READINGS "}", ERR_MISSING_FIELD, "/gnomon/parts"},
    {RUN, "{\"gnomon\":{\"parts\":[{\"length_mm\":1000}]}," READINGS "}", ERR_MISSING_FIELD,
     "/gnomon/edge"},
    {RUN, "{\"gnomon\":{\"parts\":[],\"edge\":\"umbra\"}," READINGS "}", ERR_OUT_OF_RANGE,
     "/gnomon/parts"},
    {RUN, "{\"gnomon\":{\"parts\":[1000],\"edge\":\"umbra\"}," READINGS "}", ERR_WRONG_TYPE,
     "/gnomon/parts/0"},
    {RUN, "{\"gnomon\":{\"parts\":[{\"length_mm\":0}],\"edge\":\"umbra\"}," READINGS "}",
     ERR_OUT_OF_RANGE, "/gnomon/parts/0/length_mm"},
    {RUN,
     "{\"gnomon\":{\"parts\":[{\"length_mm\":9},{\"length_mm\":10}],\"edge\":\"umbra\"}," READINGS
     "}",
     ERR_OUT_OF_RANGE, "/gnomon/parts"},
    {RUN,
     "{\"gnomon\":{\"parts\":[{\"length_mm\":10},{\"length_mm\":10}],\"edge\":\"umbra\"}," READINGS
     "}",
     ERR_NONE, NULL},
    {RUN,
     "{\"gnomon\":{\"parts\":[{\"length_mm\":99999},{\"length_mm\":2}],\"edge\":\"umbra\"}"
     "," READINGS "}",
     ERR_OUT_OF_RANGE, "/gnomon/parts"},
    {RUN,
     "{\"gnomon\":{\"parts\":[{\"length_mm\":1000,\"sigma_mm\":0}],\"edge\":\"umbra\"}," READINGS
     "}",
     ERR_OUT_OF_RANGE, "/gnomon/parts/0/sigma_mm"},
    {RUN, "{" GNOMON ",\"readings\":[]}", ERR_OUT_OF_RANGE, "/readings"},
    {RUN,
     "{" GNOMON ",\"readings\":[" READING "," READING ",{\"time\":\"2027-03-21T12:04:30Z\","
     "\"shadow_mm\":900,\"bearing_deg\":361}]}",
     ERR_OUT_OF_RANGE, "/readings/2/bearing_deg"},
    {RUN, "{" GNOMON ",\"readings\":{}}", ERR_WRONG_TYPE, "/readings"},
    {RUN,
     "{" GNOMON ",\"readings\":[" READING ",{\"time\":\"2027-03-21T12:04:30\","
     "\"shadow_mm\":880}]}",
     ERR_BAD_TIME, "/readings/1/time"},
    {RUN, "{" GNOMON ",\"readings\":[{\"time\":1805000000,\"shadow_mm\":880}]}", ERR_WRONG_TYPE,
     "/readings/0/time"},
    {RUN, "{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30Z\",\"shadow_mm\":0}]}",
     ERR_OUT_OF_RANGE, "/readings/0/shadow_mm"},
    {RUN, "{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30Z\",\"shadow_mm\":-5}]}",
     ERR_OUT_OF_RANGE, "/readings/0/shadow_mm"},
    {RUN, "{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30Z\",\"shadow_mm\":600001}]}",
     ERR_OUT_OF_RANGE, "/readings/0/shadow_mm"},
    {RUN, "{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30Z\",\"shadow\":600}]}",
     ERR_UNKNOWN_FIELD, "/readings/0/shadow"},
    {RUN, "{" GNOMON "," READINGS ",\"pressure_hpa\":29.9}", ERR_OUT_OF_RANGE, "/pressure_hpa"},
    {RUN, "{" GNOMON "," READINGS ",\"temperature_c\":68}", ERR_OUT_OF_RANGE, "/temperature_c"},
    {RUN, "{" GNOMON "," READINGS ",\"note\":\"two\\nlines\"}", ERR_BAD_TEXT, "/note"},
    {RUN, "{" GNOMON "," READINGS ",\"supersedes\":0}", ERR_OUT_OF_RANGE, "/supersedes"},
    {RUN, "{" GNOMON "," READINGS ",\"supersedes\":1.0}", ERR_WRONG_TYPE, "/supersedes"},
    {RUN, "{" GNOMON "," READINGS ",\"supersedes\":\"1\"}", ERR_WRONG_TYPE, "/supersedes"},
    {RUN, "{" GNOMON "," READINGS ",\"supersedes\":9007199254740993}", ERR_OUT_OF_RANGE,
     "/supersedes"},
    {RUN, "{" GNOMON "," READINGS ",\"supersedes\":9007199254740991}", ERR_NONE, NULL},
    {RUN, "{" GNOMON "," READINGS ",\"site\":\"a\"}", ERR_UNKNOWN_FIELD, "/site"},
};

static void test_hostile_bodies(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT_OF(bodies); i++) {
        struct err err = {0};
        int outcome = read_any(bodies[i].what, bodies[i].body, strlen(bodies[i].body), &err);
        if (err.code != bodies[i].code || outcome != (err.code == ERR_NONE ? 0 : -1) ||
            (bodies[i].field != NULL && strcmp(err.field, bodies[i].field) != 0))
            fail_msg("%s\ngave %s at \"%s\" (%s), not %s at \"%s\"", bodies[i].body,
                     err_name(err.code), err.field, err.text, err_name(bodies[i].code),
                     bodies[i].field != NULL ? bodies[i].field : "");
    }
}

/* Every body cut short at every byte, and with every byte set to something else:
 * whatever comes out, it is an answer. */
static void test_damaged_bodies(void **state) {
    (void)state;
    static const char *const whole[] = {
        "{\"site\":\"los-aromos\"," NAMED PLACE ",\"elev_m\":520,\"edge\":\"centre\"}",
        "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-22\"],\"max_sigma_km\":900,"
        "\"season\":null,\"state\":\"announced\",\"blind\":true}",
        "{" GNOMON "," READINGS ",\"sky\":\"clear\",\"supersedes\":3}"};
    static const char instead[] = {'\0', '"', '{', '}', ',', '9', '-', '\\', '\x80', '\xFF'};
    for (enum what what = SITE; what <= RUN; what++) {
        char body[512];
        const size_t length = strlen(whole[what]);
        assert_true(length < sizeof body);
        for (size_t cut = 0; cut < length; cut++) {
            struct err err = {0};
            assert_int_equal(read_any(what, whole[what], cut, &err), -1);
            assert_int_equal(err.code, ERR_BAD_JSON);
        }
        for (size_t at = 0; at < length; at++)
            for (size_t i = 0; i < sizeof instead; i++) {
                memcpy(body, whole[what], length);
                body[at] = instead[i];
                struct err err = {0};
                int outcome = read_any(what, body, length, &err);
                assert_int_equal(outcome, err.code == ERR_NONE ? 0 : -1);
                assert_true(err_status(err.code) < 500);
            }
    }
}

static void test_deep_and_long_bodies(void **state) {
    (void)state;
    enum { DEPTH = 200000 };
    char *deep = malloc(DEPTH + 16);
    assert_non_null(deep);
    memcpy(deep, "{\"name\":", 8);
    memset(deep + 8, '[', DEPTH);
    struct err err = {0};
    assert_int_equal(read_any(SITE, deep, DEPTH + 8, &err), -1);
    assert_int_equal(err.code, ERR_BAD_JSON);
    /* an unknown key of a hundred thousand bytes, all two-byte letters */
    memcpy(deep, "{\"", 2);
    for (size_t i = 2; i < 100002; i += 2)
        memcpy(deep + i, "\xC3\xA9", 2);
    memcpy(deep + 100002, "\":1}", 4);
    err_clear(&err);
    assert_int_equal(read_any(SITE, deep, 100006, &err), -1);
    assert_int_equal(err.code, ERR_UNKNOWN_FIELD);
    assert_true(strlen(err.field) <= 41);
    assert_true(field_text_is_clean(err.field, strlen(err.field), false));
    free(deep);
}

static void test_too_many_readings(void **state) {
    (void)state;
    struct text body;
    for (int readings = RUN_READINGS_MAX; readings <= RUN_READINGS_MAX + 1; readings++) {
        text_init(&body, 1 << 20);
        text_put(&body, "{" GNOMON ",\"readings\":[" READING);
        for (int i = 1; i < readings; i++)
            text_put(&body, "," READING);
        text_put(&body, "]}");
        struct err err = {0};
        int outcome = read_any(RUN, body.bytes, body.length, &err);
        assert_int_equal(outcome, readings > RUN_READINGS_MAX ? -1 : 0);
        assert_string_equal(err.field, readings > RUN_READINGS_MAX ? "/readings" : "");
        text_release(&body);
    }
}

static void test_defaults(void **state) {
    (void)state;
    struct err err = {0};
    struct site_record site;
    static const char site_body[] = "{" NAMED PLACE "}";
    assert_int_equal(record_read_site(site_body, strlen(site_body), &site, &err), 0);
    assert_string_equal(site.site, "");
    assert_true(site.place.elevation_m == 0.0 && isnan(site.gnomon_mm));
    assert_int_equal(site.edge, EDGE_UMBRA);
    struct day_record day;
    static const char day_body[] =
        "{\"date\":\"2027-03-21\",\"spare_dates\":[\"2027-03-23\",\"2027-03-22\"]}";
    assert_int_equal(record_read_day(day_body, strlen(day_body), &day, &err), 0);
    assert_string_equal(day.day, "2027-03-21");
    assert_string_equal(day.name, "2027-03-21");
    assert_true(day.lon_tolerance_deg == 1.0 && day.min_separation_km == 100.0);
    assert_true(isnan(day.max_sigma_km));
    assert_int_equal(day.spares, 2);
    assert_int_equal(day.spare[0], near_date("2027-03-22"));
    assert_int_equal(day.spare[1], near_date("2027-03-23"));
    static struct run_record run;
    static const char run_body[] = "{" GNOMON "," READINGS "}";
    assert_int_equal(record_read_run(run_body, strlen(run_body), &run, &err), 0);
    assert_true(run.run.gnomon.part[0].value_m == 1.0 && isnan(run.run.gnomon.part[0].sigma_m));
    assert_true(run.run.reading[2].shadow_m == 0.88 && isnan(run.run.reading[2].shadow_sigma_m));
    assert_true(isnan(run.run.reading[2].bearing_deg));
    check_near("time", run.run.reading[0].t_utc_s, near_utc_s("2027-03-21T11:04:30Z"), 0.0, "s");
    assert_true(isnan(run.run.pressure_hpa) && isnan(run.run.clock_sigma_s));
    assert_int_equal(run.supersedes, 0);
}

/* What a writer wrote, its reader must read to the same record and the same text. */
static void test_there_and_back(void **state) {
    (void)state;
    struct err err = {0};
    struct text one, two;
    struct json_writer json;
    text_init(&one, 1 << 20);
    text_init(&two, 1 << 20);
    static const char bodies_in[3][640] = {
        "{\"site\":\"los-aromos\",\"name\":\"Escuela \\\"Los Aromos\\\"\",\"lat_deg\":-33.4012,"
        "\"lon_deg\":-70.6,\"elev_m\":520.1,\"zone\":\"America/Santiago\",\"gnomon_mm\":1178.3,"
        "\"edge\":\"penumbra\",\"contact\":\"office\"}",
        "{\"day\":\"equinox\",\"name\":\"Equinox\",\"date\":\"2027-03-21\",\"spare_dates\":"
        "[\"2027-03-22\"],\"lon_tolerance_deg\":0.7,\"min_separation_km\":250.5,"
        "\"max_sigma_km\":900,\"clock_bound_s\":20,\"clock_correct\":true,"
        "\"season\":null,\"state\":\"announced\",\"blind\":true}",
        "{\"gnomon\":{\"parts\":[{\"length_mm\":288.1,\"sigma_mm\":0.7},{\"length_mm\":30.3}],"
        "\"edge\":\"centre\"},\"readings\":[{\"time\":\"2027-03-21T11:58:03.25Z\","
        "\"shadow_mm\":178.3,\"sigma_mm\":1.1,\"bearing_deg\":183.5},{\"time\":\"2027-03-21T11:59:"
        "03Z\","
        "\"shadow_mm\":179.9}],\"sky\":\"clear\",\"level\":\"water\",\"note\":\"none\","
        "\"pressure_hpa\":1001.3,\"temperature_c\":-3.1,\"clock_sigma_s\":2,"
        "\"clock\":{\"offset_s\":-41.5,\"sigma_s\":0.02},"
        "\"tilt_sigma_deg\":0.03,\"supersedes\":12}"};
    struct site_record site;
    struct day_record day;
    static struct run_record run;
    for (int what = SITE; what <= RUN; what++) {
        const char *body = bodies_in[what];
        for (int round = 0; round < 2; round++) {
            struct text *text = round == 0 ? &one : &two;
            json_write_init(&json, text);
            assert_int_equal(err.code, ERR_NONE);
            if (what == SITE) {
                assert_int_equal(record_read_site(body, strlen(body), &site, &err), 0);
                record_write_site_request(&json, NULL, &site);
            } else if (what == DAY) {
                assert_int_equal(record_read_day(body, strlen(body), &day, &err), 0);
                record_write_day(&json, NULL, &day);
            } else {
                assert_int_equal(record_read_run(body, strlen(body), &run, &err), 0);
                record_write_run_request(&json, NULL, &run);
            }
            assert_int_equal(json.depth, 0);
            body = text->bytes;
        }
        assert_string_equal(one.bytes, bodies_in[what]);
        assert_string_equal(two.bytes, one.bytes);
        text_release(&one);
        text_release(&two);
    }
}

static void test_the_contact_stays_inside(void **state) {
    (void)state;
    struct site_record site;
    site_record_init(&site);
    memcpy(site.site, "a", 2);
    memcpy(site.name, "A", 2);
    memcpy(site.contact, "secret@example.org", 19);
    struct text text;
    struct json_writer json;
    text_init(&text, 4096);
    json_write_init(&json, &text);
    record_write_site(&json, NULL, &site);
    assert_null(strstr(text.bytes, "secret"));
    assert_null(strstr(text.bytes, "contact"));
    assert_non_null(strstr(text.bytes, "\"gnomon_mm\":null"));
    text_release(&text);
}

static json_t *parsed(const struct text *text) {
    json_t *root = json_loadb(text->bytes, text->length, JSON_REJECT_DUPLICATES, NULL);
    if (root == NULL)
        fail_msg("not JSON: %s", text->bytes);
    return root;
}

/* A pair and a combination that say nothing are told with null, never with NaN. */
static void test_nothing_is_told_as_null(void **state) {
    (void)state;
    struct pair_record pair = {.site1 = "a",
                               .site2 = "b",
                               .pair = {.status = PAIR_ANGLE_UNSURE,
                                        .separation_km = 111.5,
                                        .angle_deg = 0.01,
                                        .angle_sigma_deg = 0.1,
                                        .circumference_km = NAN,
                                        .sigma_km = NAN,
                                        .low_km = NAN,
                                        .high_km = INFINITY}};
    struct combined combined = {.status = COMBINE_TOO_FEW,
                                .circumference_km = NAN,
                                .sigma_km = NAN,
                                .internal_sigma_km = NAN,
                                .low_km = NAN,
                                .high_km = NAN,
                                .chi2 = NAN,
                                .birge_ratio = NAN,
                                .median_km = NAN,
                                .median_low_km = NAN,
                                .median_high_km = NAN,
                                .local_km = NAN};
    struct reduction_record silent = {
        .site = "c", .sigma_deg = NAN, .noon_angle_deg = NAN, .transit_utc_s = NAN};
    const struct off_line_record off = {"d", 0.5, 7.25};
    const struct influence_record influence = {"e", -12.5};
    struct text text;
    struct json_writer json;
    text_init(&text, 1 << 16);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    record_write_pair(&json, "pair", &pair);
    const struct combined_record record = {.combined = &combined,
                                           .off_line = &off,
                                           .off_lines = 1,
                                           .influence = &influence,
                                           .influences = 1};
    record_write_combined(&json, "combined", &record);
    record_write_reduction(&json, "reduction", &silent);
    json_write_end(&json);
    json_t *root = parsed(&text);
    json_t *told = json_object_get(root, "pair");
    assert_true(json_is_null(json_object_get(told, "circumference_km")));
    assert_true(json_is_null(json_object_get(told, "high_km")));
    assert_true(json_is_null(json_object_get(told, "error_percent")));
    assert_string_equal(json_string_value(json_object_get(told, "status")), "angle_unsure");
    told = json_object_get(root, "combined");
    assert_true(json_is_null(json_object_get(told, "local_km")));
    json_t *left_out = json_array_get(json_object_get(told, "left_out"), 0);
    assert_string_equal(json_string_value(json_object_get(left_out, "reason")), "off_the_line");
    assert_true(json_real_value(json_object_get(left_out, "residual_sigma")) == 7.25);
    json_t *moving = json_array_get(json_object_get(told, "influence"), 0);
    assert_true(json_real_value(json_object_get(moving, "influence_km")) == -12.5);
    told = json_object_get(root, "reduction");
    assert_string_equal(json_string_value(json_object_get(told, "status")), "no_readings");
    assert_true(json_is_null(json_object_get(told, "estimator")));
    assert_true(json_is_null(json_object_get(told, "transit_utc")));
    assert_null(json_object_get(told, "day"));
    json_decref(root);
    text_release(&text);
}

/* A left-out reading as it is told: where it stands, and every cause that fits. */
static void test_a_left_out_reading_is_told(void **state) {
    (void)state;
    static struct reduction reduction;
    static struct run run;
    struct left_out_record left_out[2];
    struct reduction_record record;
    struct text text;
    struct json_writer json;
    reduction = (struct reduction){
        .status = REDUCE_OK,
        .left_outs = 2,
        .left_out = {
            {.reading = 2,
             .slip = SLIP_DIGIT,
             .also = {SLIP_TIME, SLIP_EXCHANGED},
             .residual_deg = 0.5,
             .residual_sigma = 8.0,
             .instead_m = 0.1783},
            {.reading = 0, .slip = SLIP_OUTLIER, .residual_deg = -0.25, .instead_m = NAN}}};
    run.readings = 3;
    for (int i = 0; i < 3; i++)
        run.reading[i] = (struct reading){60.0 * i + 0.25, 0.1 * (i + 1) + 0.0083, NAN};
    reduction_record_make("a", "d", 7, &run, &reduction, left_out, &record);
    text_init(&text, 1 << 16);
    json_write_init(&json, &text);
    record_write_reduction(&json, NULL, &record);
    json_t *told = json_loadb(text.bytes, text.length, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(told);
    assert_int_equal(json_integer_value(json_object_get(told, "run")), 7);
    assert_string_equal(json_string_value(json_object_get(told, "day")), "d");
    static const char *const expected[] = {
        "[{\"reading\":2,\"utc\":\"1970-01-01T00:02:00.25Z\",\"shadow_mm\":308.3,\"reason\":\"",
        "\"also\":[\"", "\"residual_deg\":0.5,\"residual_sigma\":8,\"instead_mm\":178.3}",
        "{\"reading\":0,\"utc\":\"1970-01-01T00:00:00.25Z\",\"shadow_mm\":108.3,",
        "\"also\":[],\"residual_deg\":-0.25,\"residual_sigma\":0,\"instead_mm\":null}]"};
    for (size_t i = 0; i < COUNT_OF(expected); i++)
        if (strstr(text.bytes, expected[i]) == NULL)
            fail_msg("%s\nis not in\n%s", expected[i], text.bytes);
    json_t *first = json_array_get(json_object_get(told, "left_out"), 0);
    json_t *also = json_object_get(first, "also");
    assert_string_equal(json_string_value(json_object_get(first, "reason")), slip_name(SLIP_DIGIT));
    assert_int_equal(json_array_size(also), 2);
    assert_string_equal(json_string_value(json_array_get(also, 0)), slip_name(SLIP_TIME));
    assert_string_equal(json_string_value(json_array_get(also, 1)), slip_name(SLIP_EXCHANGED));
    json_decref(told);
    text_release(&text);
}

/* A handbook's figure for the meridian is the measure of all errors: 40 007.863 km
 * (WGS 84, four quadrants of 10 001.965729 km). */
static void test_errors_against_the_handbook(void **state) {
    (void)state;
    check_near("one percent more", record_error_percent(40007.863 * 1.01), 1.0, 1e-6, "%");
    check_near("below", record_error_percent(39607.784), -1.0, 1e-5, "%");
    check_near("two sigma", record_error_sigmas(40007.863 + 400.0, 200.0), 2.0, 1e-6, "");
    assert_true(isnan(record_error_percent(NAN)));
}

static void test_millimetres_survive(void **state) {
    (void)state;
    for (int tenths = 1; tenths < 200000; tenths += 7) {
        double mm = tenths / 10.0;
        assert_true(record_mm(mm / 1000.0) == mm);
    }
    assert_true(record_mm(600000.0 / 1000.0) == 600000.0);
    assert_true(isnan(record_mm(NAN)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hostile_bodies),
        cmocka_unit_test(test_damaged_bodies),
        cmocka_unit_test(test_deep_and_long_bodies),
        cmocka_unit_test(test_too_many_readings),
        cmocka_unit_test(test_defaults),
        cmocka_unit_test(test_there_and_back),
        cmocka_unit_test(test_the_contact_stays_inside),
        cmocka_unit_test(test_nothing_is_told_as_null),
        cmocka_unit_test(test_a_left_out_reading_is_told),
        cmocka_unit_test(test_errors_against_the_handbook),
        cmocka_unit_test(test_millimetres_survive),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
