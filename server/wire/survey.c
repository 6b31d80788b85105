/* SPDX-License-Identifier: MIT */
/* survey: one sweep from west to east. Blocks are built when a window first takes them
 * whole, and dropped when it has left them behind. */
#include "server/wire/survey.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/order.h"

#define LEAF 32 /* members of a block of the lowest level; each level doubles it */
#define LEVELS 24
#define SLACK_DEG 1e-6

/* A lender in a block. */
struct rung {
    double km; /* from the equator, ascending */
    struct member *member;
};

/* A member in a block. */
struct shade {
    double off_deg; /* ascending */
    struct member *member;
};

struct block {
    size_t members, lenders;
    double west_deg, east_deg, south_km, north_km;  /* where all of them are, */
    double first_s, last_s;                         /* and when */
    double most_off_deg, most_variance, most_habit; /* of lenders */
    struct standing_crowd *before;                  /* of each rung; behind the last: all */
    struct rung *rung;                              /* one a lender */
    struct shade *shade;                            /* one a member */
};

struct sweep {
    struct member **row; /* by longitude */
    size_t count;
    struct block **block[LEVELS]; /* by place; NULL: not built, or dropped */
    size_t dropped[LEVELS];       /* so many from the west */
    const struct day_noon *noon;
    const struct pair_rules *rules;
    struct glance_rules glance_rules;
    struct best_pairs *best;
    int64_t pairs;
    bool failed;
};

/* A member looking at others: those to its east are met for the first time. */
struct look {
    struct member *own;
    struct glance glance; /* at their turn of the globe */
    bool is_east;
};

/* ---- blocks ---- */

static struct block *block_new(size_t members) {
    const size_t crowds = (members + 1) * sizeof(struct standing_crowd);
    const size_t rungs = members * sizeof(struct rung), shades = members * sizeof(struct shade);
    struct block *block = malloc(sizeof *block);
    char *room = malloc(crowds + rungs + shades);
    if (!block || !room) {
        free(block);
        free(room);
        return NULL;
    }
    *block = (struct block){
        .members = members,
        .west_deg = INFINITY,
        .east_deg = -INFINITY,
        .south_km = INFINITY,
        .north_km = -INFINITY,
        .first_s = INFINITY,
        .last_s = -INFINITY,
        .before = (struct standing_crowd *)room,
        .rung = (struct rung *)(room + crowds),
        .shade = (struct shade *)(room + crowds + rungs),
    };
    return block;
}

static void block_free(struct block *block) {
    if (!block)
        return;
    free(block->before); /* and all behind */
    free(block);
}

static void insert_rung(struct block *block, struct member *member) {
    const struct rung own = {member->glance.meridian_km, member};
    size_t at = block->lenders++;
    for (; at > 0 && block->rung[at - 1].km > own.km; at--)
        block->rung[at] = block->rung[at - 1];
    block->rung[at] = own;
}

static void insert_shade(struct block *block, size_t count, struct member *member) {
    const struct shade own = {member->glance.off_deg, member};
    for (; count > 0 && block->shade[count - 1].off_deg > own.off_deg; count--)
        block->shade[count] = block->shade[count - 1];
    block->shade[count] = own;
}

static void fill_leaf(struct block *block, struct member *const *row) {
    for (size_t i = 0; i < block->members; i++) {
        const struct glance *glance = &row[i]->glance;
        block->west_deg = fmin(block->west_deg, glance->lon_deg);
        block->east_deg = fmax(block->east_deg, glance->lon_deg);
        block->south_km = fmin(block->south_km, glance->meridian_km);
        block->north_km = fmax(block->north_km, glance->meridian_km);
        block->first_s = fmin(block->first_s, glance->noon_s);
        block->last_s = fmax(block->last_s, glance->noon_s);
        insert_shade(block, i, row[i]);
        if (row[i]->off_line)
            continue;
        block->most_off_deg = fmax(block->most_off_deg, fabs(glance->off_deg));
        block->most_variance = fmax(block->most_variance, glance->variance);
        block->most_habit = fmax(block->most_habit, fabs(glance->habit_deg));
        insert_rung(block, row[i]);
    }
}

static void fill_from(struct block *block, const struct block *west, const struct block *east) {
    block->west_deg = fmin(west->west_deg, east->west_deg);
    block->east_deg = fmax(west->east_deg, east->east_deg);
    block->south_km = fmin(west->south_km, east->south_km);
    block->north_km = fmax(west->north_km, east->north_km);
    block->first_s = fmin(west->first_s, east->first_s);
    block->last_s = fmax(west->last_s, east->last_s);
    block->most_off_deg = fmax(west->most_off_deg, east->most_off_deg);
    block->most_variance = fmax(west->most_variance, east->most_variance);
    block->most_habit = fmax(west->most_habit, east->most_habit);
    block->lenders = west->lenders + east->lenders;
    for (size_t i = 0, w = 0, e = 0; i < block->lenders; i++) {
        bool is_west =
            e == east->lenders || (w < west->lenders && west->rung[w].km <= east->rung[e].km);
        block->rung[i] = is_west ? west->rung[w++] : east->rung[e++];
    }
    for (size_t i = 0, w = 0, e = 0; i < block->members; i++) {
        bool is_west = e == east->members ||
                       (w < west->members && west->shade[w].off_deg <= east->shade[e].off_deg);
        block->shade[i] = is_west ? west->shade[w++] : east->shade[e++];
    }
}

/* NULL when memory is short. All its members are in the row. */
static const struct block *block_at(struct sweep *sweep, int level, size_t place) {
    if (sweep->block[level][place])
        return sweep->block[level][place];
    const struct block *west = NULL, *east = NULL;
    if (level > 0 && (!(west = block_at(sweep, level - 1, 2 * place)) ||
                      !(east = block_at(sweep, level - 1, 2 * place + 1))))
        return NULL;
    struct block *block = block_new((size_t)LEAF << level);
    if (!block) {
        sweep->failed = true;
        return NULL;
    }
    if (level == 0)
        fill_leaf(block, sweep->row + LEAF * place);
    else
        fill_from(block, west, east);
    block->before[0] = (struct standing_crowd){0};
    for (size_t i = 0; i < block->lenders; i++) {
        block->before[i + 1] = block->before[i];
        standing_join(&block->before[i + 1], &block->rung[i].member->point);
    }
    sweep->block[level][place] = block;
    return block;
}

/* Drops all blocks that end before a place in the row. */
static void drop_before(struct sweep *sweep, size_t place) {
    for (int level = 0; level < LEVELS; level++) {
        const size_t size = (size_t)LEAF << level;
        for (; (sweep->dropped[level] + 1) * size <= place; sweep->dropped[level]++) {
            struct block **block = &sweep->block[level][sweep->dropped[level]];
            block_free(*block);
            *block = NULL;
        }
    }
}

/* How many rungs are below a distance. */
static size_t rungs_below(const struct block *block, double km) {
    const struct rung *rung = block->rung;
    size_t count = block->lenders;
    while (count > 0) {
        const size_t half = count / 2;
        const bool is_below = rung[half].km < km;
        rung = is_below ? rung + half + 1 : rung;
        count = is_below ? count - half - 1 : half;
    }
    return (size_t)(rung - block->rung);
}

static size_t shades_below(const struct block *block, double off_deg) {
    const struct shade *shade = block->shade;
    size_t count = block->members;
    while (count > 0) {
        const size_t half = count / 2;
        const bool is_below = shade[half].off_deg < off_deg;
        shade = is_below ? shade + half + 1 : shade;
        count = is_below ? count - half - 1 : half;
    }
    return (size_t)(shade - block->shade);
}

/* ---- looking ---- */

static enum sight sight_of(const struct sweep *sweep, const struct look *look,
                           const struct member *other) {
    return member_sight(look->own, &look->glance, other, sweep->noon, &sweep->glance_rules,
                        sweep->rules);
}

static void offer_if_near(struct sweep *sweep, const struct look *look,
                          const struct member *other) {
    if (glance_near(&look->glance, &other->glance, best_pairs_within_km(sweep->best)))
        best_pairs_offer(sweep->best, sweep->noon, look->own->slot, other->slot);
}

static void lend(struct member *own, const struct member *partner) {
    standing_add(&own->sums, standing_apart(&own->point, &partner->point), partner->point.weight);
}

static void look_at(struct sweep *sweep, const struct look *look, const struct member *other) {
    const enum sight sight = sight_of(sweep, look, other);
    if (sight == SIGHT_APART)
        return;
    sweep->pairs += look->is_east;
    if (sight == SIGHT_IDLE)
        return;
    if (!other->off_line)
        lend(look->own, other);
    if (look->is_east)
        offer_if_near(sweep, look, other);
}

/* Whether all of a block meet the one who looks, beyond rounding. */
static bool all_meet(const struct sweep *sweep, const struct look *look,
                     const struct block *block) {
    const double reach_deg = sweep->rules->lon_tolerance_deg - GLANCE_HAIR;
    const double reach_s = PAIR_SAME_NOON_S - GLANCE_HAIR_S;
    return fabs(block->west_deg - look->glance.lon_deg) < reach_deg &&
           fabs(block->east_deg - look->glance.lon_deg) < reach_deg &&
           fabs(block->first_s - look->glance.noon_s) < reach_s &&
           fabs(block->last_s - look->glance.noon_s) < reach_s;
}

/* From this distance (km, north to south) on every pair with a lender of the block counts.
 * However far from the line the two are, the angle has at least some share of what the
 * handbook makes of the distance, when that is great enough; and with it the angle is
 * known to be above zero, and the circumference as well as the rules ask. */
static double far_km(const struct sweep *sweep, const struct look *look,
                     const struct block *block) {
    static const double shares[] = {0.5, 0.8, 0.95};
    const struct glance_rules *rules = &sweep->glance_rules;
    const double off_deg = fabs(look->glance.off_deg) + block->most_off_deg;
    const double sigma_deg = sqrt(look->glance.variance + block->most_variance +
                                  2.0 * fabs(look->glance.habit_deg) * block->most_habit);
    double least_km = INFINITY;
    for (size_t i = 0; i < sizeof shares / sizeof *shares; i++) {
        const double deg_km = shares[i] * GLANCE_DEG_KM;
        double km = off_deg / (GLANCE_DEG_KM - deg_km);
        km = fmax(km, PAIR_SURE_SIGMAS * sigma_deg / deg_km);
        km = fmax(km, 360.0 * sigma_deg / (deg_km * deg_km * rules->max_sigma_km));
        least_km = fmin(least_km, km);
    }
    return fmax(fmax(least_km, 1.0), rules->min_separation_km) * (1.0 + 1e-6);
}

static void add_rungs(struct sweep *sweep, const struct look *look, const struct block *block,
                      size_t from, size_t to) {
    for (size_t i = from; i < to; i++)
        if (sight_of(sweep, look, block->rung[i].member) == SIGHT_COUNTS)
            lend(look->own, block->rung[i].member);
}

static void add_lenders(struct sweep *sweep, const struct look *look, const struct block *block) {
    struct member *own = look->own;
    const double here_km = look->glance.meridian_km, far = far_km(sweep, look, block);
    const double idle_km = fmax(sweep->glance_rules.min_separation_km - 2.0 * GLANCE_HAIR, 0.0);
    const size_t south = rungs_below(block, here_km - far);
    const size_t near_south = rungs_below(block, here_km - idle_km);
    const size_t near_north = rungs_below(block, here_km + idle_km);
    const size_t north = rungs_below(block, here_km + far);
    const struct standing_crowd far_north =
        standing_without(&block->before[block->lenders], &block->before[north]);
    standing_add_crowd(&own->sums, &own->point, &block->before[south]);
    standing_add_crowd(&own->sums, &own->point, &far_north);
    add_rungs(sweep, look, block, south, near_south);
    add_rungs(sweep, look, block, near_north, north);
}

/* A pair is as near to the handbook's meridian as its two are to each other, for its
 * angle. */
static void offer_block(struct sweep *sweep, const struct look *look, const struct block *block) {
    const double share = best_pairs_within_km(sweep->best) / MERIDIAN_CIRCUMFERENCE_KM;
    const double here_deg = look->glance.off_deg, here_km = look->glance.meridian_km;
    const double apart_km = fmax(fabs(block->north_km - here_km), fabs(block->south_km - here_km));
    double reach_deg = INFINITY;
    if (share < 0.5)
        reach_deg = share / (1.0 - share) * GLANCE_DEG_KM * apart_km + 1e-6;
    for (size_t i = shades_below(block, here_deg - reach_deg);
         i < block->members && block->shade[i].off_deg <= here_deg + reach_deg; i++)
        if (sight_of(sweep, look, block->shade[i].member) == SIGHT_COUNTS)
            offer_if_near(sweep, look, block->shade[i].member);
}

static void look_at_block(struct sweep *sweep, const struct look *look, int level, size_t place) {
    const struct block *block = block_at(sweep, level, place);
    if (!block)
        return;
    if (all_meet(sweep, look, block)) {
        add_lenders(sweep, look, block);
        if (look->is_east) {
            sweep->pairs += (int64_t)block->members;
            offer_block(sweep, look, block);
        }
    } else if (level > 0) {
        look_at_block(sweep, look, level - 1, 2 * place);
        look_at_block(sweep, look, level - 1, 2 * place + 1);
    } else {
        for (size_t i = 0; i < LEAF; i++)
            look_at(sweep, look, sweep->row[LEAF * place + i]);
    }
}

/* Looks at the members from one place in the row to another: single ones up to where
 * blocks begin and from where they end, between them the largest that fit. */
static void look_along(struct sweep *sweep, struct member *own, size_t from, size_t to, int turns,
                       bool is_east) {
    const struct look look = {own, glance_turned(&own->glance, turns), is_east};
    size_t first = (from + LEAF - 1) / LEAF, last = to / LEAF;
    if (first >= last) {
        for (size_t i = from; i < to; i++)
            look_at(sweep, &look, sweep->row[i]);
        return;
    }
    for (size_t i = from; i < first * LEAF; i++)
        look_at(sweep, &look, sweep->row[i]);
    for (size_t i = last * LEAF; i < to; i++)
        look_at(sweep, &look, sweep->row[i]);
    for (int level = 0; first < last; level++) {
        if (first % 2 == 1)
            look_at_block(sweep, &look, level, first++);
        if (last % 2 == 1)
            look_at_block(sweep, &look, level, --last);
        first /= 2;
        last /= 2;
    }
}

/* All members in turn. Where the circle of longitudes closes, the row is looked at from
 * the other end. */
static void look_round(struct sweep *sweep) {
    const double reach_deg = sweep->rules->lon_tolerance_deg + SLACK_DEG;
    struct member **row = sweep->row;
    const size_t count = sweep->count;
    size_t west = 0, east = 0, beyond_west = 0, beyond_east = 0;
    for (size_t i = 0; i < count && !sweep->failed; i++) {
        const double lon_deg = row[i]->glance.lon_deg;
        while (row[west]->glance.lon_deg < lon_deg - reach_deg)
            west++;
        while (east < count && row[east]->glance.lon_deg <= lon_deg + reach_deg)
            east++;
        while (beyond_west < count &&
               row[beyond_west]->glance.lon_deg < lon_deg + 360.0 - reach_deg)
            beyond_west++;
        while (beyond_east < count &&
               row[beyond_east]->glance.lon_deg <= lon_deg - 360.0 + reach_deg)
            beyond_east++;
        look_along(sweep, row[i], west, i, 0, false);
        look_along(sweep, row[i], i + 1, east, 0, true);
        look_along(sweep, row[i], beyond_west, count, 1, false);
        look_along(sweep, row[i], 0, beyond_east, -1, true);
        drop_before(sweep, west);
    }
}

/* ---- coming and going ---- */

/* The members by longitude. False when memory is short. */
static bool line_up(struct member *const *member, size_t count, struct member **row) {
    double *lon_deg = malloc((count + 1) * sizeof *lon_deg);
    uint32_t *place = malloc((count + 1) * sizeof *place);
    uint64_t *spare = malloc(2 * (count + 1) * sizeof *spare);
    const bool is_room = lon_deg && place && spare;
    for (size_t i = 0; is_room && i < count; i++)
        lon_deg[i] = member[i]->glance.lon_deg;
    if (is_room)
        order_places(lon_deg, count, place, spare);
    for (size_t i = 0; is_room && i < count; i++)
        row[i] = member[place[i]];
    free(spare);
    free(place);
    free(lon_deg);
    return is_room;
}

static bool stand_in_row(struct sweep *sweep, struct member *const *member) {
    sweep->row = malloc((sweep->count + 1) * sizeof(struct member *));
    if (!sweep->row || !line_up(member, sweep->count, sweep->row))
        return false;
    for (size_t i = 0; i < sweep->count; i++)
        sweep->row[i]->sums = (struct standing_sums){0};
    for (int level = 0; level < LEVELS; level++) {
        const size_t blocks = sweep->count / ((size_t)LEAF << level);
        sweep->block[level] = calloc(blocks + 1, sizeof(struct block *));
        if (!sweep->block[level])
            return false;
    }
    return true;
}

static void end(struct sweep *sweep) {
    for (int level = 0; level < LEVELS; level++) {
        const size_t blocks = sweep->count / ((size_t)LEAF << level);
        for (size_t i = 0; sweep->block[level] && i < blocks; i++)
            block_free(sweep->block[level][i]);
        free(sweep->block[level]);
    }
    free(sweep->row);
}

bool survey_make(struct member *const *member, size_t count, const struct day_noon *noon,
                 const struct pair_rules *rules, struct best_pairs *best, int64_t *pairs) {
    struct sweep sweep = {
        .count = count,
        .noon = noon,
        .rules = rules,
        .glance_rules = glance_rules_of(rules),
        .best = best,
    };
    best_pairs_clear(best);
    bool well = stand_in_row(&sweep, member);
    if (well)
        look_round(&sweep);
    *pairs = sweep.pairs;
    end(&sweep);
    return well && !sweep.failed;
}
