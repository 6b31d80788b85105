/* SPDX-License-Identifier: MIT */
/* noon_study: the four estimators, the honesty of sigma and the naming of slips
 * in a seeded Monte Carlo. Prints three tables; usage: noon-study [SEED [RUNS]]. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "server/science/reduce.h"
#include "tests/support/simulate.h"

static const struct session usual = {
    .readings = 15, .start_s = -2700.0, .step_s = 5400.0 / 14.0, .cloud = CLOUD_NONE};

/* One simulated class somewhere in a band of latitude. */
struct scene {
    struct place place;
    struct sun_day day;
    struct noon noon;
    struct run run;
};

static void draw_scene(struct chance *chance, double lat_low_deg, double lat_high_deg,
                       const struct errors *errors, const struct session *session,
                       struct scene *out) {
    do {
        out->place = (struct place){
            .lat_deg = lat_low_deg + (lat_high_deg - lat_low_deg) * chance_even(chance),
            .lon_deg = -180.0 + 360.0 * chance_even(chance),
            .elevation_m = 800.0 * chance_even(chance),
        };
        sun_day_build(20454 + (int)(365.0 * 4.0 * chance_even(chance)), &out->day);
        struct refraction air = refraction_at(out->place.elevation_m, NAN, NAN);
        noon_predict(&out->place, &out->day, &air, &out->noon);
    } while (out->noon.status != NOON_MEASURABLE || fabs(out->noon.noon_angle_deg) > 72.0 ||
             fabs(out->noon.noon_angle_deg) < 2.0);
    do {
        out->run = simulate_run_of(0.6 + 1.6 * chance_even(chance), EDGE_UMBRA);
        out->run.gnomon.edge = (enum edge)(int)(3.0 * chance_even(chance));
        double height_m = out->run.gnomon.part[0].value_m;
        out->run.gnomon.parts = 2;
        out->run.gnomon.part[0].value_m = round(820.0 * height_m) / 1000.0;
        out->run.gnomon.part[1] = (struct length){round(180.0 * height_m) / 1000.0, NAN};
        simulate_readings(chance, &out->place, &out->day, errors, session, &out->run);
    } while (out->run.readings < REDUCE_READINGS_MIN);
}

struct tally {
    int runs, within1, within2, left_out, flagged, failed;
    double sigma;
    double pull;
    int usable[ESTIMATOR_COUNT];
    double error[ESTIMATOR_COUNT], square[ESTIMATOR_COUNT];
};

static void count(const struct reduction *reduction, struct tally *tally) {
    if (reduction->status != REDUCE_OK) {
        tally->failed++;
        return;
    }
    double truth_deg = reduction->noon.noon_angle_deg;
    double pull = (reduction->noon_angle_deg - truth_deg) / reduction->sigma_deg;
    tally->runs++;
    tally->within1 += fabs(pull) < 1.0;
    tally->within2 += fabs(pull) < 2.0;
    tally->pull += pull;
    tally->sigma += reduction->sigma_deg;
    tally->left_out += reduction->left_outs > 0;
    tally->flagged += reduction->run_slip != SLIP_NONE;
    for (int e = 0; e < ESTIMATOR_COUNT; e++) {
        if (!reduction->estimate[e].usable)
            continue;
        double error_deg = reduction->estimate[e].noon_angle_deg - truth_deg;
        tally->usable[e]++;
        tally->error[e] += error_deg;
        tally->square[e] += error_deg * error_deg;
    }
}

static void add(struct tally *sum, const struct tally *part) {
    sum->runs += part->runs;
    sum->within1 += part->within1;
    sum->within2 += part->within2;
    sum->pull += part->pull;
    sum->sigma += part->sigma;
    sum->left_out += part->left_out;
    sum->flagged += part->flagged;
    sum->failed += part->failed;
}

static void print_honesty(const struct tally *tally) {
    printf("  %6.4f  %5.1f %5.1f  %+6.3f  %5.2f %5.2f %4d\n", tally->sigma / tally->runs,
           100.0 * tally->within1 / tally->runs, 100.0 * tally->within2 / tally->runs,
           tally->pull / tally->runs, 100.0 * tally->left_out / tally->runs,
           100.0 * tally->flagged / tally->runs, tally->failed);
}

static void study_honesty(struct chance *chance, int runs) {
    static const struct {
        const char *name;
        double low_deg, high_deg;
    } bands[] = {{"tropics", -23.0, 23.0}, {"middle", 30.0, 55.0}, {"far", 55.0, 70.0}};
    static const double clocks_s[] = {2.0, 15.0, 40.0};
    static const double rounds_s[] = {0.0, 60.0};
    struct tally all = {0};
    printf(
        "Errors (degrees): bias and spread of each estimator; published sigma; shares (%%) of\n"
        "truths within 1 and 2 sigma; mean pull; runs (%%) with a reading left out, or flagged;\n"
        "runs not reduced.\n");
    printf("%-12s %-7s %5s %5s |", "cloud", "lat", "clock", "round");
    for (int e = 0; e < ESTIMATOR_COUNT; e++)
        printf(" %8s bias/rms", estimator_name((enum estimator)e));
    printf(" |   sigma   1s    2s    pull   left  flag fail\n");
    for (int cloud = 0; cloud < CLOUD_COUNT; cloud++)
        for (size_t band = 0; band < sizeof bands / sizeof bands[0]; band++)
            for (size_t clock = 0; clock < sizeof clocks_s / sizeof clocks_s[0]; clock++)
                for (size_t rounding = 0; rounding < 2; rounding++) {
                    struct errors errors = simulate_careful;
                    errors.clock_s = clocks_s[clock];
                    errors.round_s = rounds_s[rounding];
                    struct session session = usual;
                    session.cloud = (enum cloud)cloud;
                    struct tally tally = {0};
                    for (int i = 0; i < runs; i++) {
                        struct scene scene;
                        struct reduction reduction;
                        draw_scene(chance, bands[band].low_deg, bands[band].high_deg, &errors,
                                   &session, &scene);
                        if (errors.clock_s > 15.0)
                            scene.run.clock_sigma_s = errors.clock_s; /* a class that knows */
                        reduce_run(&scene.place, &scene.run, &scene.day, &reduction);
                        count(&reduction, &tally);
                    }
                    printf("%-12s %-7s %5.0f %5.0f |", cloud_name((enum cloud)cloud),
                           bands[band].name, errors.clock_s, errors.round_s);
                    for (int e = 0; e < ESTIMATOR_COUNT; e++)
                        printf("  %+7.4f / %6.4f", tally.error[e] / tally.usable[e],
                               sqrt(tally.square[e] / tally.usable[e]));
                    printf(" |");
                    print_honesty(&tally);
                    add(&all, &tally);
                }
    printf("the whole mix, %d runs:", all.runs);
    print_honesty(&all);
}

/* A slip put into a run on purpose. Returns false where this run cannot show it
 * by five of its own sigmas. */
struct planted {
    const char *name;
    enum slip expected;
    bool whole_run;
    bool (*plant)(struct chance *chance, const struct scene *scene, struct run *run, int *reading);
};

/* Expected sigma (m) of one mark, as the study's classes make it. */
static double mark_sigma_m(const struct scene *scene) {
    double height_m = gnomon_height(&scene->run.gnomon).value_m;
    double fuzzy_m = gnomon_fuzzy_width_m(height_m, scene->noon.refracted_zenith_distance_deg,
                                          scene->noon.sun.semidiameter_deg);
    return hypot(simulate_careful.mark_m, simulate_careful.fuzzy_share * fuzzy_m);
}

static bool change(const struct scene *scene, struct run *run, int reading, double shadow_m) {
    double before_m = run->reading[reading].shadow_m;
    run->reading[reading].shadow_m = shadow_m;
    return shadow_m > 0.0 && fabs(shadow_m - before_m) > 5.0 * mark_sigma_m(scene);
}

static int pick(struct chance *chance, int count) {
    return (int)(count * chance_even(chance));
}

static bool plant_nothing(struct chance *chance, const struct scene *scene, struct run *run,
                          int *reading) {
    (void)chance, (void)scene, (void)run;
    *reading = -1;
    return true;
}

static bool plant_digit(struct chance *chance, const struct scene *scene, struct run *run,
                        int *reading) {
    *reading = pick(chance, run->readings);
    long mm = lround(1000.0 * run->reading[*reading].shadow_m);
    long power = pick(chance, 2) == 0 ? 10 : 100;
    long digit = mm / power % 10, wrong = pick(chance, 10);
    return mm >= power && change(scene, run, *reading, (mm + (wrong - digit) * power) / 1000.0);
}

static bool plant_swapped_digits(struct chance *chance, const struct scene *scene, struct run *run,
                                 int *reading) {
    *reading = pick(chance, run->readings);
    long mm = lround(1000.0 * run->reading[*reading].shadow_m);
    long power = pick(chance, 2) == 0 ? 1 : 10;
    long low = mm / power % 10, high = mm / power / 10 % 10;
    mm += (low - high) * power * 10 + (high - low) * power;
    return change(scene, run, *reading, mm / 1000.0);
}

static bool plant_tenfold(struct chance *chance, const struct scene *scene, struct run *run,
                          int *reading) {
    *reading = pick(chance, run->readings);
    double shadow_m = run->reading[*reading].shadow_m;
    return change(scene, run, *reading, pick(chance, 2) == 0 ? shadow_m / 10.0 : shadow_m * 10.0);
}

static bool plant_hour(struct chance *chance, const struct scene *scene, struct run *run,
                       int *reading) {
    *reading = pick(chance, run->readings);
    double before_m = run->reading[*reading].shadow_m;
    double shift_s = pick(chance, 2) == 0 ? 3600.0 : -3600.0;
    run->reading[*reading].t_utc_s += shift_s;
    /* What the shadow should have been at the wrong time. */
    double from_noon_s = run->reading[*reading].t_utc_s - scene->noon.transit_utc_s;
    struct run there = *run;
    struct chance none = chance_seeded(1);
    struct session once = {.readings = 1, .start_s = from_noon_s};
    simulate_readings(&none, &scene->place, &scene->day, &(struct errors){0}, &once, &there);
    return fabs(there.reading[0].shadow_m - before_m) > 5.0 * mark_sigma_m(scene);
}

static bool plant_exchange(struct chance *chance, const struct scene *scene, struct run *run,
                           int *reading) {
    *reading = pick(chance, run->readings - 1);
    double one_m = run->reading[*reading].shadow_m;
    double two_m = run->reading[*reading + 1].shadow_m;
    run->reading[*reading].shadow_m = two_m;
    run->reading[*reading + 1].shadow_m = one_m;
    return fabs(one_m - two_m) > 5.0 * mark_sigma_m(scene);
}

static bool plant_run_tenfold(struct chance *chance, const struct scene *scene, struct run *run,
                              int *reading) {
    (void)chance, (void)scene;
    *reading = -1;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m /= 10.0;
    return fabs(scene->noon.noon_angle_deg) > 4.0;
}

static bool plant_lengths(struct chance *chance, const struct scene *scene, struct run *run,
                          int *reading) {
    (void)chance;
    *reading = -1;
    double height_m = gnomon_height(&run->gnomon).value_m;
    run->gnomon.parts = 1;
    run->gnomon.part[0] = run->gnomon.part[0];
    run->gnomon.part[0].value_m = run->reading[run->readings / 2].shadow_m;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].shadow_m = height_m;
    double off_deg = fabs(fabs(scene->noon.noon_angle_deg) - 45.0);
    return off_deg > 3.0 && run->gnomon.part[0].value_m > GNOMON_HEIGHT_MIN_M;
}

static bool plant_summer_time(struct chance *chance, const struct scene *scene, struct run *run,
                              int *reading) {
    (void)scene;
    *reading = -1;
    double shift_s = pick(chance, 2) == 0 ? 3600.0 : -3600.0;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].t_utc_s += shift_s;
    return true;
}

static bool plant_half_day(struct chance *chance, const struct scene *scene, struct run *run,
                           int *reading) {
    (void)scene;
    *reading = -1;
    double shift_s = pick(chance, 2) == 0 ? 43200.0 : -43200.0;
    for (int i = 0; i < run->readings; i++)
        run->reading[i].t_utc_s += shift_s;
    return true;
}

static bool plant_part_missing(struct chance *chance, const struct scene *scene, struct run *run,
                               int *reading) {
    (void)chance;
    *reading = -1;
    run->gnomon.parts = 1;
    return fabs(scene->noon.noon_angle_deg) > 10.0;
}

static bool plant_part_twice(struct chance *chance, const struct scene *scene, struct run *run,
                             int *reading) {
    (void)chance;
    *reading = -1;
    run->gnomon.parts = 3;
    run->gnomon.part[2] = run->gnomon.part[1];
    return fabs(scene->noon.noon_angle_deg) > 10.0;
}

/* From some reading in the middle on the gnomon leans by three degrees. */
static bool plant_bump(struct chance *chance, const struct scene *scene, struct run *run,
                       int *reading) {
    *reading = -1;
    int from = run->readings / 3 + pick(chance, run->readings / 3);
    double lean = (pick(chance, 2) == 0 ? 1.0 : -1.0) * (0.01 + 0.03 * chance_even(chance));
    double height_m = gnomon_height(&run->gnomon).value_m;
    for (int i = from; i < run->readings; i++)
        run->reading[i].shadow_m =
            fmax(0.001, round(1000.0 * (run->reading[i].shadow_m + lean * height_m)) / 1000.0);
    return fabs(lean * height_m) > 5.0 * mark_sigma_m(scene) &&
           run->reading[0].shadow_m > 2.0 * fabs(lean * height_m);
}

static const struct planted plants[] = {
    {"nothing", SLIP_NONE, true, plant_nothing},
    {"one digit", SLIP_DIGIT, false, plant_digit},
    {"digits swapped", SLIP_DIGITS_SWAPPED, false, plant_swapped_digits},
    {"one cm for mm", SLIP_TENFOLD, false, plant_tenfold},
    {"one time off by an hour", SLIP_TIME, false, plant_hour},
    {"two marks exchanged", SLIP_EXCHANGED, false, plant_exchange},
    {"all cm for mm", SLIP_RUN_TENFOLD, true, plant_run_tenfold},
    {"gnomon for shadow", SLIP_LENGTHS_SWAPPED, true, plant_lengths},
    {"summer time", SLIP_CLOCK_HOUR, true, plant_summer_time},
    {"morning for afternoon", SLIP_HALF_DAY, true, plant_half_day},
    {"height part forgotten", SLIP_PART_MISSING, true, plant_part_missing},
    {"height part twice", SLIP_PART_TWICE, true, plant_part_twice},
    {"gnomon bumped", SLIP_BUMPED, true, plant_bump},
};

/* The first cause told, and whether the right one is among those told. */
static enum slip slip_told(const struct reduction *reduction, int reading, enum slip right,
                           bool *among) {
    *among = reading < 0 && reduction->run_slip == right;
    if (reading < 0)
        return reduction->run_slip;
    for (int i = 0; i < reduction->left_outs; i++) {
        const struct left_out *left_out = &reduction->left_out[i];
        if (left_out->reading != reading)
            continue;
        *among = left_out->slip == right;
        for (int k = 0; k < SLIP_CAUSES - 1; k++)
            *among |= left_out->also[k] == right;
        return left_out->slip;
    }
    return SLIP_NONE;
}

static void study_slips(struct chance *chance, int runs) {
    printf("\nSlips of more than five sigma planted one a run: share (%%) noticed, named among\n"
           "the causes told, named first, and what was told first else; a third of the latitudes "
           "each, no clouds.\n");
    for (size_t k = 0; k < sizeof plants / sizeof plants[0]; k++) {
        int made = 0, noticed = 0, first = 0, named = 0, other[SLIP_IMPLAUSIBLE + 1] = {0};
        for (int tries = 0; made < runs && tries < 60 * runs; tries++) {
            struct scene scene;
            struct reduction reduction;
            int reading;
            draw_scene(chance, -60.0, 60.0, &simulate_careful, &usual, &scene);
            struct run run = scene.run;
            if (!plants[k].plant(chance, &scene, &run, &reading))
                continue;
            made++;
            reduce_run(&scene.place, &run, &scene.day, &reduction);
            bool among;
            enum slip told = slip_told(&reduction, reading, plants[k].expected, &among);
            noticed += reduction.left_outs > 0 || reduction.run_slip != SLIP_NONE;
            first += told == plants[k].expected;
            named += among;
            if (told != plants[k].expected)
                other[told]++;
        }
        printf("%-24s %6d runs  noticed %6.2f  named %6.2f  first %6.2f ", plants[k].name, made,
               100.0 * noticed / made, 100.0 * named / made, 100.0 * first / made);
        for (int slip = 0; slip <= SLIP_IMPLAUSIBLE; slip++)
            if (other[slip] > 0)
                printf(" %s:%d", slip_name((enum slip)slip), other[slip]);
        printf("\n");
    }
}

int main(int argc, char **argv) {
    unsigned long seed = argc > 1 ? strtoul(argv[1], NULL, 10) : 1;
    int runs = argc > 2 ? (int)strtol(argv[2], NULL, 10) : 1000;
    struct chance chance = chance_seeded(seed);
    printf("noon study, seed %lu, %d runs a row, method %s\n\n", seed, runs, REDUCE_METHOD);
    study_honesty(&chance, runs);
    study_slips(&chance, runs);
    return 0;
}
