/* SPDX-License-Identifier: MIT */
/* day_state: the table, and the few questions it answers. */
#include "server/wire/day_state.h"

#include <stddef.h>
#include <string.h>

#define BIT(n) (1u << (n))

struct state_row {
    const char *name, *meaning;
    unsigned allows;       /* bits of enum day_act */
    unsigned leads;        /* bits of enum day_state */
    unsigned needs_reason; /* those of them that want to be explained */
};

static const struct state_row rows[DAY_STATES] = {
    [DAY_PLANNED] = {"planned", "only organisers see it", BIT(DAY_ACT_MOVE),
                     BIT(DAY_ANNOUNCED) | BIT(DAY_CANCELLED), BIT(DAY_CANCELLED)},
    [DAY_ANNOUNCED] = {"announced", "everyone sees it, schools join and measure",
                       BIT(DAY_ACT_JOIN) | BIT(DAY_ACT_MEASURE) | BIT(DAY_ACT_WITHDRAW) |
                           BIT(DAY_ACT_MOVE) | BIT(DAY_ACT_PUBLISH),
                       BIT(DAY_CLOSED) | BIT(DAY_CANCELLED), BIT(DAY_CANCELLED)},
    [DAY_CLOSED] = {"closed", "over: what came in stands",
                    BIT(DAY_ACT_WITHDRAW) | BIT(DAY_ACT_PUBLISH), BIT(DAY_ANNOUNCED),
                    BIT(DAY_ANNOUNCED)},
    [DAY_CANCELLED] = {"cancelled", "called off: what came in is kept", BIT(DAY_ACT_WITHDRAW),
                       BIT(DAY_ANNOUNCED), BIT(DAY_ANNOUNCED)},
};

static const char *const act_words[DAY_ACTS] = {
    [DAY_ACT_JOIN] = "to join or leave",
    [DAY_ACT_MEASURE] = "to hand in or correct readings",
    [DAY_ACT_WITHDRAW] = "to withdraw a run",
    [DAY_ACT_MOVE] = "to move the day to a spare date",
    [DAY_ACT_PUBLISH] = "to publish an edition",
};

const char *day_state_name(enum day_state state) {
    return rows[state].name;
}

bool day_state_parse(const char *name, enum day_state *out) {
    for (size_t i = 0; i < DAY_STATES; i++)
        if (strcmp(name, rows[i].name) == 0) {
            *out = (enum day_state)i;
            return true;
        }
    return false;
}

const char *day_state_meaning(enum day_state state) {
    return rows[state].meaning;
}

bool day_state_allows(enum day_state state, enum day_act act) {
    return (rows[state].allows & BIT(act)) != 0;
}

const char *day_act_words(enum day_act act) {
    return act_words[act];
}

bool day_state_leads(enum day_state from, enum day_state to, bool *needs_reason) {
    *needs_reason = (rows[from].needs_reason & BIT(to)) != 0;
    return (rows[from].leads & BIT(to)) != 0;
}

void day_state_table(struct text *out) {
    text_put(out, "| state | meaning |");
    for (size_t act = 0; act < DAY_ACTS; act++)
        text_format(out, " %s |", act_words[act]);
    text_put(out, " may become |\n|---|---|");
    for (size_t act = 0; act < DAY_ACTS; act++)
        text_put(out, "---|");
    text_put(out, "---|\n");
    for (size_t state = 0; state < DAY_STATES; state++) {
        text_format(out, "| %s | %s |", rows[state].name, rows[state].meaning);
        for (size_t act = 0; act < DAY_ACTS; act++)
            text_put(out, (rows[state].allows & BIT(act)) != 0 ? " yes |" : " no |");
        const char *before = " ";
        for (size_t to = 0; to < DAY_STATES; to++) {
            if ((rows[state].leads & BIT(to)) == 0)
                continue;
            text_format(out, "%s%s%s", before, rows[to].name,
                        (rows[state].needs_reason & BIT(to)) != 0 ? " (with a reason)" : "");
            before = ", ";
        }
        text_put(out, " |\n");
    }
}
