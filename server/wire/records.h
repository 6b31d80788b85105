/* SPDX-License-Identifier: MIT */
/* records: the things that are told across a wire or kept in a store, as plain
 * values. Strings are NUL-terminated UTF-8 in fixed arrays and have been checked
 * by whoever filled the record (record_read.h, spreadsheet.h). A real number that
 * is absent is NAN, a run number that is absent 0, a text that is absent "". */
#ifndef NOONARC_RECORDS_H
#define NOONARC_RECORDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/science/combine.h"
#include "server/science/meridian.h"
#include "server/science/noon.h"
#include "server/science/pair.h"
#include "server/science/reduce.h"
#include "server/science/run.h"
#include "server/wire/day_state.h"

#define ID_MAX 40 /* identifiers of sites and days: [A-Za-z0-9][A-Za-z0-9._-]{0,39} */
#define NAME_MAX_BYTES 120
#define ZONE_MAX 63
#define CONTACT_MAX 200
#define WEATHER_MAX 200
#define NOTE_MAX 400
#define REASON_MAX 400
#define INVITATION_MAX 39 /* bytes of a code as people type it */
#define DAY_SPARES_MAX 8
#define SITE_GNOMON_MIN_MM 20.0
#define SITE_GNOMON_MAX_MM 100000.0
#define POSITION_EXACT 0     /* all decimals are let out */
#define POSITION_UNSAID (-1) /* of a request that leaves it as it is */
#define POSITION_DECIMALS_MIN 1
#define POSITION_DECIMALS_MAX 4

/* A playground with a position. */
struct site_record {
    char site[ID_MAX + 1]; /* "" in a registration that leaves the choice to the server */
    char name[NAME_MAX_BYTES + 1];
    struct place place; /* as let out: what is published, and what everything is computed from */
    struct place exact; /* as the school gave it: for itself and organisers only; see settle */
    int64_t position_decimals;           /* of place: POSITION_EXACT, POSITION_DECIMALS_MIN..MAX */
    char zone[ZONE_MAX + 1];             /* IANA name, "" when none */
    double gnomon_mm;                    /* usual gnomon, NAN when none */
    enum edge edge;                      /* usually marked */
    char contact[CONTACT_MAX + 1];       /* never public: no writer of this layer shows it,
                                            but record_write_site_request and _own */
    bool contact_unsaid;                 /* a request that leaves it as it is */
    char invitation[INVITATION_MAX + 1]; /* to a season, of a registration alone; "" none */
};

/* A shared measurement day with its spare days and rules. */
struct day_record {
    char day[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    int32_t date; /* days since 1970-01-01 */
    int spares;
    int32_t spare[DAY_SPARES_MAX]; /* ascending, none twice, none equal to date */
    double lon_tolerance_deg;      /* 0.01..15 */
    double min_separation_km;      /* 1..5000 */
    double max_sigma_km;           /* 10..20000, NAN: none */
    double clock_bound_s;          /* 0.1..86400; a clock farther off is flagged */
    bool clock_correct;            /* and the times of its run corrected */
    char season[ID_MAX + 1];       /* "" none */
    enum day_state state;
    bool blind; /* a site is told its expected angle only once it has handed in */
};

/* A programme of days. */
struct season_record {
    char season[ID_MAX + 1];
    char name[NAME_MAX_BYTES + 1];
    bool approval; /* an organiser approves who takes part in its days */
};

/* What an organiser decides about a day or a site on it; each kind of decision uses
 * its own of these and the reason. */
struct decision_record {
    enum day_state state;
    int32_t date;
    bool blind;
    bool approved;
    char reason[REASON_MAX + 1];
};

enum day_event_kind { DAY_EVENT_OPEN, DAY_EVENT_STATE, DAY_EVENT_MOVE, DAY_EVENT_BLIND };

/* "open", "state", "move", "blind". */
const char *day_event_name(enum day_event_kind kind);

/* What happened to a day. */
struct day_event_record {
    enum day_event_kind kind;
    enum day_state state; /* of DAY_EVENT_STATE */
    int32_t date;         /* of DAY_EVENT_MOVE and DAY_EVENT_OPEN */
    bool blind;           /* of DAY_EVENT_BLIND */
    char reason[REASON_MAX + 1];
    double at_utc_s;
};

/* How a site stands to a day. */
enum stand { STAND_NONE, STAND_WAITING, STAND_REFUSED, STAND_TAKEN };

/* "none", "waiting", "refused", "taking_part". */
const char *stand_name(enum stand part);
bool stand_parse(const char *name, enum stand *out);

/* All readings of one site on one day, as the class sent them. */
struct run_record {
    int64_t id;            /* given by the store, 0 before */
    char site[ID_MAX + 1]; /* these two come from the address, not from the body */
    char day[ID_MAX + 1];
    struct run run;
    char sky[WEATHER_MAX + 1];
    char level[WEATHER_MAX + 1]; /* how the ground was levelled */
    char note[NOTE_MAX + 1];
    int64_t supersedes; /* the run this one corrects, 0 none */
};

/* A row of a readings spreadsheet. */
struct reading_row {
    char site[ID_MAX + 1];
    struct reading reading;
};

/* What became of a run after it was sent. */
struct run_state {
    double submitted_utc_s;
    int64_t superseded_by;  /* 0: by none */
    double withdrawn_utc_s; /* NAN: not withdrawn */
};

struct left_out_record {
    int reading; /* index into the run's readings */
    double t_utc_s;
    double shadow_m;
    enum slip slip;                  /* the likeliest cause */
    enum slip also[SLIP_CAUSES - 1]; /* others, SLIP_NONE where fewer */
    double residual_deg;
    double residual_sigma;
    double instead_m;
};

/* What is told of a reduction: a struct reduction without its per-reading arrays. */
struct reduction_record {
    int64_t run; /* 0: worked out offline */
    char site[ID_MAX + 1];
    char day[ID_MAX + 1]; /* "" offline */
    int readings;         /* sent; 0: the site has none, and all below is absent */
    enum reduce_status status;
    enum noon_status noon_status;
    enum slip run_slip;
    double transit_utc_s; /* the Sun's own, predicted */
    double declination_deg;
    char sun_side;         /* 'S' or 'N' */
    double noon_angle_deg; /* this and all below: NAN or 0 unless REDUCE_OK */
    double sigma_deg;
    enum estimator published;
    double clock_offset_s, clock_offset_sigma_s;
    struct clock_check clock; /* as measured, by the day's rule */
    double scatter_deg;
    double chi2;
    int dof;
    int used;
    struct error_budget budget;
    struct estimate estimate[ESTIMATOR_COUNT];
    bool counts; /* of a list of a day's runs: figures are made from it */
    int left_outs;
    const struct left_out_record *left_out; /* borrowed; NULL when 0 or not wanted */
};

/* A run as a day's rules have it: what is reduced is always this. */
void run_under_day(const struct run *sent, const struct day_record *day, struct run *out);

/* Fills record from a reduction; left_out has room for reduction->left_outs rows
 * (RUN_READINGS_MAX is always enough) and stays owned by the caller, record
 * points into it. site and day are copied, day may be "". */
void reduction_record_make(const char *site, const char *day, int64_t run_id, const struct run *run,
                           const struct reduction *reduction, struct left_out_record *left_out,
                           struct reduction_record *record);

/* Why there is no noon angle, one plain sentence; NULL when there is one. */
const char *reduction_reason(const struct reduction_record *reduction);

/* What pairs and combinations need of a reduction that is REDUCE_OK. */
void noon_result_make(int64_t key, const struct place *place, enum edge edge,
                      const struct reduction *reduction, struct noon_result *result);

/* A noon that counts, among those of its day. */
struct day_noon {
    char site[ID_MAX + 1];
    double expected_deg; /* noon angle by position and date */
    int readings_left_out;
    struct noon_result noon;
};

struct pair_record {
    char site1[ID_MAX + 1]; /* site1 < site2 by strcmp */
    char site2[ID_MAX + 1];
    struct pair pair;
};

/* A site that does not belong to the line of the combination. */
struct off_line_record {
    char site[ID_MAX + 1];
    double residual_deg;
    double residual_sigma;
};

/* A site's noon as a point of the day's line. */
struct line_record {
    char site[ID_MAX + 1];
    int noon;              /* from 1; each noon has an intercept of its own */
    double meridian_km;    /* from the equator, north positive */
    double noon_angle_deg; /* moved to the declination that all of its noon share */
    double sigma_deg;
    double residual_deg; /* angle less line; NAN without a line */
    bool left_out;       /* does not belong to the line */
};

/* How much one site moves the combination: the circumference without it less the one
 * with it. */
#define INFLUENCES_MAX 5
struct influence_record {
    char site[ID_MAX + 1];
    double influence_km;
};

/* How much no figure was made from, and why. Runs count once, under the first reason
 * that holds. */
struct left_out_counts {
    int excluded;     /* runs, by an organiser who said why */
    int withdrawn;    /* runs, by their school */
    int unusable;     /* runs whose readings give no noon angle */
    int not_agreed;   /* runs, of schools that keep out of editions; 0 in what is no edition */
    int off_the_line; /* runs, by the combination: part of the pairs all the same */
    int readings;     /* of the runs that count */
};

/* A run an organiser left out. */
#define EXCLUSION_REASON_MAX 400
struct exclusion_record {
    char site[ID_MAX + 1];
    int64_t run;
    char reason[EXCLUSION_REASON_MAX + 1];
    double excluded_utc_s;
};

/* A combination with all that is told beside it. Everything is borrowed. */
struct combined_record {
    const struct combined *combined;
    const struct off_line_record *off_line;
    size_t off_lines;
    const struct influence_record *influence;
    size_t influences;
    const struct left_out_counts *counts; /* this and exclusions: NULL offline */
    const struct exclusion_record *exclusion;
    size_t exclusions;
};

/* Rows of the leaderboard. error_* are signed, against the meridional circumference. */
struct leader_pair_record {
    int place; /* from 1, ties share one */
    char site1[ID_MAX + 1], site2[ID_MAX + 1];
    double circumference_km, sigma_km;
};
struct leader_site_record {
    int place;
    char site[ID_MAX + 1];
    double circumference_km, sigma_km;
    int partners;
};
struct honesty_record {
    int place;
    char site[ID_MAX + 1];
    double sigma_deg;
    double error_deg; /* measured minus true noon angle */
    double score;
};

/* Error of a circumference against MERIDIAN_CIRCUMFERENCE_KM, signed; NAN in, NAN out. */
double record_error_percent(double circumference_km);
double record_error_sigmas(double circumference_km, double sigma_km);

/* Takes place for the exact position and rounds it as the school chose: from a
 * position as it was typed to a whole record. An elevation of a rounded position is
 * told to 100 m, so that it does not tell the hill. Rounding what is rounded changes
 * nothing. POSITION_UNSAID becomes POSITION_EXACT. */
void site_record_settle(struct site_record *site);

/* Records with nothing in them but the defaults of the contract. */
void site_record_init(struct site_record *site);
void day_record_init(struct day_record *day);
void season_record_init(struct season_record *season);
void run_record_init(struct run_record *run);

/* Metres as whole nanometres of a millimetre count, so that 178.3 mm survives the
 * way through metres and back: mm -> m is mm / 1000. */
double record_mm(double metres);

#endif
