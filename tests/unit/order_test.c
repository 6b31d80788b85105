/* SPDX-License-Identifier: MIT */
/* order: against the C library's qsort, on values that make parting about a middle one
 * hard: equals, rows, both zeros, all magnitudes. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "server/science/order.h"
#include "tests/support/simulate.h"

#define MOST 3000

enum kind { EVEN, FEW_VALUES, RISING, FALLING, ORGAN_PIPE, MAGNITUDES, EQUAL, KINDS };

static double value_of(struct chance *chance, enum kind kind, size_t i, size_t count) {
    switch (kind) {
    case FEW_VALUES:
        return floor(5.0 * chance_even(chance)) - 2.0;
    case RISING:
        return (double)i;
    case FALLING:
        return -(double)i;
    case ORGAN_PIPE:
        return (double)(i < count / 2 ? i : count - i);
    case MAGNITUDES:
        return (chance_even(chance) < 0.5 ? -1.0 : 1.0) *
               pow(10.0, 600.0 * chance_even(chance) - 300.0);
    case EQUAL:
        return i % 2 ? 0.0 : -0.0;
    default:
        return chance_normal(chance);
    }
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static size_t count_of(struct chance *chance, int set) {
    return 1 + (size_t)((set % 4 == 0 ? MOST - 1 : 60) * chance_even(chance));
}

static void a_rank_is_where_sorting_puts_it(void **state) {
    static double value[MOST], sorted[MOST], work[MOST];
    struct chance chance = chance_seeded(1961);
    (void)state;
    for (int set = 0; set < 700; set++) {
        const size_t count = count_of(&chance, set);
        for (size_t i = 0; i < count; i++)
            sorted[i] = value[i] = value_of(&chance, (enum kind)(set % KINDS), i, count);
        qsort(sorted, count, sizeof *sorted, ascending);
        for (int draw = 0; draw < 5; draw++) {
            size_t rank = (size_t)((double)count * chance_even(&chance));
            memcpy(work, value, count * sizeof *work);
            assert_true(order_select(work, count, rank) == sorted[rank]);
            for (size_t i = 0; i < count; i++)
                assert_true(i < rank ? work[i] <= work[rank] : work[i] >= work[rank]);
        }
        for (int draw = 0; draw < 3; draw++) {
            static double few[ORDER_FEW * MOST];
            size_t rank =
                (size_t)((double)(draw == 0 ? count : count / 20 + 1) * chance_even(&chance));
            assert_true(order_select_low(value, count, rank, few) == sorted[rank]);
        }
        memcpy(work, value, count * sizeof *work);
        assert_true(order_median(work, count) ==
                    0.5 * sorted[(count - 1) / 2] + 0.5 * sorted[count / 2]);
    }
}

/* Whether these are the places 0 .. count - 1 in order of their values. */
static void check_places(const double *value, size_t count, const uint32_t *place) {
    static bool is_met[MOST];
    memset(is_met, 0, sizeof is_met);
    for (size_t i = 0; i < count; i++) {
        assert_true(place[i] < count && !is_met[place[i]]);
        is_met[place[i]] = true;
        if (i > 0)
            assert_true(value[place[i - 1]] < value[place[i]] ||
                        (value[place[i - 1]] == value[place[i]] && place[i - 1] > place[i]));
    }
}

static void places_come_in_order_the_later_of_equals_first(void **state) {
    static uint64_t spare[2 * MOST];
    static uint32_t place[MOST];
    static double value[MOST];
    struct chance chance = chance_seeded(1887);
    (void)state;
    for (int set = 0; set < 1400; set++) {
        const size_t count = count_of(&chance, set);
        for (size_t i = 0; i < count; i++)
            value[i] = value_of(&chance, (enum kind)(set % KINDS), i, count);
        if (set % 5 == 0) /* all but a few crowded together on the scale between the two */
            value[0] = -1e9, value[count - 1] = 1e12;
        if (set % 7 == 0)
            value[count / 2] = INFINITY;
        if (set % 7 == 1)
            value[count / 3] = -INFINITY;
        order_places(value, count, place, spare);
        check_places(value, count, place);
    }
    order_places(value, 0, place, spare);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_rank_is_where_sorting_puts_it),
        cmocka_unit_test(places_come_in_order_the_later_of_equals_first),
    };
    return cmocka_run_group_tests_name("order", tests, NULL, NULL);
}
