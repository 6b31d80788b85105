/* SPDX-License-Identifier: MIT */
/* slopes: selection by counting. With points in order of x, the slope of a pair
 * is at most v exactly when y - v x does not grow from the one to the other, so
 * a merge sort counts the slopes up to v, and lists those between two values. */
#include "server/science/slopes.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAMPLE 2048 /* slopes drawn for a first bracket */

static int by_group_x_y(const void *left, const void *right) {
    const struct slope_point *a = left, *b = right;
    if (a->group != b->group)
        return a->group < b->group ? -1 : 1;
    if (a->x != b->x)
        return a->x < b->x ? -1 : 1;
    return (a->y > b->y) - (a->y < b->y);
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static double slope_of(const struct slope_point *one, const struct slope_point *two) {
    return (two->y - one->y) / (two->x - one->x);
}

/* One selection at work. */
struct search {
    const struct slope_point *points; /* by group, x, y */
    size_t count;
    double *scratch;
    int64_t slopes;         /* in all */
    double least, greatest; /* no slope lies outside, but for its rounding */
    double low, high;       /* the slope wanted lies in (low, high] */
    int64_t below, up_to;   /* how many slopes are counted up to low, up to high */
};

static size_t group_end(const struct search *search, size_t begin) {
    size_t end = begin;
    while (end < search->count && search->points[end].group == search->points[begin].group)
        end++;
    return end;
}

static size_t column_end(const struct search *search, size_t begin) {
    size_t end = begin;
    while (end < search->count && search->points[end].group == search->points[begin].group &&
           search->points[end].x == search->points[begin].x)
        end++;
    return end;
}

/* Sorts level and returns the number of pairs i < j with level[j] <= level[i]. */
static int64_t count_not_growing(double *level, double *spare, size_t count) {
    if (count < 2)
        return 0;
    size_t half = count / 2, i = 0, j = half;
    int64_t pairs = count_not_growing(level, spare, half) +
                    count_not_growing(level + half, spare, count - half);
    for (size_t k = 0; k < count; k++) {
        bool right = i == half || (j < count && level[j] <= level[i]);
        if (right)
            pairs += (int64_t)(half - i);
        spare[k] = right ? level[j++] : level[i++];
    }
    for (size_t k = 0; k < count; k++)
        level[k] = spare[k];
    return pairs;
}

/* Points of one x have no slope among them. Inside such a column y grows, and
 * with it y - v x, so that only points equal in y count by mistake: those pairs. */
static int64_t equal_pairs(const struct search *search) {
    int64_t pairs = 0;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        const struct slope_point *first = &search->points[begin];
        end = begin;
        while (end < search->count && by_group_x_y(first, &search->points[end]) == 0)
            end++;
        pairs += (int64_t)(end - begin) * (int64_t)(end - begin - 1) / 2;
    }
    return pairs;
}

static int64_t count_at_most(const struct search *search, double v) {
    int64_t pairs = -equal_pairs(search);
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search, begin);
        double *level = search->scratch, *spare = level + (end - begin);
        for (size_t i = begin; i < end; i++)
            level[i - begin] = search->points[i].y - v * search->points[i].x;
        pairs += count_not_growing(level, spare, end - begin);
    }
    return pairs;
}

/* Counts all slopes and sets least and greatest. */
static void survey(struct search *search) {
    search->least = INFINITY;
    search->greatest = -INFINITY;
    search->slopes = 0;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search, begin);
        int64_t size = (int64_t)(end - begin);
        search->slopes += size * (size - 1) / 2;
        /* A slope is a mean of the steps between neighbouring columns it spans. */
        for (size_t column = begin, next; column < end; column = next) {
            next = column_end(search, column);
            int64_t tall = (int64_t)(next - column);
            search->slopes -= tall * (tall - 1) / 2;
            if (next == end)
                break;
            const struct slope_point *here = &search->points[column];
            const struct slope_point *there = &search->points[next];
            size_t last = column_end(search, next);
            double dx = there->x - here->x;
            search->least = fmin(search->least, (there->y - search->points[next - 1].y) / dx);
            search->greatest = fmax(search->greatest, (search->points[last - 1].y - here->y) / dx);
        }
    }
}

/* Sets low and high about every slope: as far outside as it takes for the counting,
 * whose y - v x is rounded, to see it so. */
static void surround(struct search *search) {
    double start = 1e-12 * (1.0 + fabs(search->least) + fabs(search->greatest));
    double margin = start;
    do {
        search->low = fmax(search->least - margin, -DBL_MAX);
        search->below = count_at_most(search, search->low);
        margin *= 1024.0;
    } while (search->below > 0 && search->low > -DBL_MAX);
    margin = start;
    do {
        search->high = fmin(search->greatest + margin, DBL_MAX);
        search->up_to = count_at_most(search, search->high);
        margin *= 1024.0;
    } while (search->up_to < search->slopes && search->high < DBL_MAX);
}

static void try_at(struct search *search, double trial, int64_t rank) {
    if (!(trial > search->low && trial < search->high))
        return;
    int64_t at_most = count_at_most(search, trial);
    if (at_most >= rank) {
        search->high = trial;
        search->up_to = at_most;
    } else {
        search->low = trial;
        search->below = at_most;
    }
}

/* A first bracket from a sample drawn by a fixed sequence: the same for the same set. */
static void bracket(struct search *search, int64_t rank) {
    double sample[SAMPLE];
    int drawn = 0;
    uint64_t state = 0x9E3779B97F4A7C15u;
    for (int draw = 0; draw < 4 * SAMPLE && drawn < SAMPLE; draw++) {
        size_t pick[2];
        for (int k = 0; k < 2; k++) {
            state = state * 6364136223846793005u + 1442695040888963407u;
            pick[k] = (size_t)((state >> 33) % search->count);
        }
        const struct slope_point *one = &search->points[pick[0]], *two = &search->points[pick[1]];
        if (one->group == two->group && one->x != two->x)
            sample[drawn++] = slope_of(one, two);
    }
    if (drawn < 64)
        return;
    qsort(sample, (size_t)drawn, sizeof sample[0], ascending);
    double share = (double)rank / (double)search->slopes;
    double about = share * drawn, doubt = 3.0 * sqrt(drawn * share * (1.0 - share)) + 2.0;
    if (about - doubt >= 0.0)
        try_at(search, sample[(int)(about - doubt)], rank);
    if (about + doubt < drawn)
        try_at(search, sample[(int)(about + doubt)], rank);
}

/* Place of a double among all doubles: neighbours differ by one. */
static int64_t ordinal(double value) {
    int64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits < 0 ? INT64_MIN - bits : bits;
}

/* The double half way between two others by count of doubles: 64 halvings leave
 * nothing between, whatever the magnitudes. */
static double halfway(double low, double high) {
    int64_t from = ordinal(low), to = ordinal(high);
    int64_t middle = from / 2 + to / 2 + (from % 2 + to % 2) / 2;
    int64_t bits = middle < 0 ? INT64_MIN - middle : middle;
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Narrows (low, high] until it holds at most `enough` slopes, or no double between. */
static void narrow(struct search *search, int64_t rank, int64_t enough) {
    for (int round = 0; search->up_to - search->below > enough; round++) {
        double left = (double)(search->up_to - search->below);
        double share = ((double)(rank - search->below) - 0.5) / left;
        /* Slopes lie about evenly in a narrow interval: aim beside the rank, now
         * on one side, now on the other; and halve now and then, come what may. */
        double aside = (round % 2 == 0 ? 1.5 : -1.5) / sqrt(left);
        double trial = search->low + (share + aside) * (search->high - search->low);
        if (round % 4 == 3 || !(trial > search->low && trial < search->high))
            trial = halfway(search->low, search->high);
        if (!(trial > search->low && trial < search->high))
            return;
        try_at(search, trial, rank);
    }
}

struct level {
    double low, high; /* y - v x at the two ends of the interval */
    const struct slope_point *point;
};

static int by_levels(const void *left, const void *right) {
    const struct level *a = left, *b = right;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    return (a->high > b->high) - (a->high < b->high);
}

struct list {
    double *slope;
    size_t count, room;
};

/* Sorts by the high level and lists the slopes of pairs that it turns round. */
static void list_turned(struct level *level, struct level *spare, size_t count, struct list *list) {
    if (count < 2)
        return;
    size_t half = count / 2, i = 0, j = half;
    list_turned(level, spare, half, list);
    list_turned(level + half, spare, count - half, list);
    for (size_t k = 0; k < count; k++) {
        bool right = i == half || (j < count && level[j].high <= level[i].high);
        for (size_t p = i; right && p < half && list->count < list->room; p++)
            if (level[p].point->x != level[j].point->x)
                list->slope[list->count++] = slope_of(level[p].point, level[j].point);
        spare[k] = right ? level[j++] : level[i++];
    }
    for (size_t k = 0; k < count; k++)
        level[k] = spare[k];
}

/* The slope of this rank (1-based). */
static double slope_of_rank(struct search search, int64_t rank) {
    size_t enough = search.count;
    if (rank <= search.below)
        return search.least; /* steeper than doubles can tell */
    if (search.up_to > (int64_t)enough) {
        bracket(&search, rank);
        narrow(&search, rank, (int64_t)enough);
    }
    /* What lies between low and high, or, where one value stands there many times, a
     * part of it. */
    struct level *levels = (struct level *)search.scratch;
    struct list list = {search.scratch + 6 * search.count, 0, enough};
    for (size_t begin = 0, end; begin < search.count; begin = end) {
        end = group_end(&search, begin);
        struct level *level = levels, *spare = levels + (end - begin);
        for (size_t i = begin; i < end; i++) {
            const struct slope_point *point = &search.points[i];
            level[i - begin] = (struct level){point->y - search.low * point->x,
                                              point->y - search.high * point->x, point};
        }
        qsort(level, end - begin, sizeof *level, by_levels);
        list_turned(level, spare, end - begin, &list);
    }
    if (list.count == 0)
        return search.high;
    qsort(list.slope, list.count, sizeof list.slope[0], ascending);
    int64_t place = rank - search.below - 1;
    if (place >= (int64_t)list.count)
        place = (int64_t)list.count - 1;
    return list.slope[place];
}

bool slopes_median(struct slope_point *points, size_t count, double z, double *scratch,
                   struct slopes *out) {
    qsort(points, count, sizeof *points, by_group_x_y);
    struct search search = {.points = points, .count = count, .scratch = scratch};
    survey(&search);
    if (search.slopes == 0)
        return false;
    surround(&search);
    int64_t slopes = search.slopes;
    double variance = 0.0; /* of Kendall's sum, Sen 1968, without ties */
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(&search, begin);
        double n = (double)(end - begin);
        variance += n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
    }
    double reach = z * sqrt(variance);
    int64_t low_rank = llround(((double)slopes - reach) / 2.0);
    int64_t high_rank = llround(((double)slopes + reach) / 2.0) + 1;
    double middle = slope_of_rank(search, (slopes + 1) / 2);
    if (slopes % 2 == 0)
        middle = 0.5 * middle + 0.5 * slope_of_rank(search, slopes / 2 + 1);
    *out = (struct slopes){
        .count = slopes,
        .median = middle,
        .low = slope_of_rank(search, low_rank < 1 ? 1 : low_rank),
        .high = slope_of_rank(search, high_rank > slopes ? slopes : high_rank),
    };
    return true;
}
