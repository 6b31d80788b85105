/* SPDX-License-Identifier: MIT */
/* slopes: Sen's own example, and every slope listed and sorted. */
#include "tests/unit/near.h"

#include <gsl/gsl_cdf.h>
#include <string.h>

#include "server/science/slopes.h"
#include "tests/support/simulate.h"

#define POINTS_MAX 400

static bool median_near(struct slope_point *points, size_t count, double z,
                        const struct slopes *near, struct slopes *out) {
    double *scratch = malloc((count + 1) * SLOPES_SCRATCH * sizeof *scratch);
    assert_non_null(scratch);
    bool any = slopes_median(points, count, z, near, scratch, out);
    free(scratch);
    return any;
}

static bool median_of(struct slope_point *points, size_t count, double z, struct slopes *out) {
    return median_near(points, count, z, NULL, out);
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

/* Every slope within groups, sorted. The caller frees. */
static double *all_slopes(const struct slope_point *points, size_t count, size_t *slopes) {
    double *slope = malloc((count * count / 2 + 1) * sizeof *slope);
    assert_non_null(slope);
    *slopes = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t j = i + 1; j < count; j++)
            if (points[i].group == points[j].group && points[i].x != points[j].x)
                slope[(*slopes)++] =
                    points[i].x < points[j].x
                        ? (points[j].y - points[i].y) / (points[j].x - points[i].x)
                        : (points[i].y - points[j].y) / (points[i].x - points[j].x);
    qsort(slope, *slopes, sizeof *slope, ascending);
    return slope;
}

/* Sen, J. Am. Stat. Assoc. 63 (1968) 1379: seven points, slope 4, 93 % interval 3.71 to
 * 4.38; the 21 slopes recomputed. */
static void test_sen(void **state) {
    (void)state;
    static const double x[7] = {1, 2, 3, 4, 10, 12, 18}, y[7] = {9, 15, 19, 20, 45, 55, 78};
    static const double listed[21] = {1,      2.5,    3.6667, 3.7143, 3.75, 3.8333, 3.9333,
                                      3.9375, 4,      4,      4,      4,    4.0588, 4.125,
                                      4.1429, 4.1667, 4.1818, 4.375,  5,    5,      6};
    struct slope_point points[7];
    for (int i = 0; i < 7; i++)
        points[i] = (struct slope_point){x[i], y[i], 0};
    size_t count;
    double *slope = all_slopes(points, 7, &count);
    assert_int_equal(count, 21);
    for (size_t i = 0; i < count; i++)
        check_near("one of 21", slope[i], listed[i], 0.00005, "");
    free(slope);
    const double quantiles[] = {1.812, gsl_cdf_ugaussian_Pinv(0.965)};
    for (size_t k = 0; k < COUNT_OF(quantiles); k++) {
        struct slopes slopes;
        assert_true(median_of(points, 7, quantiles[k], &slopes));
        assert_int_equal(slopes.count, 21);
        check_near("Sen slope", slopes.median, 4.0, 0.0, "");
        check_near("Sen low", slopes.low, 3.71, 0.005, "");
        check_near("Sen high", slopes.high, 4.38, 0.0051, "");
    }
    /* Rows of the whole: shift, turn and rescale. */
    for (int i = 0; i < 7; i++)
        points[i] = (struct slope_point){1000.0 - 8.0 * x[i], 64.0 * y[i] - 512.0, 3};
    struct slopes slopes;
    assert_true(median_of(points, 7, 1.812, &slopes));
    check_near("turned and rescaled", slopes.median, -32.0, 0.0, "");
}

/* Boscovich's five degrees by squared sine of latitude (Stigler, History of Statistics,
 * 1986, ch. 1): median slope recomputed. */
static void test_boscovich(void **state) {
    (void)state;
    struct slope_point points[5] = {{0.0, 56751, 0},
                                    {0.2987, 57037, 0},
                                    {0.4648, 56979, 0},
                                    {0.5762, 57074, 0},
                                    {0.8386, 57422, 0}};
    struct slopes slopes;
    assert_true(median_of(points, 5, 1.0, &slopes));
    assert_int_equal(slopes.count, 10);
    check_near("Boscovich", slopes.median, 756.62, 0.006, "toises");
}

enum kind {
    KIND_PLAIN,     /* a line with noise */
    KIND_TIES,      /* small whole numbers: equal slopes, x and points */
    KIND_COLUMNS,   /* few different x */
    KIND_DUPLICATE, /* many points twice */
    KIND_GROUPS,    /* several groups, some of one point */
    KIND_HUGE,      /* twelve decades in x and y */
    KIND_FAR,       /* close together far from the origin: kilometres and degrees */
    KIND_FLAT,      /* every y the same */
    KIND_EXACT,     /* a line of slope 1/3 without noise */
    KIND_COUNT
};

static size_t points_of(struct chance *chance, enum kind kind, size_t count,
                        struct slope_point *points) {
    for (size_t i = 0; i < count; i++) {
        double u = chance_even(chance), e = chance_normal(chance);
        struct slope_point *point = &points[i];
        *point = (struct slope_point){100.0 * u, 7.0 * u + e, 0};
        switch (kind) {
        case KIND_TIES:
            *point = (struct slope_point){floor(10.0 * u), floor(3.0 * e), (int32_t)(i % 2)};
            break;
        case KIND_COLUMNS:
            point->x = floor(3.0 * u);
            break;
        case KIND_DUPLICATE:
            if (i % 2 == 1)
                *point = points[i - 1];
            break;
        case KIND_GROUPS:
            point->group = (int32_t)(20.0 * chance_even(chance)) - 10;
            break;
        case KIND_HUGE:
            point->x = pow(10.0, 12.0 * u - 6.0) * (e > 0.0 ? 1.0 : -1.0);
            point->y = pow(10.0, 12.0 * chance_even(chance) - 6.0);
            break;
        case KIND_FAR:
            point->x = 9990.0 + 0.01 * u;
            point->y = 89.9 + 0.0001 * u + 1e-6 * e;
            break;
        case KIND_FLAT:
            point->y = 44.0;
            break;
        case KIND_EXACT:
            point->x = floor(1000.0 * u);
            point->y = point->x / 3.0;
            break;
        case KIND_PLAIN:
        case KIND_COUNT:
            break;
        }
    }
    return count;
}

/* A slope's own rounding: two points' y and x are exact, but y - v x, which decides
 * on which side of v a slope lies, is rounded to a last place of y and of v x. Two slopes
 * nearer than that may change places; the answer moves by no more. */
static double rounding_of(const struct slope_point *points, size_t count, double slope) {
    double size = 0.0, step = INFINITY;
    for (size_t i = 0; i < count; i++) {
        size = fmax(size, fmax(fabs(points[i].y), fabs(slope * points[i].x)));
        for (size_t j = i + 1; j < count; j++)
            if (points[i].group == points[j].group && points[i].x != points[j].x)
                step = fmin(step, fabs(points[i].x - points[j].x));
    }
    return 4e-16 * size / step;
}

static void test_against_all_slopes(void **state) {
    (void)state;
    static const char *const names[KIND_COUNT] = {"plain", "ties", "columns", "duplicate", "groups",
                                                  "huge",  "far",  "flat",    "exact"};
    struct chance chance = chance_seeded(1950);
    for (int kind = 0; kind < KIND_COUNT; kind++) {
        for (int set = 0; set < 60; set++) {
            struct slope_point points[POINTS_MAX];
            size_t count =
                points_of(&chance, (enum kind)kind, (size_t)(2 + set * set / 12), points);
            double z = 0.25 * (set % 12);
            size_t listed;
            double *slope = all_slopes(points, count, &listed), variance = 0.0;
            struct slopes slopes = {.count = -1};
            bool any = median_of(points, count, z, &slopes);
            char label[64];
            snprintf(label, sizeof label, "%s, set %d of seed 1950", names[kind], set);
            if (!any) {
                assert_int_equal(listed, 0);
                assert_int_equal(slopes.count, -1);
                free(slope);
                continue;
            }
            if (slopes.count != (int64_t)listed)
                fail_msg("%s: %lld slopes, not %zu", label, (long long)slopes.count, listed);
            double median = 0.5 * (slope[(listed - 1) / 2] + slope[listed / 2]);
            for (size_t begin = 0, end; begin < count; begin = end) { /* sorted by group now */
                end = begin;
                while (end < count && points[end].group == points[begin].group)
                    end++;
                double n = (double)(end - begin);
                variance += n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
            }
            double reach = z * sqrt(variance);
            int64_t low = llround(((double)listed - reach) / 2.0);
            int64_t high = llround(((double)listed + reach) / 2.0) + 1;
            low = low < 1 ? 1 : low;
            high = high > (int64_t)listed ? (int64_t)listed : high;
            check_near(label, slopes.median, median, rounding_of(points, count, median), "");
            check_near(label, slopes.low, slope[low - 1],
                       rounding_of(points, count, slope[low - 1]), "");
            check_near(label, slopes.high, slope[high - 1],
                       rounding_of(points, count, slope[high - 1]), "");
            if (kind != KIND_EXACT) /* whose slopes differ by rounding alone */
                assert_true(slopes.median == median && slopes.low == slope[low - 1] &&
                            slopes.high == slope[high - 1]);
            free(slope);
        }
    }
}

static void test_order_does_not_matter(void **state) {
    (void)state;
    struct chance chance = chance_seeded(1968);
    struct slope_point points[300];
    points_of(&chance, KIND_GROUPS, 300, points);
    struct slopes first, again;
    assert_true(median_of(points, 300, 1.0, &first));
    for (int round = 0; round < 30; round++) {
        for (size_t i = 299; i > 0; i--) {
            size_t k = (size_t)(chance_even(&chance) * (double)(i + 1));
            struct slope_point other = points[i];
            points[i] = points[k];
            points[k] = other;
        }
        assert_true(median_of(points, 300, 1.0, &again));
        assert_true(again.count == first.count && again.median == first.median &&
                    again.low == first.low && again.high == first.high);
    }
}

/* Slopes below v among points in order of x, by a tree of partial sums over the ranks of
 * y - v x: another way of counting than the module's. Strictly below, or at most. */
struct level {
    long double value;
    size_t index;
};
static int by_value(const void *left, const void *right) {
    const struct level *a = left, *b = right;
    if (a->value != b->value)
        return a->value < b->value ? -1 : 1;
    return (a->index > b->index) - (a->index < b->index);
}
static int64_t count_below(const struct slope_point *points, size_t count, double v) {
    struct level *levels = malloc(count * sizeof *levels);
    int32_t *tree = calloc(count + 1, sizeof *tree);
    size_t *rank = malloc(count * sizeof *rank);
    assert_true(levels != NULL && tree != NULL && rank != NULL);
    for (size_t i = 0; i < count; i++)
        levels[i] = (struct level){points[i].y - (long double)v * points[i].x, i};
    qsort(levels, count, sizeof *levels, by_value);
    for (size_t i = 0; i < count; i++)
        rank[levels[i].index] = i + 1;
    int64_t pairs = 0;
    for (size_t i = 0; i < count; i++) {
        int64_t not_above = 0;
        for (size_t k = rank[i]; k > 0; k -= k & -k)
            not_above += tree[k];
        pairs += (int64_t)i - not_above;
        for (size_t k = rank[i]; k <= count; k += k & -k)
            tree[k]++;
    }
    free(rank);
    free(tree);
    free(levels);
    return pairs;
}

static bool same(const struct slopes *one, const struct slopes *two) {
    return one->count == two->count && one->median == two->median && one->low == two->low &&
           one->high == two->high;
}

/* A hundred thousand points, five thousand million slopes: as many lie below the median
 * as above, and the interval's ends stand at their ranks. */
static void test_a_hundred_thousand_points(void **state) {
    (void)state;
    size_t count = 100000;
    struct slope_point *points = malloc(count * sizeof *points);
    assert_non_null(points);
    struct chance chance = chance_seeded(1);
    for (size_t i = 0; i < count; i++) {
        double km = 10000.0 * chance_even(&chance);
        points[i] = (struct slope_point){km, 0.009 * km + 0.1 * chance_normal(&chance), 0};
    }
    struct slopes slopes;
    assert_true(median_of(points, count, 1.0, &slopes));
    int64_t all = (int64_t)count * (int64_t)(count - 1) / 2;
    assert_int_equal(slopes.count, all);
    double n = (double)count, reach = sqrt(n * (n - 1.0) * (2.0 * n + 5.0) / 18.0);
    check_near("slopes below the median", (double)count_below(points, count, slopes.median),
               0.5 * (double)all, 1.0, "slopes");
    check_near("slopes below the low end", (double)count_below(points, count, slopes.low),
               0.5 * ((double)all - reach), 2.0, "slopes");
    check_near("slopes below the high end", (double)count_below(points, count, slopes.high),
               0.5 * ((double)all + reach), 2.0, "slopes");
    check_near("the slope itself", slopes.median, 0.009, 5.0 * 0.5 * (slopes.high - slopes.low),
               "");
    struct slopes before = slopes;
    for (int round = 0; round < 5; round++) {
        struct slopes near;
        for (int i = 0; i < 500; i++)
            points[(size_t)((double)count * chance_even(&chance))].y +=
                0.1 * chance_normal(&chance);
        assert_true(median_near(points, count, 1.0, &before, &near));
        assert_true(median_of(points, count, 1.0, &slopes));
        assert_true(same(&near, &slopes) && slopes.median != before.median);
        before = near;
    }
    free(points);
}

/* Where the search begins shows in no bit of what it finds: at the slopes before some points
 * changed, at these slopes themselves, at others, at nothing that is a slope. Seed 1992. */
static void test_the_last_slopes_only_save_time(void **state) {
    enum { MOST = 2600 };
    static struct slope_point points[MOST], other[MOST];
    struct chance chance = chance_seeded(1992);
    (void)state;
    for (int set = 0; set < 20 * KIND_COUNT; set++) {
        const enum kind kind = (enum kind)(set % KIND_COUNT);
        const size_t count = 1000 + (size_t)(1600.0 * chance_even(&chance));
        struct slopes before, anew, near;
        if (kind == KIND_EXACT) /* whose slopes differ by rounding alone: it says so */
            continue;
        points_of(&chance, kind, count, points);
        assert_true(median_of(points, count, 1.0, &before));
        const size_t changed = set % 3 == 0 ? 1 : count / 20;
        points_of(&chance, kind, changed, other);
        memcpy(points, other, changed * sizeof *points);
        assert_true(median_of(points, count, 1.0, &anew));
        const struct slopes begins[] = {
            before,
            anew,
            {anew.count, anew.high, anew.low, anew.median},
            {anew.count, 2.0 * anew.median + 1.0, anew.low - 1.0, anew.high + 1.0},
            {anew.count, NAN, NAN, NAN},
            {anew.count, 1e300, -1e300, 1e300},
            {1, 0.0, 0.0, 0.0},
        };
        for (size_t i = 0; i < COUNT_OF(begins); i++) {
            assert_true(median_near(points, count, 1.0, &begins[i], &near));
            if (!same(&near, &anew))
                fail_msg("set %d, kind %d, begin %zu: %.17g, not %.17g", set, (int)kind, i,
                         near.median, anew.median);
        }
    }
}

static void test_edges(void **state) {
    (void)state;
    struct slopes slopes = {.count = -1};
    struct slope_point points[4] = {{1, 2, 0}, {1, 5, 0}, {3, 7, 1}, {4, 8, 2}};
    assert_false(median_of(points, 0, 1.0, &slopes));
    assert_false(median_of(points, 1, 1.0, &slopes));
    assert_false(median_of(points, 2, 1.0, &slopes)); /* one above the other */
    assert_false(median_of(points, 4, 1.0, &slopes)); /* alone in their groups */
    assert_int_equal(slopes.count, -1);
    points[0] = (struct slope_point){0.0, 0.0, INT32_MIN};
    points[1] = (struct slope_point){2.0, -3.0, INT32_MIN};
    points[2] = (struct slope_point){0.0, 1.0, INT32_MAX};
    points[3] = (struct slope_point){-2.0, 4.0, INT32_MAX};
    assert_true(median_of(points, 2, 1.0, &slopes));
    assert_int_equal(slopes.count, 1);
    check_near("one slope", slopes.median, -1.5, 0.0, "");
    check_near("one slope", slopes.low, -1.5, 0.0, "");
    check_near("one slope", slopes.high, -1.5, 0.0, "");
    assert_true(median_of(points, 4, 1.0, &slopes));
    assert_int_equal(slopes.count, 2);
    check_near("the same slope twice", slopes.median, -1.5, 0.0, "");
    points[1].y = 5.0;
    assert_true(median_of(points, 4, 0.0, &slopes));
    check_near("mean of two", slopes.median, 0.5, 0.0, "");
}

/* A least slope of exactly 0 was once not counted, for y - v x at a v just below it is y
 * itself: ranks moved by one and the median was 1/7. */
static void test_a_least_slope_of_zero(void **state) {
    (void)state;
    struct slope_point points[4] = {{0, -3, 0}, {7, -2, 0}, {1, -1, 1}, {2, -1, 1}};
    struct slopes slopes;
    assert_true(median_of(points, 4, 0.0, &slopes));
    assert_int_equal(slopes.count, 2);
    check_near("0 and 1/7", slopes.median, 0.5 / 7.0, 0.0, "");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sen),
        cmocka_unit_test(test_boscovich),
        cmocka_unit_test(test_against_all_slopes),
        cmocka_unit_test(test_order_does_not_matter),
        cmocka_unit_test(test_a_hundred_thousand_points),
        cmocka_unit_test(test_the_last_slopes_only_save_time),
        cmocka_unit_test(test_edges),
        cmocka_unit_test(test_a_least_slope_of_zero),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
