/* SPDX-License-Identifier: MIT */
/* slopes: selection by counting. With points in order of x, the slope of a pair
 * is at most v exactly when y - v x does not grow from the one to the other, so
 * a merge sort counts the slopes up to v; and what changes places from one v to a
 * greater one are the slopes between them. */
#include "server/science/slopes.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/order.h"

#define SAMPLE 2048 /* slopes drawn for a first bracket */
#define RUN 4       /* levels that are put in order one by one */
#define AIMS 4
#define NEAR 6 /* slopes a point from an end to the rank: fewer are passed by turning */
#define TURNS 12

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

/* A rank, and what is known of its slope: it lies in (low, high]. */
struct aim {
    int64_t rank;
    double low, high;
    int64_t below, up_to; /* how many slopes are counted up to low, up to high */
    double outer;         /* the end last left behind, NAN when none was */
    int64_t outer_up_to;
};

/* Several selections at work: what one of them counts narrows all. */
struct search {
    const struct slope_point *points; /* by group, x, y */
    size_t count;
    double *scratch;
    int64_t slopes;         /* in all */
    int64_t equal_pairs;    /* of points */
    double least, greatest; /* no slope lies outside, but for its rounding */
    int64_t most_passed;    /* by one turn */
    struct aim aim[AIMS];
    size_t aims;
};

static size_t group_end(const struct slope_point *points, size_t count, size_t begin) {
    size_t end = begin;
    while (end < count && points[end].group == points[begin].group)
        end++;
    return end;
}

static size_t column_end(const struct slope_point *points, size_t end, size_t begin) {
    size_t next = begin;
    while (next < end && points[next].x == points[begin].x)
        next++;
    return next;
}

/* One group's points by x, those of one x by y. */
static void sort_group(struct slope_point *points, size_t count, double *scratch) {
    struct order_key *key = (struct order_key *)scratch;
    struct slope_point *moved = (struct slope_point *)(scratch + 2 * count);
    for (size_t i = 0; i < count; i++)
        key[i] = (struct order_key){points[i].x, (uint32_t)i};
    order_sort(key, key + count, count);
    for (size_t i = 0; i < count; i++)
        moved[i] = points[key[i].index];
    memcpy(points, moved, count * sizeof *points);
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = column_end(points, count, begin);
        if (end - begin > 1)
            qsort(points + begin, end - begin, sizeof *points, by_group_x_y);
    }
}

static void sort_points(struct slope_point *points, size_t count, double *scratch) {
    bool grouped = true;
    for (size_t i = 1; i < count && grouped; i++)
        grouped = points[i - 1].group <= points[i].group;
    if (!grouped) {
        qsort(points, count, sizeof *points, by_group_x_y);
        return;
    }
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        sort_group(points + begin, end - begin, scratch);
    }
}

/* Place of a double among all doubles: neighbours differ by one. */
static int64_t ordinal(double value) {
    int64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits < 0 ? INT64_MIN - bits : bits; /* both zeros are 0 */
}

/* Sorts a few levels; returns the number of pairs i < j with level[j] <= level[i]. */
static int64_t count_run(int64_t *level, size_t count) {
    int64_t pairs = 0;
    for (size_t i = 1; i < count; i++) {
        int64_t own = level[i];
        size_t at = i;
        for (; at > 0 && own <= level[at - 1]; at--)
            level[at] = level[at - 1];
        level[at] = own;
        pairs += (int64_t)(i - at);
    }
    return pairs;
}

/* Merges two sorted runs of one length from both ends at once; returns the pairs of a
 * level of the right run with one of the left that is not less. */
static int64_t merge_equals(const int64_t *left, const int64_t *right, size_t length,
                            int64_t *out) {
    size_t i = 0, j = 0, k = length - 1, l = length - 1;
    uint64_t pairs = 0;
    for (size_t step = 0; step < length; step++) {
        int64_t a = left[i], b = right[j];
        size_t is_right = b <= a;
        out[step] = is_right ? b : a;
        pairs += (0 - is_right) & (length - i);
        j += is_right;
        i += 1 - is_right;
        int64_t y = left[k], z = right[l];
        size_t is_left = z <= y;
        out[2 * length - 1 - step] = is_left ? y : z;
        pairs += (is_left - 1) & (length - 1 - k);
        k -= is_left;
        l -= 1 - is_left;
    }
    return (int64_t)pairs;
}

/* The same for runs of any two lengths, from the front. */
static int64_t merge(const int64_t *left, size_t lefts, const int64_t *right, size_t rights,
                     int64_t *out) {
    size_t i = 0, j = 0;
    int64_t pairs = 0;
    while (i < lefts && j < rights) {
        bool is_right = right[j] <= left[i];
        if (is_right)
            pairs += (int64_t)(lefts - i);
        *out++ = is_right ? right[j++] : left[i++];
    }
    memcpy(out, left + i, (lefts - i) * sizeof *out);
    memcpy(out + (lefts - i), right + j, (rights - j) * sizeof *out);
    return pairs;
}

/* Returns the number of pairs i < j with level[j] <= level[i]. Spoils both. */
static int64_t count_not_growing(int64_t *level, int64_t *spare, size_t count) {
    int64_t pairs = 0;
    for (size_t begin = 0; begin < count; begin += RUN)
        pairs += count_run(level + begin, count - begin < RUN ? count - begin : RUN);
    for (size_t length = RUN; length < count; length *= 2) {
        size_t begin = 0;
        for (; begin + 2 * length <= count; begin += 2 * length)
            pairs += merge_equals(level + begin, level + begin + length, length, spare + begin);
        size_t rest = count - begin, lefts = rest < length ? rest : length;
        pairs += merge(level + begin, lefts, level + begin + lefts, rest - lefts, spare + begin);
        int64_t *other = level;
        level = spare;
        spare = other;
    }
    return pairs;
}

/* Points of one x have no slope among them. Inside such a column y grows, and
 * with it y - v x, so that only points equal in y count by mistake: those pairs. */
static int64_t equal_pairs(const struct slope_point *points, size_t count) {
    int64_t pairs = 0;
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = begin;
        while (end < count && by_group_x_y(&points[begin], &points[end]) == 0)
            end++;
        pairs += (int64_t)(end - begin) * (int64_t)(end - begin - 1) / 2;
    }
    return pairs;
}

static double level_of(const struct slope_point *point, double v) {
    return point->y - v * point->x;
}

static int64_t count_at_most(const struct search *search, double v) {
    int64_t pairs = -search->equal_pairs;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        int64_t *level = (int64_t *)search->scratch, *spare = level + (end - begin);
        for (size_t i = begin; i < end; i++)
            level[i - begin] = ordinal(level_of(&search->points[i], v));
        pairs += count_not_growing(level, spare, end - begin);
    }
    return pairs;
}

/* Counts all slopes and sets least and greatest. */
static void survey(struct search *search) {
    const struct slope_point *points = search->points;
    search->least = INFINITY;
    search->greatest = -INFINITY;
    search->slopes = 0;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(points, search->count, begin);
        int64_t size = (int64_t)(end - begin);
        search->slopes += size * (size - 1) / 2;
        /* A slope is a mean of the steps between neighbouring columns it spans. */
        for (size_t column = begin, next; column < end; column = next) {
            next = column_end(points, end, column);
            int64_t tall = (int64_t)(next - column);
            search->slopes -= tall * (tall - 1) / 2;
            if (next == end)
                break;
            size_t last = column_end(points, end, next);
            double dx = points[next].x - points[column].x;
            search->least = fmin(search->least, (points[next].y - points[next - 1].y) / dx);
            search->greatest = fmax(search->greatest, (points[last - 1].y - points[column].y) / dx);
        }
    }
}

static void leave_behind(struct aim *aim, double end, int64_t up_to) {
    if (isfinite(end)) {
        aim->outer = end;
        aim->outer_up_to = up_to;
    }
}

/* Moves the end of an aim to a trial slope, where so many were counted. */
static void move_end(struct aim *aim, double trial, int64_t up_to) {
    if (up_to >= aim->rank && trial < aim->high) {
        leave_behind(aim, aim->high, aim->up_to);
        aim->high = trial;
        aim->up_to = up_to;
    } else if (up_to < aim->rank && trial > aim->low) {
        leave_behind(aim, aim->low, aim->below);
        aim->low = trial;
        aim->below = up_to;
    }
}

/* Counts at a trial slope, and narrows all aims by it. */
static void try_at(struct search *search, double trial) {
    const int64_t up_to = count_at_most(search, trial);
    for (size_t i = 0; i < search->aims; i++)
        move_end(&search->aim[i], trial, up_to);
}

/* First trials, from a sample drawn by a fixed sequence: the same for the same set. */
static void try_sample(struct search *search, int64_t rank) {
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
        try_at(search, sample[(int)(about - doubt)]);
    if (about + doubt < drawn)
        try_at(search, sample[(int)(about + doubt)]);
}

/* Gives an aim its ends where no trial has: as far outside all slopes as it takes for the
 * counting, whose y - v x is rounded, to see it so. They stay infinite where doubles
 * cannot tell. */
static void surround(struct search *search, const struct aim *aim) {
    const double start = 1e-12 * (1.0 + fabs(search->least) + fabs(search->greatest));
    double trial = 0.0;
    for (double margin = start; isinf(aim->low) && trial > -DBL_MAX; margin *= 1024.0)
        try_at(search, trial = fmax(search->least - margin, -DBL_MAX));
    trial = 0.0;
    for (double margin = start; isinf(aim->high) && trial < DBL_MAX; margin *= 1024.0)
        try_at(search, trial = fmin(search->greatest + margin, DBL_MAX));
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

/* Where a rank should be by the counts at the two ends and, where there is one, at the
 * end left behind: on the parabola through them, else on the straight line. */
static double slope_about(const struct aim *aim, double rank) {
    const double below = (double)aim->below - rank, up_to = (double)aim->up_to - rank;
    const double outer = (double)aim->outer_up_to - rank;
    const double straight = (aim->low * up_to - aim->high * below) / (up_to - below);
    const double curved = aim->low * up_to * outer / ((below - up_to) * (below - outer)) +
                          aim->high * below * outer / ((up_to - below) * (up_to - outer)) +
                          aim->outer * below * up_to / ((outer - below) * (outer - up_to));
    return curved > aim->low && curved < aim->high ? curved : straight;
}

/* A trial beside the rank, on the side of the end that is further from it. */
static double beside(const struct aim *aim, double aside) {
    const bool is_low_near = aim->rank - aim->below < aim->up_to - aim->rank;
    return slope_about(aim, (double)aim->rank - 0.5 + (is_low_near ? aside : -aside));
}

static bool is_between(const struct aim *aim, double trial) {
    return trial > aim->low && trial < aim->high;
}

/* Narrows (low, high] until it holds at most `enough` slopes, or no double between, or one
 * end has at most `near` slopes between it and the rank. */
static void narrow(struct search *search, const struct aim *aim, int64_t enough, int64_t near) {
    for (int round = 0; aim->up_to - aim->below > enough && aim->rank - aim->below > near &&
                        aim->up_to - aim->rank > near;
         round++) {
        const double left = (double)(aim->up_to - aim->below);
        double trial = beside(aim, fmax(1.5 * sqrt(left), 0.25 * (double)enough));
        if (round % 4 == 3 || !is_between(aim, trial)) /* now and then half way, come what may */
            trial = halfway(aim->low, aim->high);
        if (!is_between(aim, trial))
            return;
        try_at(search, trial);
    }
}

/* Puts each group's points, as keys, in the order of their levels at v. Where levels are
 * equal, the point of the greater x comes first, as the slope counts. */
static void order_at(const struct search *search, double v) {
    struct order_key *all = (struct order_key *)search->scratch;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        struct order_key *key = all + begin;
        for (size_t i = 0; i < end - begin; i++) {
            const size_t at = end - 1 - i;
            key[i] = (struct order_key){level_of(&search->points[at], v), (uint32_t)at};
        }
        order_sort(key, all + search->count, end - begin);
    }
}

struct list {
    double *slope;
    size_t count, room;
    int64_t passed; /* whether there was room or not */
};

/* Brings points that are in order at one slope in order at v, and lists the slopes of the
 * pairs that change places, those between the two, as far as there is room. */
static void turn_to(const struct search *search, double v, struct list *list) {
    const struct slope_point *points = search->points;
    struct order_key *all = (struct order_key *)search->scratch;
    for (size_t i = 0; i < search->count; i++)
        all[i].value = level_of(&points[all[i].index], v);
    list->count = 0;
    list->passed = 0;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(points, search->count, begin);
        for (size_t i = begin + 1; i < end && list->passed <= search->most_passed; i++) {
            const struct order_key own = all[i];
            size_t at = i;
            for (; at > begin; at--) {
                const struct order_key *other = &all[at - 1];
                if (own.value > other->value ||
                    (own.value == other->value && own.index < other->index))
                    break;
                if (points[own.index].x != points[other->index].x) {
                    if (list->count < list->room)
                        list->slope[list->count++] =
                            slope_of(&points[own.index], &points[other->index]);
                    list->passed++;
                }
                all[at] = *other;
            }
            all[at] = own;
        }
    }
}

/* The slope of a place in a list, and the one of the next place where it is asked for: NAN
 * when the list ends before. */
static double listed(struct list *list, int64_t place, double *next) {
    const size_t at = place < (int64_t)list->count ? (size_t)place : list->count - 1;
    const double slope = order_select(list->slope, list->count, at);
    if (next) {
        *next = at + 1 < list->count ? list->slope[at + 1] : NAN;
        for (size_t i = at + 1; i < list->count; i++)
            *next = fmin(*next, list->slope[i]);
    }
    return slope;
}

/* From the end that is nearer to the rank the order of the points is turned, to and fro,
 * until the slopes that it passes can be listed and include the rank. False when it does
 * not come to that: one value stands there many times, or rounding hides it. */
static bool turn_to_rank(const struct search *search, struct aim aim, struct list *list,
                         double *slope, double *next) {
    const double step = 0.25 * (double)list->room;
    bool is_low = aim.rank - aim.below <= aim.up_to - aim.rank; /* the end we stand at */
    order_at(search, is_low ? aim.low : aim.high);
    for (int turns = 0; turns < TURNS; turns++) {
        double to = slope_about(&aim, (double)aim.rank - 0.5 + (is_low ? step : -step));
        if (aim.up_to - aim.below <= (int64_t)list->room || !is_between(&aim, to))
            to = is_low ? aim.high : aim.low;
        turn_to(search, to, list);
        if (list->passed > search->most_passed)
            return false;
        const int64_t from = is_low ? aim.below : aim.up_to;
        const int64_t up_to = is_low ? from + list->passed : from - list->passed;
        const bool is_passed = is_low == (up_to >= aim.rank);
        if (is_passed && list->passed <= (int64_t)list->room) {
            *slope = listed(list, aim.rank - (is_low ? from : up_to) - 1, next);
            return true;
        }
        if (is_between(&aim, to)) {
            move_end(&aim, to, up_to);
            is_low = up_to < aim.rank;
        } else {
            is_low = !is_low; /* at the other end */
        }
    }
    return false;
}

/* The slope an aim asks for; next: of the rank behind it, NAN when that takes an aim of its
 * own. */
static double slope_at(struct search *search, const struct aim *aim, double *next) {
    struct list list = {search->scratch + 4 * search->count, 0, search->count, 0};
    double slope;
    if (next)
        *next = NAN;
    surround(search, aim);
    if (isinf(aim->low) || isinf(aim->high)) /* steeper than doubles can tell */
        return isinf(aim->low) ? search->least : search->greatest;
    const int64_t enough = (int64_t)list.room;
    narrow(search, aim, enough, NEAR * enough);
    if (turn_to_rank(search, *aim, &list, &slope, next))
        return slope;
    /* What lies between the ends, or, where one value stands there many times, a part. */
    narrow(search, aim, enough, -1);
    order_at(search, aim->low);
    turn_to(search, aim->high, &list);
    return list.count == 0 ? aim->high : listed(&list, aim->rank - aim->below - 1, next);
}

bool slopes_median(struct slope_point *points, size_t count, double z, double *scratch,
                   struct slopes *out) {
    sort_points(points, count, scratch);
    struct search search = {.points = points,
                            .count = count,
                            .scratch = scratch,
                            .most_passed = (int64_t)4 * NEAR * (int64_t)count};
    survey(&search);
    if (search.slopes == 0)
        return false;
    search.equal_pairs = equal_pairs(points, count);
    int64_t slopes = search.slopes;
    double variance = 0.0; /* of Kendall's sum, Sen 1968, without ties */
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        double n = (double)(end - begin);
        variance += n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
    }
    double reach = z * sqrt(variance);
    int64_t low_rank = llround(((double)slopes - reach) / 2.0);
    int64_t high_rank = llround(((double)slopes + reach) / 2.0) + 1;
    const int64_t ranks[AIMS] = {
        (slopes + 1) / 2, low_rank < 1 ? 1 : low_rank, high_rank > slopes ? slopes : high_rank,
        slopes / 2 + 1, /* the other middle one, of an even number */
    };
    for (; search.aims < AIMS; search.aims++)
        search.aim[search.aims] =
            (struct aim){ranks[search.aims], -INFINITY, INFINITY, 0, slopes, NAN, 0};
    if (slopes > (int64_t)count)
        try_sample(&search, ranks[0]);
    double upper, middle = slope_at(&search, &search.aim[0], &upper);
    if (ranks[3] == ranks[0])
        upper = middle;
    else if (isnan(upper))
        upper = slope_at(&search, &search.aim[3], NULL);
    *out = (struct slopes){
        .count = slopes,
        .median = 0.5 * middle + 0.5 * upper,
        .low = slope_at(&search, &search.aim[1], NULL),
        .high = slope_at(&search, &search.aim[2], NULL),
    };
    return true;
}
