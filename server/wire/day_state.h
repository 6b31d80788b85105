/* SPDX-License-Identifier: MIT */
/* day_state: what becomes of a measurement day, in one table: what each state means
 * and allows, and where it may go from there. The rules ask this table, the client's
 * help prints it, and a test holds README.md and openapi.json to it. */
#ifndef NOONARC_DAY_STATE_H
#define NOONARC_DAY_STATE_H

#include <stdbool.h>

#include "server/base/text.h"

enum day_state { DAY_PLANNED, DAY_ANNOUNCED, DAY_CLOSED, DAY_CANCELLED };
#define DAY_STATES 4

/* What a state may allow. Looking at what there is needs no more than that the day
 * is seen: a planned one is by organisers only. */
enum day_act {
    DAY_ACT_JOIN,     /* sites join and leave */
    DAY_ACT_MEASURE,  /* runs come in and are corrected, the sky is reported */
    DAY_ACT_WITHDRAW, /* a school takes a run back */
    DAY_ACT_MOVE,     /* to one of its spare dates */
    DAY_ACT_PUBLISH   /* what came in is frozen in an edition */
};
#define DAY_ACTS 5

/* "planned", "announced", "closed", "cancelled". */
const char *day_state_name(enum day_state state);
bool day_state_parse(const char *name, enum day_state *out);

/* One sentence. */
const char *day_state_meaning(enum day_state state);

bool day_state_allows(enum day_state state, enum day_act act);

/* What an act is, as in "to join or leave". */
const char *day_act_words(enum day_act act);

/* Whether a day may go from one state to another, and then whether a reason has to
 * be given. */
bool day_state_leads(enum day_state from, enum day_state to, bool *needs_reason);

/* The whole table in Markdown: a header, a rule, a line a state. */
void day_state_table(struct text *out);

#endif
