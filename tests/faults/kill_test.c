/* SPDX-License-Identifier: MIT */
/* kill: the server ends by SIGKILL at random moments while classes hand in runs.
 * Each time the file is sound, what is derived equals what was recorded, every
 * run that was answered is there with its answer, and none is there in part. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <signal.h>
#include <time.h>
#include <unistd.h>

#include "tests/support/load.h"
#include "tests/support/served.h"
#include "tests/support/simulate.h"

#define SEED 20270321u
#define STORES 20
/* Sanitizers slow the server five times; what a kill leaves behind is the same. */
#ifdef __SANITIZE_ADDRESS__
#define KILLS_PER_STORE 2
#else
#define KILLS_PER_STORE 10
#endif
#define LIFE_MIN_MS 15
#define LIFE_MAX_MS 90
#define PAUSE_MAX_US 5000

static struct chance chance;

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void assert_check_passes(const struct served *served) {
    char line[256];
    int status = served_command(served, "check", NULL, line, sizeof line);
    if (status != 0 || strstr(line, ": 0 differences") == NULL)
        fail_msg("noonarcd check: %d: %s", status, line);
}

/* One life: load, sudden end, and a look at what is left. */
static void live_and_die(struct served *served, struct load *load) {
    size_t from[LOAD_CLASSES];
    for (int i = 0; i < LOAD_CLASSES; i++)
        from[i] = load->class[i].count;
    load_start(load, served);
    usleep((useconds_t)(1000 * (LIFE_MIN_MS + chance_even(&chance) * (LIFE_MAX_MS - LIFE_MIN_MS))));
    assert_int_equal(served_stop(served, SIGKILL), 128 + SIGKILL);
    load_end(load, false);
    assert_check_passes(served);
    load_assert_store(load, served->store);
    served_start(served);
    load_replay(load, served, from);
}

static void killed_at_random_points(void **state) {
    static struct served served;
    static struct load load;
    size_t answered = 0;
    double started_s = now_s();
    (void)state;
    chance = chance_seeded(SEED);
    for (int store = 0; store < STORES; store++) {
        served_init(&served);
        load_init(&load, &served, SEED + (uint64_t)store);
        load.pause_max_us = PAUSE_MAX_US;
        for (int kill = 0; kill < KILLS_PER_STORE; kill++)
            live_and_die(&served, &load);
        load_replay(&load, &served, NULL);
        answered += load_answered(&load);
        load_release(&load);
        served_release(&served);
    }
    /* Enough was under way for the kills to mean something. */
    assert_true(answered > 10u * STORES * KILLS_PER_STORE);
    print_message("seed %u: %d kills, %zu runs answered, none lost, %.1f s\n", SEED,
                  STORES * KILLS_PER_STORE, answered, now_s() - started_s);
}

int main(void) {
    /* What is tested here is not the limits of one address. */
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(killed_at_random_points),
    };
    return cmocka_run_group_tests_name("faults: kill", tests, NULL, NULL);
}
