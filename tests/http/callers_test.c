/* SPDX-License-Identifier: MIT */
/* What the limits are made of, without a server: addresses, connections counted
 * by address, and token buckets under a clock of the test's own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include <arpa/inet.h>
#include <math.h>
#include <netinet/in.h>
#include <sodium.h>

#include "server/http/address.h"
#include "server/http/bucket.h"
#include "server/http/crowd.h"

#define SECOND_US 1000000LL

static struct address parsed(const char *text) {
    struct address out;
    assert_true(address_parse(text, &out));
    return out;
}

/* RFC 4291 section 2.5.5.2 (IPv4-mapped); RFC 6177: a site is given a /64 at least. */
static void addresses(void **state) {
    static const struct {
        const char *a, *b;
        bool same;
    } rows[] = {
        {"192.0.2.7", "192.0.2.7", true},
        {"192.0.2.7", "192.0.2.8", false},
        {"192.0.2.7", "::ffff:192.0.2.7", true},
        {"::ffff:192.0.2.7", "::ffff:192.0.2.8", false},
        {"2001:db8:1:2::1", "2001:db8:1:2:ffff:ffff:ffff:ffff", true},
        {"2001:db8:1:2::1", "2001:db8:1:3::1", false},
        {"::1", "::2", false},
    };
    static const char *const none[] = {"", "localhost", "192.0.2", "192.0.2.7:80", "[::1]", "::g"};
    struct address out;
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct address a = parsed(rows[i].a), b = parsed(rows[i].b);
        assert_int_equal(address_equal(&a, &b), rows[i].same);
    }
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
        assert_false(address_parse(none[i], &out));
    struct sockaddr_in v4 = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(0xC0000207)};
    struct address expected = parsed("192.0.2.7");
    address_of((struct sockaddr *)&v4, &out);
    assert_true(address_equal(&out, &expected));
}

/* Only what the proxy itself wrote, the last, is believed. */
static void forwarded(void **state) {
    static const struct {
        const char *header, *address; /* NULL: none */
    } rows[] = {
        {"192.0.2.7", "192.0.2.7"},
        {"198.51.100.1, 192.0.2.7", "192.0.2.7"},
        {"unknown,\t2001:db8::7 ", "2001:db8::7"},
        {"192.0.2.7, ", NULL},
        {"192.0.2.7, unknown", NULL},
        {"192.0.2.7 192.0.2.8", NULL},
        {"", NULL},
        {"0000:0000:0000:0000:0000:0000:0000:0000:0000:0000", NULL},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct address out;
        assert_int_equal(address_forwarded(rows[i].header, &out), rows[i].address != NULL);
        if (rows[i].address != NULL) {
            struct address expected = parsed(rows[i].address);
            assert_true(address_equal(&out, &expected));
        }
    }
}

static void a_crowd(void **state) {
    enum { ADDRESSES = 5000 };
    struct crowd *crowd = crowd_new(3);
    struct address here = parsed("192.0.2.7"), there = parsed("192.0.2.8");
    (void)state;
    assert_non_null(crowd);
    for (int i = 0; i < 3; i++)
        assert_int_equal(crowd_enter(crowd, &here), CROWD_ENTERED);
    assert_int_equal(crowd_enter(crowd, &here), CROWD_FULL);
    assert_int_equal(crowd_enter(crowd, &there), CROWD_ENTERED);
    crowd_leave(crowd, &here);
    assert_int_equal(crowd_enter(crowd, &here), CROWD_ENTERED);
    assert_int_equal(crowd_enter(crowd, &here), CROWD_FULL);
    /* Many more addresses than chains: each is still counted by itself. */
    for (int round = 0; round < 4; round++)
        for (uint32_t i = 0; i < ADDRESSES; i++) {
            struct sockaddr_in v4 = {.sin_family = AF_INET,
                                     .sin_addr.s_addr = htonl(0x0A000000 + i)};
            struct address address;
            address_of((struct sockaddr *)&v4, &address);
            assert_int_equal(crowd_enter(crowd, &address), round < 3 ? CROWD_ENTERED : CROWD_FULL);
        }
    crowd_free(crowd);
}

static void a_bucket(void **state) {
    struct bucket_table *table = bucket_table_new(2.0, 5.0);
    int64_t now_us = 77 * SECOND_US;
    (void)state;
    assert_non_null(table);
    for (int i = 0; i < 5; i++)
        assert_true(bucket_take(table, "a", 1, now_us) == 0.0);
    /* Two a second: half a second until the next. */
    assert_true(fabs(bucket_take(table, "a", 1, now_us) - 0.5) < 1e-9);
    assert_true(fabs(bucket_take(table, "a", 1, now_us + SECOND_US / 4) - 0.25) < 1e-9);
    assert_true(bucket_take(table, "b", 1, now_us) == 0.0);
    now_us += SECOND_US / 2;
    assert_true(bucket_take(table, "a", 1, now_us) == 0.0);
    assert_true(bucket_take(table, "a", 1, now_us) > 0.0);
    /* However long the rest, no more than the burst is saved. */
    now_us += 1000 * SECOND_US;
    for (int i = 0; i < 5; i++)
        assert_true(bucket_take(table, "a", 1, now_us) == 0.0);
    assert_true(bucket_take(table, "a", 1, now_us) > 0.0);
    bucket_table_free(table);
}

/* Any number of names in the same memory; an emptied bucket is not washed away by
 * names that come once. A row of eight would have to be emptied as far first. */
static void a_full_table(void **state) {
    struct bucket_table *table = bucket_table_new(0.001, 100.0);
    (void)state;
    assert_non_null(table);
    for (int i = 0; i < 100; i++)
        assert_true(bucket_take(table, "flood", 5, 0) == 0.0);
    assert_true(bucket_take(table, "flood", 5, 0) > 0.0);
    for (uint32_t i = 0; i < 4 * BUCKET_TABLE_SIZE; i++)
        assert_true(bucket_take(table, &i, sizeof i, 0) == 0.0);
    assert_true(bucket_take(table, "flood", 5, 0) > 0.0);
    bucket_table_free(table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(addresses), cmocka_unit_test(forwarded),    cmocka_unit_test(a_crowd),
        cmocka_unit_test(a_bucket),  cmocka_unit_test(a_full_table),
    };
    if (sodium_init() < 0)
        return 1;
    return cmocka_run_group_tests_name("callers", tests, NULL, NULL);
}
