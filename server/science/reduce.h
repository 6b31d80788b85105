/* SPDX-License-Identifier: MIT */
/* reduce: one run -> one noon angle with an honest uncertainty.
 *
 * Model: cos z = sin(lat) sin(dec) + cos(lat) cos(dec) cos(H), with z freed from
 * edge, refraction and parallax. Four estimators answer the same question:
 *   shortest  the smallest shadow of the run: the simplest practice
 *   free      cos z = A + B cos H + C sin H: needs a steady clock, not a true one
 *   timed     C = 0, hour angle from the predicted transit: needs a true clock
 *   solar     hour angle and declination both known, so that every reading alone
 *             gives a noon angle: the strongest when noon itself is lost to cloud.
 *             The clock's offset is fitted along with the angle under a prior of
 *             the clock's own uncertainty. Uses nothing about the Earth's size.
 * Published: solar, always. Where the run itself shows that its clock is wrong by
 * more than the stated uncertainty allows, the prior is dropped and the offset
 * taken from the run alone; the flag says so. A clock that was measured enters by the
 * rule of its day (run_clock.h). The others are shown beside it.
 *
 * Scatter: each mark is expected to be good to 1.5 mm and a tenth of the fuzzy
 * zone; the run's own scatter corrects that expectation, which counts as two
 * readings. Readings beyond 4.2 sigma of the robust fit are left out, a quarter
 * of them at most, each with the causes that would explain it.
 * Coverage in the seeded study (make study): 68 % and 95 % within one and two
 * sigma over cloud patterns, latitudes, clock errors and rounded minutes.
 * Times in whole minutes are taken as rounded to the nearest.
 * A position that is let out only rounded counts with its rounding: its latitude in
 * sigma, its longitude as a clock that is so much in doubt. */
#ifndef NOONARC_REDUCE_H
#define NOONARC_REDUCE_H

#include <stdbool.h>

#include "server/science/noon.h"
#include "server/science/run.h"

/* Version of the method: changes whenever a published figure could change. */
#define REDUCE_METHOD "noon-3"

#define REDUCE_READINGS_MIN 3

enum estimator { ESTIMATOR_SHORTEST, ESTIMATOR_FREE, ESTIMATOR_TIMED, ESTIMATOR_SOLAR };
#define ESTIMATOR_COUNT 4
const char *estimator_name(enum estimator estimator);

/* What a left-out reading, or a whole run, looks like. */
enum slip {
    SLIP_NONE,
    SLIP_OUTLIER,          /* off the curve, no simple cause found */
    SLIP_DIGIT,            /* one digit of the shadow differs */
    SLIP_DIGITS_SWAPPED,   /* two neighbouring digits of the shadow exchanged */
    SLIP_TENFOLD,          /* a shadow ten times too long or short: cm and mm mixed */
    SLIP_TIME,             /* the reading's time off by an hour or by some ten minutes */
    SLIP_EXCHANGED,        /* two readings' shadows exchanged: pins in the wrong order */
    SLIP_DUPLICATE,        /* the very time and length of an earlier reading */
    SLIP_TOO_LOW,          /* beyond 80 degrees of zenith distance: refraction unknown */
    SLIP_CLOCK,            /* run: the clock is off */
    SLIP_CLOCK_HOUR,       /* run: every time off by whole or half hours, as summer time does */
    SLIP_HALF_DAY,         /* run: morning for afternoon */
    SLIP_RUN_TENFOLD,      /* run: gnomon and shadows in different units */
    SLIP_LENGTHS_SWAPPED,  /* run: gnomon and shadow exchanged */
    SLIP_POSITION_SWAPPED, /* run: fits when latitude and longitude are exchanged */
    SLIP_PART_MISSING,     /* run: as if one part of the height had been left out */
    SLIP_PART_TWICE,       /* run: as if one part of the height had been added twice */
    SLIP_BUMPED,           /* run: a step in the middle: the gnomon moved */
    SLIP_SCATTERED,        /* run: the readings do not follow one curve */
    SLIP_IMPLAUSIBLE       /* run: no simple cause makes these shadows fit this place and day */
};
#define SLIP_CAUSES 3                  /* named for one reading at most */
const char *slip_name(enum slip slip); /* stable, snake_case */
bool slip_parse(const char *name, enum slip *out);
const char *slip_text(enum slip slip); /* what the class should check, in its words */

enum reduce_status {
    REDUCE_OK,
    REDUCE_TOO_FEW,       /* fewer than REDUCE_READINGS_MIN usable readings */
    REDUCE_NOON_UNUSABLE, /* see noon.status */
    REDUCE_WRONG_TIME,    /* readings not within 6 h of the noon given */
    REDUCE_IMPLAUSIBLE    /* see run_slip */
};
const char *reduce_status_name(enum reduce_status status);

struct estimate {
    bool usable;
    double noon_angle_deg; /* signed: positive when the Sun crosses south of the zenith */
    double sigma_deg;      /* random part and clock only; the budget below adds the rest */
    double transit_utc_s;  /* noon by the run's own clock; NAN for timed */
    double transit_sigma_s;
};

/* Parts of the published sigma, degrees. */
struct error_budget {
    double random_deg;
    double clock_deg;
    double height_deg;
    double tilt_deg;
    double edge_deg;
    double air_deg;
    double position_deg; /* place.sigma_deg: the angle belongs to a latitude known so well */
};

struct left_out {
    int reading;                     /* index into run.reading */
    enum slip slip;                  /* the likeliest cause */
    enum slip also[SLIP_CAUSES - 1]; /* others that would explain it, or SLIP_NONE */
    double residual_deg;             /* measured minus curve */
    double residual_sigma;           /* the same over the reading's own sigma */
    double instead_m;                /* what the shadow would have been on the curve */
};

struct reduction {
    enum reduce_status status;
    struct noon noon; /* as predicted, for comparison; transit in it is the Sun's own */
    enum estimator published;
    double noon_angle_deg;
    double sigma_deg;
    struct error_budget budget;
    struct estimate estimate[ESTIMATOR_COUNT];
    enum slip run_slip;    /* SLIP_NONE or what the whole run looks like */
    double clock_offset_s; /* run's clock minus true, fitted; what was taken out is in it */
    double clock_offset_sigma_s;
    struct clock_check clock; /* what a measurement of the clock came to */
    double scatter_deg;       /* rms residual of one reading */
    double chi2;              /* of the readings used, against the expected scatter */
    int dof;
    int used;
    int left_outs;
    struct left_out left_out[RUN_READINGS_MAX]; /* the first left_outs of them */
    /* Per reading of a run whose status is REDUCE_OK: measured minus curve; NAN when too low. */
    double residual_deg[RUN_READINGS_MAX];
};

/* Reduces a run at a place against the Sun of the date the run belongs to.
 * Never fails: status says what could be done. */
void reduce_run(const struct place *place, const struct run *run, const struct sun_day *day,
                struct reduction *out);

#endif
