/* SPDX-License-Identifier: MIT */
/* simulate: runs as a class would have measured them, from the true Sun and
 * seeded errors of every kind that design and reduction speak of. Synthetic
 * truth for tests, the study and the demonstration day. */
#ifndef NOONARC_SIMULATE_H
#define NOONARC_SIMULATE_H

#include <stdint.h>

#include "server/science/noon.h"
#include "server/science/run.h"

/* A small generator of its own (xorshift64*), so that a seed means the same
 * everywhere. State is never 0. */
struct chance {
    uint64_t state;
};
struct chance chance_seeded(uint64_t seed);
double chance_even(struct chance *chance);   /* in [0, 1) */
double chance_normal(struct chance *chance); /* mean 0, sigma 1 */

enum cloud {
    CLOUD_NONE,
    CLOUD_NOON,    /* a quarter of an hour either side of noon is lost */
    CLOUD_MORNING, /* all before noon is lost but the last five minutes */
    CLOUD_LATE,    /* nothing before a quarter of an hour after noon */
    CLOUD_BROKEN   /* each reading is lost with even chance */
};
#define CLOUD_COUNT 5
const char *cloud_name(enum cloud cloud);

/* Standard deviations of what can be wrong; each run draws its own. */
struct errors {
    double height_m;    /* gnomon, against what the class wrote */
    double tilt_deg;    /* plumb and level, along the meridian */
    double edge_deg;    /* habit of where the fuzzy end is */
    double clock_s;     /* offset of the clock */
    double mark_m;      /* one mark */
    double fuzzy_share; /* one mark, of the fuzzy zone's width */
    double round_s;     /* times are rounded to multiples of this; 0: whole seconds */
};

/* What a careful class with a plumb line and a spirit level achieves: a choice, the
 * same for the study, the tests and the demonstration. */
extern const struct errors simulate_careful;

struct session {
    int readings;   /* planned */
    double start_s; /* first one, seconds from true noon */
    double step_s;
    enum cloud cloud;
};

/* Fills run->reading of a run whose gnomon, edge and other fields are set. The
 * errors drawn stay the same for all readings but the marks. Shadows are whole
 * millimetres, at least one. */
void simulate_readings(struct chance *chance, const struct place *place, const struct sun_day *day,
                       const struct errors *errors, const struct session *session, struct run *run);

/* A run with no uncertainties stated and a gnomon of one part. */
struct run simulate_run_of(double height_m, enum edge edge);

#endif
