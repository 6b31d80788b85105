/* SPDX-License-Identifier: MIT */
/* slopes: selection by counting. With points in order of x, the slope of a pair
 * is at most v exactly when y - v x does not grow from the one to the other, so
 * the points in order of these levels tell the slopes up to v; and what changes places
 * from one v to a greater one are the slopes between them. */
#include "server/science/slopes.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/order.h"

#define SAMPLE 2048 /* slopes drawn for a first bracket */
#define AIMS 4
#define NEAR 6 /* slopes a point from an end to the rank: fewer are passed by turning */
#define TURNS 12
#define TURN 3 /* slopes a point that cost as much to pass as standing anew */
#define STANDS 5
#define NEAR_POINTS 1000 /* from so many on, searching from the last slopes saves time */
#define CLOSE 1e-4       /* of the whole breadth in x: points nearer than that are few */

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
    double *level;          /* y - v x of every point, for the v last stood at */
    uint32_t *place;        /* each group's points in order of level, counted from its first */
    uint64_t *spare;        /* two a point */
    double *room;           /* for the slopes of a list, one a point */
    double stands_at;       /* the v; NAN: at none */
    int64_t slopes;         /* in all */
    int64_t equal_pairs;    /* of points */
    double least, greatest; /* no slope lies outside, but for its rounding */
    double most_x, most_y;  /* sizes */
    double breadth;         /* in x, of the broadest group */
    int64_t most_passed;    /* by one turn */
    struct aim aim[AIMS];
};

static size_t group_end(const struct slope_point *points, size_t count, size_t begin) {
    if (points[begin].group == points[count - 1].group) /* groups are in order */
        return count;
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
static void sort_group(struct slope_point *points, size_t count, const struct search *search) {
    struct slope_point *moved = (struct slope_point *)search->level; /* and on, over spare */
    for (size_t i = 0; i < count; i++)
        search->level[i] = points[i].x;
    order_places(search->level, count, search->place, search->spare);
    for (size_t i = 0; i < count; i++)
        moved[i] = points[search->place[i]];
    memcpy(points, moved, count * sizeof *points);
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = column_end(points, count, begin);
        if (end - begin > 1)
            qsort(points + begin, end - begin, sizeof *points, by_group_x_y);
    }
}

static void sort_points(struct slope_point *points, size_t count, const struct search *search) {
    bool grouped = true;
    for (size_t i = 1; i < count && grouped; i++)
        grouped = points[i - 1].group <= points[i].group;
    if (!grouped) {
        qsort(points, count, sizeof *points, by_group_x_y);
        return;
    }
    for (size_t begin = 0, end; begin < count; begin = end) {
        end = group_end(points, count, begin);
        sort_group(points + begin, end - begin, search);
    }
}

/* Place of a double among all doubles: neighbours differ by one. */
static int64_t ordinal(double value) {
    int64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits < 0 ? INT64_MIN - bits : bits; /* both zeros are 0 */
}

static double level_of(const struct slope_point *point, double v) {
    return point->y - v * point->x;
}

static unsigned ones(uint64_t bits) {
    bits -= bits >> 1 & 0x5555555555555555u;
    bits = (bits & 0x3333333333333333u) + (bits >> 2 & 0x3333333333333333u);
    bits = (bits + (bits >> 4)) & 0x0F0F0F0F0F0F0F0Fu;
    return (unsigned)(bits * 0x0101010101010101u >> 56);
}

/* The number of pairs i < j with place[i] > place[j]. Which places have been met is noted
 * in words of 64, and over the words stands a tree: each node counts those met in its left
 * half. */
static int64_t count_turned(const uint32_t *place, size_t count, uint64_t *spare) {
    const size_t words = (count + 63) / 64;
    uint32_t leaves = 1;
    while (leaves < words)
        leaves *= 2;
    uint64_t *met = spare;
    uint32_t *left = (uint32_t *)(spare + words); /* from 1 on; the halves of n are 2n, 2n + 1 */
    memset(met, 0, words * sizeof *met);
    memset(left, 0, leaves * sizeof *left);
    uint64_t pairs = 0;
    for (size_t i = 0; i < count; i++) {
        const uint32_t word = place[i] / 64;
        const uint64_t bit = (uint64_t)1 << place[i] % 64;
        uint64_t less = ones(met[word] & (bit - 1));
        met[word] |= bit;
        for (uint32_t node = leaves + word; node > 1;) {
            const uint32_t is_right = node & 1;
            node /= 2;
            less += (0 - is_right) & left[node];
            left[node] += 1 - is_right;
        }
        pairs += i - less;
    }
    return (int64_t)pairs;
}

/* Puts each group's points in order of their levels at v: of equal ones the point of the
 * greater x comes first, as the slope counts. Returns the number of slopes up to v. */
static int64_t stand_at(struct search *search, double v) {
    int64_t pairs = -search->equal_pairs;
    for (size_t i = 0; i < search->count; i++)
        search->level[i] = level_of(&search->points[i], v);
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        uint32_t *place = search->place + begin;
        order_places(search->level + begin, end - begin, place, search->spare);
        pairs += count_turned(place, end - begin, search->spare);
    }
    search->stands_at = v;
    return pairs;
}

/* Counts the slopes of one group. Points of one x, a column, have none among them. Inside it y
 * grows, and with it y - v x, so that only points equal in y count by mistake: those pairs. */
static void survey_group(struct search *search, size_t begin, size_t end) {
    const struct slope_point *points = search->points;
    for (size_t i = begin, column = begin, equal = begin; i < end; i++) {
        const double size = fabs(points[i].y);
        if (i > begin && points[i].x != points[i - 1].x)
            column = equal = i;
        else if (i > begin && points[i].y != points[i - 1].y)
            equal = i;
        search->slopes += (int64_t)(column - begin);
        search->equal_pairs += (int64_t)(i - equal);
        search->most_y = size > search->most_y ? size : search->most_y;
    }
    const double west = points[begin].x, east = points[end - 1].x;
    search->most_x = fmax(search->most_x, fmax(fabs(west), fabs(east)));
    search->breadth = fmax(search->breadth, east - west);
}

static void survey(struct search *search) {
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        survey_group(search, begin, end);
    }
}

/* Sets least and greatest: a slope is a mean of the steps between neighbouring columns it
 * spans. */
static void find_bounds(struct search *search) {
    const struct slope_point *points = search->points;
    search->least = INFINITY;
    search->greatest = -INFINITY;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(points, search->count, begin);
        for (size_t column = begin, next; column < end; column = next) {
            next = column_end(points, end, column);
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
    const int64_t up_to = stand_at(search, trial);
    for (int i = 0; i < AIMS; i++)
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

struct list {
    double *slope;
    size_t count, room;
    int64_t passed; /* whether there was room or not */
};

/* Brings one group's points in order of new levels, and lists. */
static void turn_group(const struct search *search, size_t begin, size_t end, struct list *list) {
    const struct slope_point *points = search->points + begin;
    const double *level = search->level + begin;
    uint32_t *place = search->place + begin;
    for (size_t i = 1; i < end - begin && list->passed <= search->most_passed; i++) {
        const uint32_t own = place[i];
        size_t at = i;
        for (; at > 0; at--) {
            const uint32_t other = place[at - 1];
            if (level[own] > level[other] || (level[own] == level[other] && own < other))
                break;
            if (points[own].x != points[other].x) {
                if (list->count < list->room)
                    list->slope[list->count++] = slope_of(&points[own], &points[other]);
                list->passed++;
            }
            place[at] = other;
        }
        place[at] = own;
    }
}

/* From where the points stand to v: lists the slopes of the pairs that change places, those
 * between the two, as far as there is room. Gives up when it passes too many. */
static bool turn_to(struct search *search, double v, struct list *list) {
    for (size_t i = 0; i < search->count; i++)
        search->level[i] = level_of(&search->points[i], v);
    list->count = 0;
    list->passed = 0;
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        turn_group(search, begin, end, list);
    }
    const bool is_there = list->passed <= search->most_passed;
    search->stands_at = is_there ? v : NAN;
    return is_there;
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

/* The width within which a slope is not told from another by levels, which are rounded,
 * unless the points of one are close together. */
static double blur_about(const struct search *search, double slope) {
    return DBL_EPSILON * (search->most_y + fabs(slope) * search->most_x) /
           (CLOSE * search->breadth);
}

/* From where the points stand, with so many slopes up to there, and so many a unit of slope,
 * they are turned, to and fro, until the slopes passed by a turn can be listed and include
 * the rank, not too near to either end: then *slope is it, whatever the way there. False
 * when it does not come to that: one value stands there many times, or rounding hides it.
 * next: as in listed. */
static bool turn_to_rank(struct search *search, int64_t rank, int64_t up_to, double density,
                         double *slope, double *next) {
    struct list list = {search->room, 0, search->count, 0};
    const double beyond = 0.25 * (double)list.room;
    for (int turns = 0; turns < TURNS; turns++) {
        const double from = search->stands_at, away = (double)(rank - up_to) - 0.5;
        const double to = from + (away + copysign(beyond, away)) / density;
        const bool is_up = away > 0.0;
        if (!isfinite(to) || to == from || !turn_to(search, to, &list))
            return false;
        const int64_t there = is_up ? up_to + list.passed : up_to - list.passed;
        if (is_up == (there >= rank) && list.passed <= (int64_t)list.room) {
            *slope = listed(&list, rank - (is_up ? up_to : there) - 1, next);
            return fmin(fabs(*slope - from), fabs(*slope - to)) > blur_about(search, *slope);
        }
        if (list.passed > (int64_t)list.room / 8)
            density = (double)list.passed / fabs(to - from);
        up_to = there;
    }
    return false;
}

/* The slope an aim asks for; next: of the rank behind it, NAN when that takes an aim of its
 * own. */
static double slope_at(struct search *search, const struct aim *aim, double *next) {
    struct list list = {search->room, 0, search->count, 0};
    double slope;
    if (next)
        *next = NAN;
    surround(search, aim);
    if (isinf(aim->low) || isinf(aim->high)) /* steeper than doubles can tell */
        return isinf(aim->low) ? search->least : search->greatest;
    const int64_t enough = (int64_t)list.room;
    narrow(search, aim, enough, NEAR * enough);
    const bool is_low = aim->rank - aim->below <= aim->up_to - aim->rank; /* the nearer end */
    const double near = is_low ? aim->low : aim->high;
    const double density = (double)(aim->up_to - aim->below) / (aim->high - aim->low);
    if (search->stands_at != near)
        (void)stand_at(search, near);
    if (turn_to_rank(search, aim->rank, is_low ? aim->below : aim->up_to, density, &slope, next))
        return slope;
    /* What lies between the ends, or, where one value stands there many times, a part. */
    narrow(search, aim, enough, -1);
    (void)stand_at(search, aim->low);
    (void)turn_to(search, aim->high, &list);
    return list.count == 0 ? aim->high : listed(&list, aim->rank - aim->below - 1, next);
}

/* The same from a slope near it. To stand somewhere else costs less than a long turn. */
static bool slope_near(struct search *search, int64_t rank, double near, double density,
                       double *slope, double *next) {
    const double beside = 0.25 * (double)search->count, far = TURN * (double)search->count;
    double away = 0.0;
    for (int stands = 0; stands < STANDS; stands++) {
        const double at = near + (away - beside) / density;
        if (!isfinite(at))
            return false;
        const int64_t up_to = stand_at(search, at);
        away = (double)(rank - up_to) - 0.5;
        if (fabs(away) <= far)
            return turn_to_rank(search, rank, up_to, density, slope, next);
        near = at;
    }
    return false;
}

enum { MIDDLE, LOW, HIGH, UPPER_MIDDLE };

/* The ranks asked for. */
static void ask(struct search *search, double z) {
    const int64_t slopes = search->slopes;
    double variance = 0.0; /* of Kendall's sum, Sen 1968, without ties */
    for (size_t begin = 0, end; begin < search->count; begin = end) {
        end = group_end(search->points, search->count, begin);
        double n = (double)(end - begin);
        variance += n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
    }
    double reach = z * sqrt(variance);
    int64_t low_rank = llround(((double)slopes - reach) / 2.0);
    int64_t high_rank = llround(((double)slopes + reach) / 2.0) + 1;
    const int64_t ranks[AIMS] = {
        [MIDDLE] = (slopes + 1) / 2,
        [LOW] = low_rank < 1 ? 1 : low_rank,
        [HIGH] = high_rank > slopes ? slopes : high_rank,
        [UPPER_MIDDLE] = slopes / 2 + 1, /* the other middle one, of an even number */
    };
    for (int i = 0; i < AIMS; i++)
        search->aim[i] = (struct aim){ranks[i], -INFINITY, INFINITY, 0, slopes, NAN, 0};
}

static void search_all(struct search *search, struct slopes *out) {
    const struct aim *aim = search->aim;
    double upper;
    find_bounds(search);
    if (search->slopes > (int64_t)search->count)
        try_sample(search, aim[MIDDLE].rank);
    double middle = slope_at(search, &aim[MIDDLE], &upper);
    if (aim[UPPER_MIDDLE].rank == aim[MIDDLE].rank)
        upper = middle;
    else if (isnan(upper))
        upper = slope_at(search, &aim[UPPER_MIDDLE], NULL);
    out->median = 0.5 * middle + 0.5 * upper;
    out->low = slope_at(search, &aim[LOW], NULL);
    out->high = slope_at(search, &aim[HIGH], NULL);
}

/* From the slopes of a set that was little different. */
static bool search_near(struct search *search, const struct slopes *near, struct slopes *out) {
    const struct aim *aim = search->aim;
    const double density = (double)(aim[HIGH].rank - aim[LOW].rank) / (near->high - near->low);
    double middle, upper;
    if (search->count < NEAR_POINTS || !(density > 0.0) ||
        !slope_near(search, aim[MIDDLE].rank, near->median, density, &middle, &upper))
        return false;
    const double moved = middle - near->median; /* as, about, the two ends have */
    if (!slope_near(search, aim[LOW].rank, near->low + moved, density, &out->low, NULL) ||
        !slope_near(search, aim[HIGH].rank, near->high + moved, density, &out->high, NULL))
        return false;
    if (aim[UPPER_MIDDLE].rank == aim[MIDDLE].rank)
        upper = middle;
    out->median = 0.5 * middle + 0.5 * upper;
    return !isnan(upper);
}

bool slopes_median(struct slope_point *points, size_t count, double z, const struct slopes *near,
                   double *scratch, struct slopes *out) {
    struct search search = {.points = points,
                            .count = count,
                            .level = scratch,
                            .spare = (uint64_t *)(scratch + count),
                            .room = scratch + 3 * count,
                            .place = (uint32_t *)(scratch + 4 * count),
                            .stands_at = NAN,
                            .most_passed = (int64_t)4 * NEAR * (int64_t)count};
    sort_points(points, count, &search);
    survey(&search);
    if (search.slopes == 0)
        return false;
    ask(&search, z);
    struct slopes slopes = {.count = search.slopes};
    if (!near || !search_near(&search, near, &slopes))
        search_all(&search, &slopes);
    *out = slopes;
    return true;
}
