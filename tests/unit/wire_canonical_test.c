/* SPDX-License-Identifier: MIT */
/* canonical: RFC 8785 (Rundgren, Jordan, Erdtman 2020) by its own examples and by
 * the published sequence of numbers, FIPS 180-4 by the examples that NIST
 * publishes with it. */
#include "tests/unit/near.h"

#include <inttypes.h>
#include <math.h>
#include <sodium.h>
#include <string.h>

#include "server/wire/canonical.h"
#include "tests/data/es6_numbers.h"

static double double_of(uint64_t bits) {
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* RFC 8785 appendix B, but for its two rows that are no numbers. */
static void test_numbers_of_the_standard(void **state) {
    (void)state;
    static const struct {
        uint64_t bits;
        const char *text;
    } rows[] = {
        {0x0000000000000000, "0"},
        {0x8000000000000000, "0"},
        {0x0000000000000001, "5e-324"},
        {0x8000000000000001, "-5e-324"},
        {0x7fefffffffffffff, "1.7976931348623157e+308"},
        {0xffefffffffffffff, "-1.7976931348623157e+308"},
        {0x4340000000000000, "9007199254740992"},
        {0xc340000000000000, "-9007199254740992"},
        {0x4430000000000000, "295147905179352830000"},
        {0x44b52d02c7e14af5, "9.999999999999997e+22"},
        {0x44b52d02c7e14af6, "1e+23"},
        {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
        {0x444b1ae4d6e2ef4e, "999999999999999700000"},
        {0x444b1ae4d6e2ef4f, "999999999999999900000"},
        {0x444b1ae4d6e2ef50, "1e+21"},
        {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
        {0x3eb0c6f7a0b5ed8d, "0.000001"},
        {0x41b3de4355555553, "333333333.3333332"},
        {0x41b3de4355555554, "333333333.33333325"},
        {0x41b3de4355555555, "333333333.3333333"},
        {0x41b3de4355555556, "333333333.3333334"},
        {0x41b3de4355555557, "333333333.33333343"},
        {0xbecbf647612f3696, "-0.0000033333333333333333"},
        {0x43143ff3c1cb0959, "1424953923781206.2"},
    };
    char text[CANONICAL_NUMBER_SIZE];
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        canonical_number(double_of(rows[i].bits), text);
        assert_string_equal(text, rows[i].text);
    }
}

/* The sequence behind es6_numbers.h, one double after the other. */
struct sequence {
    size_t next;
    unsigned char block[crypto_hash_sha256_BYTES];
    size_t used; /* doubles of the block */
};

static uint64_t sequence_next(struct sequence *sequence) {
    const size_t at = sequence->next++, fixed = COUNT_OF(es6_fixed);
    if (at < fixed)
        return es6_fixed[at];
    if (at < fixed + 2000)
        return 0x0010000000000000 + (at - fixed);
    for (;;) {
        if (sequence->used == sizeof sequence->block / sizeof(uint64_t)) {
            crypto_hash_sha256(sequence->block, sequence->block, sizeof sequence->block);
            sequence->used = 0;
        }
        uint64_t bits;
        memcpy(&bits, sequence->block + sizeof bits * sequence->used++, sizeof bits);
        const double value = double_of(bits);
        if (value != 0.0 && isfinite(value))
            return bits;
    }
}

static void test_published_sequence(void **state) {
    (void)state;
    struct sequence sequence = {.used = sizeof sequence.block / sizeof(uint64_t)};
    crypto_hash_sha256_state hash;
    crypto_hash_sha256_init(&hash);
    int lines = 0;
    for (size_t i = 0; i < COUNT_OF(es6_published); i++) {
        for (; lines < es6_published[i].lines; lines++) {
            char number[CANONICAL_NUMBER_SIZE], line[64];
            const uint64_t bits = sequence_next(&sequence);
            canonical_number(double_of(bits), number);
            int length = snprintf(line, sizeof line, "%" PRIx64 ",%s\n", bits, number);
            crypto_hash_sha256_update(&hash, (unsigned char *)line, (size_t)length);
        }
        crypto_hash_sha256_state so_far = hash;
        unsigned char bytes[crypto_hash_sha256_BYTES];
        char hex[CANONICAL_SHA256_SIZE];
        crypto_hash_sha256_final(&so_far, bytes);
        sodium_bin2hex(hex, sizeof hex, bytes, sizeof bytes);
        assert_string_equal(hex, es6_published[i].sha256);
    }
}

static void assert_canonical(const char *json, const char *expected) {
    struct text text;
    struct err err = {0};
    text_init(&text, 4096);
    if (canonical_rewrite(json, strlen(json), &text, &err))
        fail_msg("%s: %s", json, err.text);
    assert_string_equal(text.bytes, expected);
    text_release(&text);
}

static void test_documents_of_the_standard(void **state) {
    (void)state;
    /* sec. 3.2.2 */
    assert_canonical("{\n  \"numbers\": [333333333.33333329, 1E30, 4.50, 2e-3, "
                     "0.000000000000000000000000001],\n  \"string\": "
                     "\"\\u20ac$\\u000F\\u000aA'\\u0042\\u0022\\u005c\\\\\\\"\\/\",\n  "
                     "\"literals\": [null, true, false]\n}",
                     "{\"literals\":[null,true,false],\"numbers\":[333333333.3333333,1e+30,4.5,"
                     "0.002,1e-27],\"string\":\"\xE2\x82\xAC$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}");
    /* sec. 3.2.3 */
    assert_canonical("{\"\\u20ac\": \"Euro Sign\", \"\\r\": \"Carriage Return\", \"\\ufb33\": "
                     "\"Hebrew Letter Dalet With Dagesh\", \"1\": \"One\", \"\\ud83d\\ude00\": "
                     "\"Emoji: Grinning Face\", \"\\u0080\": \"Control\", \"\\u00f6\": \"Latin "
                     "Small Letter O With Diaeresis\"}",
                     "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\xC2\x80\":\"Control\","
                     "\"\xC3\xB6\":\"Latin Small Letter O With Diaeresis\",\"\xE2\x82\xAC\":\"Euro "
                     "Sign\",\"\xF0\x9F\x98\x80\":\"Emoji: Grinning Face\",\"\xEF\xAC\xB3\":"
                     "\"Hebrew Letter Dalet With Dagesh\"}");
    /* github.com/cyberphone/json-canonicalization, testdata/input/weird.json */
    assert_canonical(
        "{\"\\u20ac\": \"Euro Sign\", \"1\": \"One\", \"\\u0080\": \"Control\\u007f\", "
        "\"\\ud83d\\ude02\": \"Smiley\", \"\\u00f6\": \"Latin Small Letter O With Diaeresis\", "
        "\"\\ufb33\": \"Hebrew Letter Dalet With Dagesh\", \"</script>\": \"Browser Challenge\"}",
        "{\"1\":\"One\",\"</script>\":\"Browser Challenge\",\"\xC2\x80\":\"Control\x7F\","
        "\"\xC3\xB6\":\"Latin Small Letter O With Diaeresis\",\"\xE2\x82\xAC\":\"Euro Sign\","
        "\"\xF0\x9F\x98\x82\":\"Smiley\",\"\xEF\xAC\xB3\":\"Hebrew Letter Dalet With Dagesh\"}");
}

static void test_plumbing(void **state) {
    (void)state;
    assert_canonical(" 17 ", "17");
    assert_canonical("[]", "[]");
    assert_canonical("{\"b\":{},\"a\":[-0.0, -7, 1e2, 123456789012345680000, 9007199254740993]}",
                     "{\"a\":[0,-7,100,123456789012345680000,9007199254740992],\"b\":{}}");
    assert_canonical("\"\\b\\t\\n\\f\\r\\u0001\"", "\"\\b\\t\\n\\f\\r\\u0001\"");
    static const char *const refused[] = {"",    "{",           "[1,]", "{\"a\":1,\"a\":2}",
                                          "1 2", "\"\\ud800\"", "NaN",  "1e999"};
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        struct text text;
        struct err err = {0};
        text_init(&text, 4096);
        assert_int_equal(canonical_rewrite(refused[i], strlen(refused[i]), &text, &err), -1);
        assert_int_equal(err.code, ERR_BAD_JSON);
        text_release(&text);
    }
}

/* FIPS 180-4 (2015) names its examples: csrc.nist.gov, "SHA256.pdf" (one block, two
 * blocks) and "SHA2_Additional.pdf" (a million a); the empty message is of the test
 * vectors of the validation programme. */
static void test_sha256(void **state) {
    (void)state;
    char hex[CANONICAL_SHA256_SIZE];
    canonical_sha256("abc", 3, hex);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    const char *two_blocks = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    canonical_sha256(two_blocks, strlen(two_blocks), hex);
    assert_string_equal(hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    canonical_sha256("", 0, hex);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    static char million[1000000];
    memset(million, 'a', sizeof million);
    canonical_sha256(million, sizeof million, hex);
    assert_string_equal(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_of_the_standard),
        cmocka_unit_test(test_published_sequence),
        cmocka_unit_test(test_documents_of_the_standard),
        cmocka_unit_test(test_plumbing),
        cmocka_unit_test(test_sha256),
    };
    return cmocka_run_group_tests_name("wire canonical", tests, NULL, NULL);
}
