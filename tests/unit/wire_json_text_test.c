/* SPDX-License-Identifier: MIT */
/* json_text and json_number against the grammar of RFC 8259 (Bray 2017), and against
 * jansson and the C library's strtod as other readers of the same texts; json_read in
 * what is its own: which of several mistakes is told, and where it stands. */
#include "tests/unit/near.h"

#include <jansson.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/text.h"
#include "server/wire/json_text.h"
#include "server/wire/record_read.h"

/* A copy with nothing behind it, so that a sanitizer sees who reads on. */
static char *bare_copy(const char *bytes, size_t length) {
    char *copy = malloc(length + 1);
    assert_non_null(copy);
    char *end = copy + 1; /* so that no byte at all is a piece of memory too */
    memcpy(end, bytes, length);
    return copy;
}

/* ---- both readers side by side ---- */

static bool same_text(const char *theirs, size_t length, const struct json_text *ours) {
    return ours->length == length &&
           memcmp(ours->string, theirs, length < JSON_TEXT_KEPT ? length : JSON_TEXT_KEPT) == 0;
}

static bool same_value(const json_t *theirs, struct json_text *ours);

/* Of a key that stands twice jansson keeps the last value: of such objects the keys are
 * compared alone. */
static bool same_object(const json_t *theirs, struct json_text *ours) {
    size_t n = 0;
    bool same = true;
    for (; json_text_member(ours, n); n++) {
        char key[JSON_TEXT_KEPT + 1];
        const size_t length = ours->length < JSON_TEXT_KEPT ? ours->length : JSON_TEXT_KEPT;
        memcpy(key, ours->string, length);
        key[length] = '\0';
        const json_t *member = json_object_get(theirs, key);
        same = same_value(member, ours) && same;
    }
    return n == json_object_size(theirs) ? same : n > json_object_size(theirs);
}

static bool same_list(const json_t *theirs, struct json_text *ours) {
    size_t n = 0;
    bool same = true;
    for (; json_text_element(ours, n); n++)
        same = same_value(json_array_get(theirs, n), ours) && same;
    return same && n == json_array_size(theirs);
}

static bool same_number(const json_t *theirs, const struct json_number *ours) {
    const double real = json_number_value(theirs);
    return json_is_number(theirs) && json_is_integer(theirs) == ours->is_whole &&
           memcmp(&real, &ours->real, sizeof real) == 0 &&
           (!ours->is_whole || json_integer_value(theirs) == ours->whole);
}

static bool same_value(const json_t *theirs, struct json_text *ours) {
    const enum json_kind kind = json_text_value(ours);
    switch (kind) {
    case JSON_KIND_OBJECT:
        return same_object(theirs, ours);
    case JSON_KIND_LIST:
        return same_list(theirs, ours);
    case JSON_KIND_TEXT:
        return json_is_string(theirs) &&
               same_text(json_string_value(theirs), json_string_length(theirs), ours);
    case JSON_KIND_NUMBER:
        return same_number(theirs, &ours->number);
    case JSON_KIND_TRUE:
        return json_is_true(theirs);
    case JSON_KIND_FALSE:
        return json_is_false(theirs);
    case JSON_KIND_NULL:
        return json_is_null(theirs);
    case JSON_KIND_WRONG:
        break;
    }
    return false;
}

/* As jansson reads it. A NUL byte has no place in JSON, but 2.14 loses one that stands
 * behind a number. */
static json_t *read_by_jansson(const char *bytes, size_t length, size_t flags,
                               json_error_t *error) {
    *error = (json_error_t){.text = "a NUL byte"};
    return memchr(bytes, '\0', length) != NULL
               ? NULL
               : json_loadb(bytes, length, flags | JSON_DECODE_ANY, error);
}

/* Whether a text is one value of JSON, which both readers say alike. */
static bool is_json(const char *bytes, size_t length, struct err *err) {
    struct json_text text;
    char *copy = bare_copy(bytes, length);
    json_error_t error;
    json_t *theirs = read_by_jansson(copy + 1, length, 0, &error);
    err_clear(err);
    json_text_init(&text, copy + 1, length);
    const bool same = same_value(theirs, &text);
    const bool ours = json_text_finish(&text, err) == 0;
    if (ours != (theirs != NULL) || (ours && !same))
        fail_msg("%.*s\nthe reader says \"%s\", jansson \"%s\"%s", (int)length, bytes, err->text,
                 error.text, ours ? ", and they read something else" : "");
    assert_int_equal(err->code, ours ? ERR_NONE : ERR_BAD_JSON);
    json_decref(theirs);
    /* who does not look at a value comes to the same end */
    struct err skipped = {.code = ERR_NONE};
    json_text_init(&text, copy + 1, length);
    json_text_skip(&text, json_text_value(&text));
    assert_int_equal(json_text_finish(&text, &skipped) == 0, ours);
    assert_string_equal(skipped.text, err->text);
    free(copy);
    return ours;
}

/* ---- the grammar ---- */

#define TEXT(literal) literal, sizeof literal - 1

static const struct {
    const char *section; /* of RFC 8259 */
    const char *bytes;
    size_t length;
    bool is_json;
} documents[] = {
    {"2", TEXT(""), false},
    {"2", TEXT(" "), false},
    {"2", TEXT(" \t\n\r[ \t\n\r] \t\n\r"), true},
    {"2", TEXT(" \t\n\r{ \t\n\r\"a\" \t\n\r: \t\n\r1 \t\n\r, \"b\":2}"), true},
    {"2", TEXT("[\f]"), false},
    {"2", TEXT("[\v1]"), false},
    {"2", TEXT("[\xC2\xA0]"), false}, /* a no-break space */
    {"2", TEXT("[1]\0"), false},
    {"2", TEXT("\0[1]"), false},
    {"2", TEXT("1 2"), false},
    {"2", TEXT("[1]]"), false},
    {"2", TEXT("[] {}"), false},
    {"2", TEXT("[1] // remark"), false},
    {"2", TEXT("[1 /* remark */]"), false},
    {"2", TEXT("[1}"), false},
    {"2", TEXT("{\"a\":1]"), false},
    {"3", TEXT("true"), true},
    {"3", TEXT("false"), true},
    {"3", TEXT("null"), true},
    {"3", TEXT("[true,false,null]"), true},
    {"3", TEXT("True"), false},
    {"3", TEXT("NULL"), false},
    {"3", TEXT("tru"), false},
    {"3", TEXT("truee"), false},
    {"3", TEXT("nul]"), false},
    {"3", TEXT("undefined"), false},
    {"3", TEXT("\"Hello world!\""), true}, /* sec. 13, like the next two */
    {"3", TEXT("42"), true},
    {"3", TEXT("'a'"), false},
    {"4", TEXT("{}"), true},
    {"4", TEXT("{\"a\":1}"), true},
    {"4", TEXT("{\"\":0}"), true},
    {"4", TEXT("{\"a\":{\"a\":{}},\"b\":[]}"), true},
    {"4", TEXT("{\"a\":1,\"a\":2}"), true}, /* names SHOULD be unique: json_read's business */
    {"4", TEXT("{"), false},
    {"4", TEXT("{,}"), false},
    {"4", TEXT("{\"a\"}"), false},
    {"4", TEXT("{\"a\":}"), false},
    {"4", TEXT("{\"a\":1,}"), false},
    {"4", TEXT("{\"a\":1,,\"b\":2}"), false},
    {"4", TEXT("{,\"a\":1}"), false},
    {"4", TEXT("{\"a\" 1}"), false},
    {"4", TEXT("{\"a\"::1}"), false},
    {"4", TEXT("{\"a\":1 \"b\":2}"), false},
    {"4", TEXT("{\"a\":1;\"b\":2}"), false},
    {"4", TEXT("{a:1}"), false},
    {"4", TEXT("{1:1}"), false},
    {"4", TEXT("{'a':1}"), false},
    {"4", TEXT("{null:1}"), false},
    {"4", TEXT("{\"a\":1"), false},
    {"4", TEXT("{\"a\""), false},
    {"4", TEXT("{\"a\":"), false},
    {"5", TEXT("[]"), true},
    {"5", TEXT("[1,\"a\",[],{}]"), true},
    {"5", TEXT("["), false},
    {"5", TEXT("[1"), false},
    {"5", TEXT("[1,"), false},
    {"5", TEXT("[1,]"), false},
    {"5", TEXT("[,1]"), false},
    {"5", TEXT("[,]"), false},
    {"5", TEXT("[1,,2]"), false},
    {"5", TEXT("[1 2]"), false},
    {"5", TEXT("[1:2]"), false},
    {"5", TEXT("[\"a\":1]"), false},
    {"5", TEXT("]"), false},
    {"6", TEXT("0"), true},
    {"6", TEXT("-0"), true},
    {"6", TEXT("-0.0"), true},
    {"6", TEXT("-1"), true},
    {"6", TEXT("10"), true},
    {"6", TEXT("1.5"), true},
    {"6", TEXT("0.000"), true},
    {"6", TEXT("1e5"), true},
    {"6", TEXT("1E5"), true},
    {"6", TEXT("1e+5"), true},
    {"6", TEXT("1e-05"), true},
    {"6", TEXT("-1.50E+007"), true},
    {"6", TEXT("0e0"), true},
    {"6", TEXT("0E-1"), true},
    {"6", TEXT("[1.5]"), true},
    {"6", TEXT("+1"), false},
    {"6", TEXT("-"), false},
    {"6", TEXT("--1"), false},
    {"6", TEXT("- 1"), false},
    {"6", TEXT("-a"), false},
    {"6", TEXT("00"), false},
    {"6", TEXT("01"), false},
    {"6", TEXT("-01"), false},
    {"6", TEXT("1."), false},
    {"6", TEXT("1.e5"), false},
    {"6", TEXT("[1.]"), false},
    {"6", TEXT(".5"), false},
    {"6", TEXT("-.5"), false},
    {"6", TEXT("1e"), false},
    {"6", TEXT("1e+"), false},
    {"6", TEXT("[1e]"), false},
    {"6", TEXT("1e5.5"), false},
    {"6", TEXT("1.5.5"), false},
    {"6", TEXT("1,5"), false},
    {"6", TEXT("1_000"), false},
    {"6", TEXT("0x10"), false},
    {"6", TEXT("1f"), false},
    {"6", TEXT("NaN"), false},
    {"6", TEXT("Infinity"), false},
    {"6", TEXT("-Infinity"), false},
    {"6", TEXT("\xD9\xA1"), false}, /* an Arabic digit one */
    /* "limits on the range and precision of numbers": int64_t and double */
    {"6", TEXT("9223372036854775807"), true},
    {"6", TEXT("9223372036854775808"), false},
    {"6", TEXT("-9223372036854775808"), true},
    {"6", TEXT("-9223372036854775809"), false},
    {"6", TEXT("18446744073709551616"), false},
    {"6", TEXT("100000000000000000000"), false},
    {"6", TEXT("100000000000000000000.0"), true},
    {"6", TEXT("1.7976931348623157e308"), true},
    {"6", TEXT("1.7976931348623158e308"), true},
    {"6", TEXT("1.7976931348623159e308"), false},
    {"6", TEXT("-1e309"), false},
    {"6", TEXT("1e999999999999999999999999"), false},
    {"6", TEXT("1e-999999999999999999999999"), true},
    {"6", TEXT("0e999999999999999999999999"), true},
    {"7", TEXT("\"\""), true},
    {"7", TEXT("\" !#[]~\x7F\""), true},
    {"7", TEXT("\"\\\"\\\\\\/\\b\\f\\n\\r\\t\""), true},
    {"7", TEXT("\"\\u0041\\u00e9\\u00E9\\u20ac\\uFFFF\""), true},
    {"7", TEXT("\"\\uD834\\uDD1E\""), true}, /* the section's example: G clef */
    {"7", TEXT("\"\\ud800\\udc00\\udbff\\udfff\""), true},
    {"7", TEXT("{\"\\u0061\\n\":\"b\\tc\"}"), true},
    {"7", TEXT("\""), false},
    {"7", TEXT("\"a"), false},
    {"7", TEXT("\"\\"), false},
    {"7", TEXT("\"\\\""), false},
    {"7", TEXT("\"\\u"), false},
    {"7", TEXT("\"\\u004"), false},
    {"7", TEXT("\"\\u004\""), false},
    {"7", TEXT("\"\\u00g1\""), false},
    {"7", TEXT("\"\\U0041\""), false},
    {"7", TEXT("\"\\a\""), false},
    {"7", TEXT("\"\\'\""), false},
    {"7", TEXT("\"\\x41\""), false},
    {"7", TEXT("\"\\0\""), false},
    {"7", TEXT("\"\\\0\""), false},
    {"7", TEXT("\"\\\n\""), false},
    {"7", TEXT("\"a\tb\""), false},
    {"7", TEXT("\"a\nb\""), false},
    {"7", TEXT("\"a\x1F\""), false},
    {"7", TEXT("\"a\0b\""), false},
    {"7", TEXT("\"\\n\t\""), false},
    /* sec. 8.2: what a lone surrogate means is unpredictable; NUL ends our texts */
    {"8.2", TEXT("\"\\uD834\""), false},
    {"8.2", TEXT("\"\\uD834x\""), false},
    {"8.2", TEXT("\"\\uD834\\n\""), false},
    {"8.2", TEXT("\"\\uD834\\u0041\""), false},
    {"8.2", TEXT("\"\\uD834\\uD834\""), false},
    {"8.2", TEXT("\"\\uD834\\uE000\""), false},
    {"8.2", TEXT("\"\\uDC00\\uDC00\""), false},
    {"8.2", TEXT("\"\\uDD1E\""), false},
    {"8.2", TEXT("\"\\uDD1E\\uD834\""), false},
    {"8.2", TEXT("\"\\uD834\\uDD1"), false},
    {"8.2", TEXT("\"\\u0000\""), false},
    {"8.2", TEXT("{\"a\\u0000\":1}"), false},
    /* UTF-8: the bounds of RFC 3629 sec. 4 */
    {"8.1", TEXT("\xEF\xBB\xBF[]"), false},
    {"8.1", TEXT("\"\xC2\x80\xDF\xBF\xE0\xA0\x80\xED\x9F\xBF\xEE\x80\x80\xEF\xBF\xBF\""), true},
    {"8.1", TEXT("\"\xF0\x90\x80\x80\xF4\x8F\xBF\xBF\""), true},
    {"8.1", TEXT("\"\\n\xC3\xA9\\n\xF0\x9F\x98\x82\""), true},
    {"8.1", TEXT("\"\x80\""), false},
    {"8.1", TEXT("\"\xC0\x80\""), false},
    {"8.1", TEXT("\"\xC1\xBF\""), false},
    {"8.1", TEXT("\"\xE0\x9F\xBF\""), false},
    {"8.1", TEXT("\"\xED\xA0\x80\""), false},
    {"8.1", TEXT("\"\xF0\x8F\xBF\xBF\""), false},
    {"8.1", TEXT("\"\xF4\x90\x80\x80\""), false},
    {"8.1", TEXT("\"\xF5\x80\x80\x80\""), false},
    {"8.1", TEXT("\"\xFF\""), false},
    {"8.1", TEXT("\"\xC3\""), false},
    {"8.1", TEXT("\"\xC3"), false},
    {"8.1", TEXT("\"\xE2\x82"), false},
    {"8.1", TEXT("\"\\n\xE2\x82\""), false},
    {"8.1", TEXT("{\"\xFF\":1}"), false},
    {"8.1", TEXT("\xFF"), false},
    /* sec. 13: the two larger examples */
    {"13",
     TEXT("{\n  \"Image\": {\n    \"Width\":  800,\n    \"Height\": 600,\n"
          "    \"Title\":  \"View from 15th Floor\",\n    \"Thumbnail\": {\n"
          "      \"Url\":    \"http://www.example.com/image/481989943\",\n"
          "      \"Height\": 125,\n      \"Width\":  100\n    },\n"
          "    \"Animated\" : false,\n    \"IDs\": [116, 943, 234, 38793]\n  }\n}"),
     true},
    {"13",
     TEXT("[\n  {\n    \"precision\": \"zip\",\n    \"Latitude\":  37.7668,\n"
          "    \"Longitude\": -122.3959,\n    \"Address\":   \"\",\n"
          "    \"City\":      \"SAN FRANCISCO\",\n    \"State\":     \"CA\",\n"
          "    \"Zip\":       \"94107\",\n    \"Country\":   \"US\"\n  },\n"
          "  {\n    \"precision\": \"zip\",\n    \"Latitude\":  37.371991,\n"
          "    \"Longitude\": -122.026020,\n    \"Address\":   \"\",\n"
          "    \"City\":      \"SUNNYVALE\",\n    \"State\":     \"CA\",\n"
          "    \"Zip\":       \"94085\",\n    \"Country\":   \"US\"\n  }\n]"),
     true},
};

static void the_grammar_of_the_standard(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT_OF(documents); i++) {
        struct err err;
        if (is_json(documents[i].bytes, documents[i].length, &err) != documents[i].is_json)
            fail_msg("sec. %s: %s: %s", documents[i].section, documents[i].bytes, err.text);
    }
}

/* Texts with escapes about the length that is kept, and far beyond. */
static void long_texts(void **state) {
    (void)state;
    static const size_t lengths[] = {JSON_TEXT_KEPT - 3, JSON_TEXT_KEPT - 2, JSON_TEXT_KEPT - 1,
                                     JSON_TEXT_KEPT,     JSON_TEXT_KEPT + 1, 70000};
    static const char *const pieces[] = {"x", "\\n", "\\u00e9", "\\ud83d\\ude02", "\xE2\x82\xAC"};
    for (size_t i = 0; i < COUNT_OF(lengths); i++)
        for (size_t k = 0; k < COUNT_OF(pieces); k++) {
            struct text text;
            struct err err;
            text_init(&text, 1 << 20);
            text_put(&text, "{\"a\":\"\\t");
            for (size_t n = 0; n < lengths[i]; n++)
                text_put(&text, pieces[k]);
            text_put(&text, "\"}");
            assert_true(is_json(text.bytes, text.length, &err));
            text_release(&text);
        }
}

static void nesting(void **state) {
    (void)state;
    struct text text;
    struct err err;
    static const char *const opens[] = {"[", "{\"a\":"}, *const closes[] = {"]", "}"};
    for (int kind = 0; kind < 2; kind++)
        for (int depth = JSON_TEXT_DEPTH_MAX; depth <= JSON_TEXT_DEPTH_MAX + 1; depth++) {
            text_init(&text, 1 << 20);
            for (int i = 0; i < depth; i++)
                text_put(&text, opens[(kind + i) % 2]);
            text_put(&text, "1");
            for (int i = depth; i-- > 0;)
                text_put(&text, closes[(kind + i) % 2]);
            struct json_text ours;
            err_clear(&err);
            json_text_init(&ours, text.bytes, text.length);
            json_text_skip(&ours, json_text_value(&ours));
            assert_int_equal(json_text_finish(&ours, &err), depth > JSON_TEXT_DEPTH_MAX ? -1 : 0);
            if (depth > JSON_TEXT_DEPTH_MAX)
                assert_non_null(strstr(err.text, "the nesting is too deep"));
            text_release(&text);
        }
}

/* Beside one another there may be any number. */
static void many_side_by_side(void **state) {
    (void)state;
    struct text text;
    struct err err;
    text_init(&text, 1 << 20);
    text_put(&text, "[[]");
    for (int i = 0; i < 10 * JSON_TEXT_DEPTH_MAX; i++)
        text_put(&text, i % 2 == 0 ? ",{\"a\":[1,{}]}" : ",[[],[]]");
    text_put(&text, "]");
    assert_true(is_json(text.bytes, text.length, &err));
    text_release(&text);
}

/* ---- mutated runs ---- */

struct dice {
    uint64_t bits; /* xorshift: any seed but 0 */
};

static size_t below(struct dice *dice, size_t bound) {
    dice->bits ^= dice->bits << 13;
    dice->bits ^= dice->bits >> 7;
    dice->bits ^= dice->bits << 17;
    return (size_t)(dice->bits >> 11) % bound;
}

static const char run_body[] =
    "{\"gnomon\": {\"parts\": [{\"length_mm\": 1000}, {\"length_mm\": 3.5e2, \"sigma_mm\": 0.5}],"
    " \"edge\": \"umbra\"},\n \"sky\": \"clear, \\u00e9t\xC3\xA9 \\ud83c\\udf1e\", \"level\": "
    "\"spirit level, both ways\", \"note\": null, \"pressure_hpa\": 1013.25,\n"
    " \"readings\": [\n"
    "  {\"time\": \"2027-03-18T17:24:48Z\", \"shadow_mm\": 1070},\n"
    "  {\"time\": \"2027-03-18T17:30:36.25+01:00\", \"shadow_mm\": 1059.5, \"sigma_mm\": 2},\n"
    "  {\"time\": \"2027-03-18T17:37:26Z\", \"shadow_mm\": 1.057E+3, \"bearing_deg\": 359.9},\n"
    "  {\"shadow_mm\": 1048, \"time\": \"2027-03-18T17:44:45Z\"}\n"
    " ], \"supersedes\": 9007199254740991,\n"
    " \"clock\": {\"offset_s\": -0.25, \"sigma_s\": 0.5}}\n";

#define MUTANT_MAX (2 * sizeof run_body)

/* One to three changes at chance: a byte set, taken out, put in; a piece doubled, moved or
 * dropped. Bytes are those that mean something to a reader. */
static size_t mutate(struct dice *dice, char out[MUTANT_MAX]) {
    static const char telling[] =
        "{}[]\",:\\/0123456789.-+eEutfnrb \n\t\xC3\xA9\xF0\x9F\x80\xFF\x7F";
    size_t length = sizeof run_body - 1;
    memcpy(out, run_body, length);
    for (size_t changes = 1 + below(dice, 3); changes > 0; changes--) {
        const size_t at = below(dice, length);
        size_t piece = 1 + below(dice, 40);
        if (piece > length - at)
            piece = length - at;
        const char byte = telling[below(dice, sizeof telling)]; /* the NUL too */
        switch (below(dice, 5)) {
        case 0:
            out[at] = byte;
            break;
        case 1:
            memmove(out + at, out + at + 1, --length - at);
            break;
        case 2:
            memmove(out + at + 1, out + at, length++ - at);
            out[at] = byte;
            break;
        case 3:
            memmove(out + at + piece, out + at, length - at);
            length += piece;
            break;
        default:
            memmove(out + at, out + at + piece, length - at - piece);
            length -= piece;
            break;
        }
    }
    return length;
}

/* A record is refused as no JSON where jansson refuses the text, but for a key that
 * stands twice where no record has it: there something else is wrong as well. */
static void check_record(const char *bytes, size_t length, long told[2]) {
    static struct run_record run;
    struct err err = {.code = ERR_NONE};
    json_error_t error;
    char *copy = bare_copy(bytes, length);
    json_t *theirs = read_by_jansson(copy + 1, length, JSON_REJECT_DUPLICATES, &error);
    const int outcome = record_read_run(copy + 1, length, &run, &err);
    const bool twice = theirs == NULL && json_error_code(&error) == json_error_duplicate_key;
    assert_int_equal(outcome, err.code == ERR_NONE ? 0 : -1);
    if ((err.code == ERR_BAD_JSON) != (theirs == NULL) && !(twice && err.code != ERR_NONE))
        fail_msg("%.*s\nthe reader says \"%s\", jansson \"%s\"", (int)length, bytes, err.text,
                 error.text);
    told[outcome == 0]++;
    json_decref(theirs);
    free(copy);
}

static void mutated_runs(void **state) {
    (void)state;
    enum { MUTANTS = 20000 };
    struct dice dice = {.bits = 0x9E3779B97F4A7C15};
    long json[2] = {0}, taken[2] = {0};
    char mutant[MUTANT_MAX];
    struct err err;
    assert_true(is_json(run_body, sizeof run_body - 1, &err));
    for (int i = 0; i < MUTANTS; i++) {
        const size_t length = mutate(&dice, mutant);
        json[is_json(mutant, length, &err)]++;
        check_record(mutant, length, taken);
    }
    print_message("of %d mutated runs %ld are JSON, %ld are runs\n", MUTANTS, json[1], taken[1]);
    /* so that neither answer is rare */
    assert_true(json[0] > MUTANTS / 10 && json[1] > MUTANTS / 10);
    assert_true(taken[1] > MUTANTS / 50);
}

/* ---- numbers ---- */

static void assert_as_strtod(const char *number) {
    struct json_number ours;
    const size_t length = strlen(number);
    char *copy = bare_copy(number, length);
    const char *at = copy + 1;
    const double theirs = strtod(number, NULL);
    const enum json_number_status status = json_number_take(&at, copy + 1 + length, &ours);
    if (isinf(theirs)) {
        assert_int_equal(status, JSON_NUMBER_TOO_LARGE);
    } else if (status != JSON_NUMBER_READ || at != copy + 1 + length ||
               memcmp(&ours.real, &theirs, sizeof theirs) != 0) {
        fail_msg("%s: %a, and strtod says %a", number, ours.real, theirs);
    }
    free(copy);
}

/* Where readers are known to go wrong; all but the first rows are arithmetic about the
 * bounds of binary64 (IEEE 754-2019 table 3.5). */
static void numbers_that_are_hard(void **state) {
    (void)state;
    static const char *const rows[] = {
        /* slow or wrong in readers of 2010 and 2011: from memory */
        "2.2250738585072011e-308", "2.2250738585072012e-308", "6.631236846766476e-316",
        /* half way between doubles: to even, and a little beside it */
        "9007199254740993.0", "9007199254740995.0", "9007199254740993.00000000000000000000000001",
        "9007199254740992.99999999999999999999999999", "1.00000000000000011102230246251565404236",
        "1.00000000000000011102230246251565404236316680908203125",
        "1.00000000000000011102230246251565404236316680908203124",
        "1.00000000000000011102230246251565404236316680908203126", "5e-324", "4.9e-324",
        "2.4703282292062327208e-324", "2.4703282292062328e-324", "2e-324", "3e-324", "1e-400",
        "-1e-400", "2.2250738585072014e-308", "2.225073858507201e-308", "1.7976931348623157e308",
        "1.7976931348623158e308", "179769313486231580793728971405301e276",
        "0.000000000000000000000000000000000000000000000000000000000000000000000000000001e78",
        /* the ends of the quick way: 2^53, ten to the 22nd */
        "9007199254740992e0", "9007199254740992e22", "9007199254740993e22", "9007199254740991e-22",
        "1e22", "1e23", "1e-22", "1e-23", "123456789012345678e-5", "1234567890123456789e-5",
        "12345678901234567890e-5", "0.1", "0.3", "1070.0", "359.9", "0.0", "-0.0", "0e5", "-0e-5"};
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        assert_as_strtod(rows[i]);
}

/* What lies half way between two doubles is told by its last digit, the 767th at most;
 * long double holds it, and printf writes all of it. */
static void half_ways(void **state) {
    (void)state;
    enum { DECIMALS = 1080, ROOM = 4096 };
    static const char *const behind[] = {"", "0", "1", "000000000000000000000000000001"};
    struct dice dice = {.bits = 0x2545F4914F6CDD1D};
    char number[ROOM];
    for (int i = 0; i < 2000; i++) {
        below(&dice, 2);
        const double value = ldexp((double)(dice.bits >> (11 + i % 50)), -1074);
        const long double half = ((long double)value + nextafter(value, INFINITY)) / 2;
        const int length = snprintf(number, sizeof number, "%.*Lf", DECIMALS, half);
        for (size_t k = 0; k < COUNT_OF(behind); k++) {
            snprintf(number + length, sizeof number - (size_t)length, "%s", behind[k]);
            assert_as_strtod(number);
        }
        char *last = number + length - 1;
        while (*last == '0')
            last--;
        *last = (char)(*last - 1); /* just below */
        number[length] = '\0';
        assert_as_strtod(number);
    }
}

static void numbers_with_very_many_digits(void **state) {
    (void)state;
    enum { ROOM = 4096 };
    char number[ROOM];
    for (size_t nines = 15; nines < 1200; nines += 7) {
        memset(number, '9', nines);
        snprintf(number + nines, sizeof number - nines, "e-%zu", nines);
        assert_as_strtod(number);
        number[0] = '0';
        number[1] = '.';
        number[nines] = '\0';
        assert_as_strtod(number);
        memset(number, '0', nines);
        number[1] = '.';
        snprintf(number + nines, sizeof number - nines, "12345678901234567891e%zu", nines);
        assert_as_strtod(number);
    }
    /* a half-way mark whose decision stands behind more digits than are kept */
    for (int zeros = 700; zeros < 900; zeros += 13) {
        int length = snprintf(number, sizeof number, "9007199254740993.");
        memset(number + length, '0', (size_t)zeros);
        snprintf(number + length + zeros, sizeof number - (size_t)(length + zeros), "1");
        assert_as_strtod(number);
        number[length + zeros] = '0';
        assert_as_strtod(number);
    }
}

static void numbers_at_chance(void **state) {
    (void)state;
    struct dice dice = {.bits = 88172645463325252u};
    char number[80];
    for (int i = 0; i < 100000; i++) {
        const size_t digits = 1 + below(&dice, 22);
        size_t length = 0;
        if (below(&dice, 2) == 0)
            number[length++] = '-';
        number[length++] = (char)('1' + below(&dice, 9));
        for (size_t n = 1; n < digits; n++)
            number[length++] = (char)('0' + below(&dice, 10));
        number[length++] = '.';
        for (size_t n = 1 + below(&dice, 12); n > 0; n--)
            number[length++] = (char)('0' + below(&dice, 10));
        number[length] = '\0';
        assert_as_strtod(number);
        const int spread = i % 2 == 0 ? 30 : 345;
        snprintf(number + length, sizeof number - length, "e%d",
                 (int)below(&dice, (size_t)(2 * spread)) - spread);
        assert_as_strtod(number);
    }
    /* doubles of any bits, with the digits that give them back, and with one less */
    for (int i = 0; i < 100000; i++) {
        double value;
        below(&dice, 2);
        memcpy(&value, &dice.bits, sizeof value);
        for (int digits = 15; digits <= 16 && isfinite(value); digits++) {
            snprintf(number, sizeof number, "%.*e", digits, value);
            assert_as_strtod(number);
        }
    }
}

static void whole_numbers(void **state) {
    (void)state;
    static const struct {
        const char *text;
        enum json_number_status status;
        int64_t whole;
    } rows[] = {
        {"0", JSON_NUMBER_READ, 0},
        {"-0", JSON_NUMBER_READ, 0},
        {"9007199254740993", JSON_NUMBER_READ, 9007199254740993},
        {"999999999999999999", JSON_NUMBER_READ, 999999999999999999},
        {"1000000000000000000", JSON_NUMBER_READ, 1000000000000000000},
        {"9223372036854775807", JSON_NUMBER_READ, INT64_MAX},
        {"9223372036854775808", JSON_NUMBER_TOO_LARGE, 0},
        {"9999999999999999999", JSON_NUMBER_TOO_LARGE, 0},
        {"-9223372036854775808", JSON_NUMBER_READ, INT64_MIN},
        {"-9223372036854775809", JSON_NUMBER_TOO_LARGE, 0},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct json_number number;
        const char *at = rows[i].text;
        assert_int_equal(json_number_take(&at, at + strlen(at), &number), rows[i].status);
        if (rows[i].status != JSON_NUMBER_READ)
            continue;
        assert_true(number.is_whole);
        assert_true(number.whole == rows[i].whole);
    }
}

/* ---- what is told ---- */

static void lines_and_columns(void **state) {
    (void)state;
    static const struct {
        const char *bytes;
        const char *text;
    } rows[] = {
        {"", "line 1, column 0: the text ends too early"},
        {"{", "line 1, column 1: the text ends too early"},
        {"{\"a\":1,\n \"b\":\n", "line 3, column 0: the text ends too early"},
        {"[1,]", "line 1, column 4: the syntax is wrong there"},
        {"{\"a\":1\n,,}", "line 2, column 2: the syntax is wrong there"},
        {"[\"\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x82\",x]",
         "line 1, column 8: the syntax is wrong there"},
        {"[nulL]", "line 1, column 5: the syntax is wrong there"},
        {"[-x]", "line 1, column 3: the syntax is wrong there"},
        {"[012]", "line 1, column 3: the syntax is wrong there"},
        {"[\"a\tb\"]", "line 1, column 4: the syntax is wrong there"},
        {"[\"a\\xb\"]", "line 1, column 5: the syntax is wrong there"},
        {"[\"a\\u12g4\"]", "line 1, column 8: the syntax is wrong there"},
        {"[\"a\\ud834b\"]", "line 1, column 10: the syntax is wrong there"},
        {"[\"a\\udd1e\"]", "line 1, column 4: the syntax is wrong there"},
        {"[1] 2", "line 1, column 5: something follows after the end"},
        {"[\"a\",\n\"b\xFF\"]", "line 2, column 3: the text there is not UTF-8"},
        {"[\"\xE2\x82\"]", "line 1, column 3: the text there is not UTF-8"},
        {"[\xFF]", "line 1, column 2: the text there is not UTF-8"},
        {"[1, 99999999999999999999]", "line 1, column 5: a number there is too large"},
        {"[1, -1e999]", "line 1, column 5: a number there is too large"},
        {"[\"a\\u0000\"]", "line 1, column 4: a text there holds a NUL character"},
        {"[\"a", "line 1, column 3: the text ends too early"},
        {"[tru", "line 1, column 4: the text ends too early"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct err err;
        assert_false(is_json(rows[i].bytes, strlen(rows[i].bytes), &err));
        if (strcmp(err.text, rows[i].text) != 0)
            fail_msg("%s\n%s\nand should be\n%s", rows[i].bytes, err.text, rows[i].text);
    }
}

#define GNOMON "\"gnomon\":{\"parts\":[{\"length_mm\":1000}],\"edge\":\"umbra\"}"
#define READING "{\"time\":\"2027-03-21T12:04:30Z\",\"shadow_mm\":880}"

static void check_told(const char *body, size_t length, enum err_code code, const char *field,
                       const char *text) {
    static struct run_record run;
    struct err err = {.code = ERR_NONE};
    assert_int_equal(record_read_run(body, length, &run, &err), code == ERR_NONE ? 0 : -1);
    if (err.code != code || strcmp(err.field, field) != 0 || strstr(err.text, text) == NULL)
        fail_msg("%.300s\n%s at \"%s\": %s", body, err_name(err.code), err.field, err.text);
    assert_int_equal(run.run.readings, code == ERR_NONE ? 1 : 0); /* refused: an empty one */
}

/* The first field is told, but what is wrong with the JSON before any field, and how many
 * a list has before what they are. */
static void the_first_of_several_mistakes(void **state) {
    (void)state;
    static const struct {
        const char *body;
        enum err_code code;
        const char *field, *text;
    } rows[] = {
        {"{" GNOMON ",\"readings\":[" READING "]}", ERR_NONE, "", ""},
        {"{\"sky\":1,\"level\":2," GNOMON ",\"readings\":[" READING "]}", ERR_WRONG_TYPE, "/sky",
         "a text belongs here, not a number"},
        {"{\"sky\":1}", ERR_WRONG_TYPE, "/sky", ""},
        {"{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30.123456789+01:00\","
         "\"shadow_mm\":880}]}",
         ERR_NONE, "", ""},
        {"{" GNOMON ",\"readings\":[{\"time\":\"2027-03-21T12:04:30.123456789+01:00                "
         "                      \",\"shadow_mm\":880}]}",
         ERR_BAD_TIME, "/readings/0/time", "ends the time"},
        {"{\"cloud\":{\"a\":[1,{\"b\":null}]},\"sky\":1}", ERR_UNKNOWN_FIELD, "/cloud",
         "a run has no such field"},
        {"{\"note\":\"n\"}", ERR_MISSING_FIELD, "/gnomon", "a run needs it"},
        {"{\"sky\":1,\"level\":2,}", ERR_BAD_JSON, "", "line 1, column 20: the syntax"},
        {"{\"cloud\":{\"a\":[1,{\"b\":nul}]}}", ERR_BAD_JSON, "", "line 1, column 26: the syntax"},
        {"{\"sky\":[1,{\"b\":[01]}]}", ERR_BAD_JSON, "", "column 18"},
        {"{\"sky\":\"a\",\n\"sky\":\"b\"}", ERR_BAD_JSON, "",
         "line 2, column 1: a key stands there twice"},
        {"{\"sky\":null,\"sky\":\"b\"}", ERR_BAD_JSON, "", "twice"},
        {"{\"note\":7,\"s\\u006by\":\"a\",\"sky\":\"b\"}", ERR_BAD_JSON, "", "twice"},
        {"{\"gnomon\":{\"edge\":1,\"edge\":2}}", ERR_BAD_JSON, "", "twice"},
        {"{\"readings\":[" READING ",{\"time\":1,\"time\":2}]}", ERR_BAD_JSON, "", "twice"},
        {"[{\"sky\":1,}]", ERR_BAD_JSON, "", "column 11"},
        {"[{\"sky\":1}]", ERR_WRONG_TYPE, "", "the body is one JSON object, in braces"},
        {"{" GNOMON ",\"readings\":[]}", ERR_OUT_OF_RANGE, "/readings",
         "1 to 240 belong in this list, not 0"},
        {"{\"sky\":1," GNOMON ",\"readings\":[]}", ERR_WRONG_TYPE, "/sky", ""},
        {"{\"gnomon\":{\"parts\":[" /* nine are one too many */
         "{\"length_mm\":\"x\"},{\"length_mm\":1},1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17]},"
         "\"readings\":[" READING "]}",
         ERR_OUT_OF_RANGE, "/gnomon/parts", "not 19"},
        {"{" GNOMON ",\"readings\":[" READING ",{\"time\":\"2027-03-21T12:04:30Z\","
         "\"shadow_mm\":880,\"a/~\\u00e9\\tb\":1}]}",
         ERR_UNKNOWN_FIELD, "/readings/1/a~1~0\xC3\xA9?b", "a reading has no such field"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        check_told(rows[i].body, strlen(rows[i].body), rows[i].code, rows[i].field, rows[i].text);
}

/* A text that is too long is told so with all its bytes, however it is written. */
static void a_text_that_is_too_long(void **state) {
    (void)state;
    static const char *const pieces[] = {"x", "\\u0078"};
    static const int lengths[] = {WEATHER_MAX, WEATHER_MAX + 1, JSON_TEXT_KEPT + 1, 5000};
    for (size_t i = 0; i < COUNT_OF(pieces); i++)
        for (size_t k = 0; k < COUNT_OF(lengths); k++) {
            struct text text;
            char told[80] = "";
            text_init(&text, 1 << 20);
            text_put(&text, "{" GNOMON ",\"readings\":[" READING "],\"sky\":\"");
            for (int n = 0; n < lengths[k]; n++)
                text_put(&text, pieces[i]);
            text_put(&text, "\"}");
            const bool fits = lengths[k] <= WEATHER_MAX;
            if (!fits)
                snprintf(told, sizeof told, "at most %d bytes fit here, this has %d", WEATHER_MAX,
                         lengths[k]);
            check_told(text.bytes, text.length, fits ? ERR_NONE : ERR_OUT_OF_RANGE,
                       fits ? "" : "/sky", told);
            text_release(&text);
        }
}

/* What is left out of a reading or a part is absent, whatever stood there before. */
static void what_is_left_out(void **state) {
    (void)state;
    static struct run_record run;
    static const char body[] =
        "{\"gnomon\":{\"parts\":[{\"length_mm\":1000},{\"length_mm\":5,\"sigma_mm\":0.25}],"
        "\"edge\":\"centre\"},\"readings\":["
        "{\"time\":\"2027-03-21T12:04:30Z\",\"shadow_mm\":880,\"sigma_mm\":null},"
        "{\"time\":\"2027-03-21T12:05:30Z\",\"shadow_mm\":881,\"sigma_mm\":2,\"bearing_deg\":0}]}";
    struct err err = {.code = ERR_NONE};
    memset(&run, 0xA5, sizeof run);
    assert_int_equal(record_read_run(body, strlen(body), &run, &err), 0);
    assert_int_equal(run.run.gnomon.parts, 2);
    assert_true(isnan(run.run.gnomon.part[0].sigma_m));
    assert_true(run.run.gnomon.part[1].sigma_m == 0.25 / 1000.0);
    assert_int_equal(run.run.readings, 2);
    assert_true(isnan(run.run.reading[0].shadow_sigma_m) && isnan(run.run.reading[0].bearing_deg));
    assert_true(run.run.reading[1].shadow_sigma_m == 2.0 / 1000.0);
    assert_true(run.run.reading[1].bearing_deg == 0.0);
    assert_true(isnan(run.run.pressure_hpa) && isnan(run.run.tilt_sigma_deg));
    assert_true(run.run.clock.sigma_s == 0.0);
    assert_int_equal(run.id, 0);
    assert_int_equal(run.supersedes, 0);
    assert_string_equal(run.sky, "");
    assert_string_equal(run.note, "");
}

/* Null and nothing are two things for a site's contact and decimals. */
static void null_and_nothing(void **state) {
    (void)state;
    static const struct {
        const char *more;
        int64_t decimals;
        bool unsaid;
    } rows[] = {
        {"", POSITION_UNSAID, true},
        {",\"contact\":null", POSITION_UNSAID, false},
        {",\"contact\":\"\",\"position_decimals\":null", POSITION_EXACT, false},
        {",\"position_decimals\":2", 2, true},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char body[200];
        struct site_record site;
        struct err err = {.code = ERR_NONE};
        snprintf(body, sizeof body,
                 "{\"name\":\"Los Aromos\",\"lat_deg\":-33.4,\"lon_deg\":-70.6%s}", rows[i].more);
        assert_int_equal(record_read_site(body, strlen(body), &site, &err), 0);
        assert_true(site.position_decimals == rows[i].decimals);
        assert_int_equal(site.contact_unsaid, rows[i].unsaid);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_grammar_of_the_standard),
        cmocka_unit_test(long_texts),
        cmocka_unit_test(nesting),
        cmocka_unit_test(many_side_by_side),
        cmocka_unit_test(mutated_runs),
        cmocka_unit_test(numbers_that_are_hard),
        cmocka_unit_test(half_ways),
        cmocka_unit_test(numbers_with_very_many_digits),
        cmocka_unit_test(numbers_at_chance),
        cmocka_unit_test(whole_numbers),
        cmocka_unit_test(lines_and_columns),
        cmocka_unit_test(the_first_of_several_mistakes),
        cmocka_unit_test(a_text_that_is_too_long),
        cmocka_unit_test(what_is_left_out),
        cmocka_unit_test(null_and_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
