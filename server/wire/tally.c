/* SPDX-License-Identifier: MIT */
/* tally: the circle of longitudes in strips; in them every noon as its neighbours look at
 * it. A noon that comes looks at all within reach: what it lends to their sums, what they
 * lend to its own, and whether it makes a better pair with one of them than those kept.
 * When it goes it takes back what it lent. Where many have come, all is surveyed at
 * once. */
#include "server/wire/tally.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/best_pairs.h"
#include "server/wire/member.h"
#include "server/wire/roll.h"
#include "server/wire/survey.h"

#define STRIPS 5760 /* of 1/16 degree */
#define SLACK_DEG 1e-6
#define NOWHERE UINT32_MAX
#define MANY 8 /* one in so many that comes or goes: surveying costs less */

struct strip {
    struct member *member;
    uint32_t count, room;
};

/* Where the noon of a slot stands. */
struct seat {
    uint32_t strip, at; /* NOWHERE: the slot is empty */
};

struct tally {
    struct pair_rules rules;
    struct glance_rules glance_rules;
    struct day_noon *noon; /* by slot */
    struct seat *seat;
    uint32_t slots;
    struct roll roll;
    struct strip strip[STRIPS];
    struct best_pairs best;
    int64_t pairs, readings_left_out;
    struct combination_room room;
    size_t moved;       /* came or went since the sums were told */
    bool is_unsurveyed; /* sums, pairs and best are to be made anew */
};

struct tally *tally_new(const struct pair_rules *rules, size_t most) {
    struct tally *tally = calloc(1, sizeof *tally);
    if (!tally)
        return NULL;
    tally->rules = *rules;
    tally->glance_rules = glance_rules_of(rules);
    if (!best_pairs_init(&tally->best, rules, most)) {
        tally_free(tally);
        return NULL;
    }
    return tally;
}

void tally_free(struct tally *tally) {
    if (!tally)
        return;
    for (int i = 0; i < STRIPS; i++)
        free(tally->strip[i].member);
    roll_release(&tally->roll);
    best_pairs_release(&tally->best);
    combination_room_release(&tally->room);
    free(tally->noon);
    free(tally->seat);
    free(tally);
}

size_t tally_count(const struct tally *tally) {
    return tally->roll.count;
}

int64_t tally_readings_left_out(const struct tally *tally) {
    return tally->readings_left_out;
}

int64_t tally_pairs(const struct tally *tally) {
    return tally->pairs;
}

/* ---- neighbours ---- */

/* 180 degrees belong to the last strip, -180 to the first. */
static int strip_of(double lon_deg) {
    const int strip = (int)((lon_deg + 180.0) * (STRIPS / 360.0));
    return strip < 0 ? 0 : strip < STRIPS ? strip : STRIPS - 1;
}

/* What is to be done with every pair a noon is in. */
struct meeting {
    int lends;   /* 1: it lends its partners from now on, -1: no more, 0: as before */
    int pairs;   /* 1: they come to be, -1: they are no more, 0: as before */
    bool is_new; /* its partners lend to it, and the pairs may be among the best */
};

static void meet_strip(struct tally *tally, struct member *own, const struct glance *glance,
                       const struct strip *strip, struct meeting meeting) {
    for (uint32_t i = 0; i < strip->count; i++) {
        struct member *other = &strip->member[i];
        const enum sight sight =
            member_sight(own, glance, other, tally->noon, &tally->glance_rules, &tally->rules);
        if (sight == SIGHT_APART || other->slot == own->slot)
            continue;
        tally->pairs += meeting.pairs;
        if (sight == SIGHT_IDLE)
            continue;
        const struct standing_apart apart = standing_apart(&other->point, &own->point);
        if (meeting.lends > 0)
            standing_add(&other->sums, apart, own->point.weight);
        else if (meeting.lends < 0)
            standing_take(&other->sums, apart, own->point.weight);
        if (meeting.is_new && !other->off_line)
            standing_add(&own->sums, standing_turned(apart), other->point.weight);
        if (meeting.is_new &&
            glance_near(glance, &other->glance, best_pairs_within_km(&tally->best)))
            best_pairs_offer(&tally->best, tally->noon, own->slot, other->slot);
    }
}

/* The strips within reach; beyond 180 degrees from the other side. */
static void meet(struct tally *tally, struct member *own, struct meeting meeting) {
    const double reach_deg = tally->rules.lon_tolerance_deg + SLACK_DEG;
    const int span = (int)ceil(reach_deg * (STRIPS / 360.0)), here = strip_of(own->glance.lon_deg);
    for (int s = here - span; s <= here + span; s++) {
        const int turns = s < 0 ? 1 : s >= STRIPS ? -1 : 0;
        const struct glance glance = glance_turned(&own->glance, turns);
        meet_strip(tally, own, &glance, &tally->strip[s + turns * STRIPS], meeting);
    }
}

/* ---- coming and going ---- */

static bool make_room(struct tally *tally, uint32_t slot) {
    if (slot < tally->slots)
        return true;
    uint32_t slots = slot + slot / 4 + 64;
    struct day_noon *noon = realloc(tally->noon, slots * sizeof *noon);
    if (noon)
        tally->noon = noon;
    struct seat *seat = realloc(tally->seat, slots * sizeof *seat);
    if (seat)
        tally->seat = seat;
    if (!noon || !seat)
        return false;
    for (; tally->slots < slots; tally->slots++)
        tally->seat[tally->slots] = (struct seat){NOWHERE, NOWHERE};
    return true;
}

static bool set_in(struct tally *tally, const struct member *member) {
    const uint32_t at = (uint32_t)strip_of(member->glance.lon_deg);
    struct strip *strip = &tally->strip[at];
    if (strip->count == strip->room) {
        uint32_t room = strip->room + strip->room / 4 + 4;
        struct member *grown = realloc(strip->member, room * sizeof *grown);
        if (!grown)
            return false;
        strip->member = grown;
        strip->room = room;
    }
    tally->seat[member->slot] = (struct seat){at, strip->count};
    strip->member[strip->count++] = *member;
    return true;
}

static struct member take_out(struct tally *tally, uint32_t slot) {
    struct seat *seat = &tally->seat[slot];
    struct strip *strip = &tally->strip[seat->strip];
    const struct member member = strip->member[seat->at], last = strip->member[--strip->count];
    if (last.slot != slot) {
        strip->member[seat->at] = last;
        tally->seat[last.slot].at = seat->at;
    }
    seat->strip = seat->at = NOWHERE;
    return member;
}

/* Notes that a noon comes or goes: true when it is to meet its neighbours one by one. */
static bool is_single(struct tally *tally) {
    tally->is_unsurveyed |= ++tally->moved * MANY > tally->roll.count;
    return !tally->is_unsurveyed;
}

bool tally_put(struct tally *tally, uint32_t slot, const struct day_noon *noon) {
    const struct noon_result *result = &noon->noon;
    tally_drop(tally, slot);
    if (!make_room(tally, slot))
        return false;
    tally->noon[slot] = *noon;
    tally->readings_left_out += noon->readings_left_out;
    struct member member = {
        .glance = glance_of(result),
        .score = standing_score(result->noon_angle_deg - noon->expected_deg, result->sigma_deg),
        .slot = slot,
    };
    member.point =
        standing_point_of(member.glance.meridian_km, member.glance.off_deg, result->sigma_deg);
    if (is_single(tally))
        meet(tally, &member, (struct meeting){.lends = 1, .pairs = 1, .is_new = true});
    return set_in(tally, &member) && roll_enter(&tally->roll, tally->noon, slot);
}

void tally_drop(struct tally *tally, uint32_t slot) {
    if (slot >= tally->slots || tally->seat[slot].strip == NOWHERE)
        return;
    struct member member = take_out(tally, slot);
    roll_strike(&tally->roll, tally->noon, slot);
    tally->readings_left_out -= tally->noon[slot].readings_left_out;
    if (!is_single(tally))
        return;
    meet(tally, &member, (struct meeting){.lends = member.off_line ? 0 : -1, .pairs = -1});
    best_pairs_withdraw(&tally->best, slot);
}

/* ---- what it comes to ---- */

static struct member *member_in(const struct tally *tally, uint32_t slot) {
    return &tally->strip[tally->seat[slot].strip].member[tally->seat[slot].at];
}

static int survey(struct tally *tally, struct err *err) {
    size_t count = 0;
    struct member **member = malloc((tally->roll.count + 1) * sizeof(struct member *));
    for (int s = 0; member && s < STRIPS; s++)
        for (uint32_t i = 0; i < tally->strip[s].count; i++)
            member[count++] = &tally->strip[s].member[i];
    tally->is_unsurveyed = !member || !survey_make(member, count, tally->noon, &tally->rules,
                                                   &tally->best, &tally->pairs);
    free(member);
    return tally->is_unsurveyed ? err_set(err, ERR_INTERNAL, NULL, "out of memory") : 0;
}

/* A site comes to belong to the line, or ceases to. */
static void settle(struct tally *tally, struct member *member, bool off_line) {
    if (member->off_line == off_line)
        return;
    if (!tally->is_unsurveyed)
        meet(tally, member, (struct meeting){.lends = off_line ? -1 : 1});
    member->off_line = off_line;
}

int tally_combine(struct tally *tally, struct combination *out, struct err *err) {
    const uint32_t *order = roll_order(&tally->roll, tally->noon);
    if (combination_make(&tally->room, tally->noon, order, tally->roll.count, out, err))
        return -1;
    for (size_t i = 0; i < out->points; i++)
        settle(tally, member_in(tally, order[out->point[i].key]), out->point[i].left_out);
    tally->moved = 0;
    if ((tally->is_unsurveyed || !best_pairs_complete(&tally->best)) && survey(tally, err)) {
        combination_release(out);
        return -1;
    }
    return 0;
}

size_t tally_best(struct tally *tally, size_t limit, struct pair_record *out) {
    return best_pairs_tell(&tally->best, tally->noon, limit, out);
}

bool tally_next(const struct tally *tally, struct tally_walk *at, struct tally_site *out) {
    while (at->strip < STRIPS && at->at == tally->strip[at->strip].count) {
        at->strip++;
        at->at = 0;
    }
    if (at->strip == STRIPS)
        return false;
    const struct member *member = &tally->strip[at->strip].member[at->at++];
    *out = (struct tally_site){&tally->noon[member->slot], &member->sums, member->score};
    return true;
}
