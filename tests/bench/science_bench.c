/* SPDX-License-Identifier: MIT */
/* science_bench: what the computation costs. Medians of interleaved rounds, each
 * beside a bare baseline measured in the same run, so that the ratios mean
 * something on any machine. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "server/science/combine.h"
#include "server/science/meridian.h"
#include "server/science/normal.h"
#include "server/science/reduce.h"
#include "tests/support/simulate.h"

#define ROUNDS 5

static double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

/* Keeps the compiler from dropping what is measured. */
static volatile double sink;

struct scene {
    struct place place;
    struct sun_day day;
    struct run run;
    struct combine_point *points;
    double *scratch, *sorted;
    size_t count;
};

static void build_day(struct scene *scene) {
    sun_day_build(scene->day.day_number, &scene->day);
}

static void exact_sun(struct scene *scene) {
    struct sun_place place;
    sun_exact(scene->day.centre_utc_s, &place);
    sink = place.declination_deg;
}

static void predict(struct scene *scene) {
    struct refraction air = {0.0159, -1.8e-5};
    double sum = 0.0;
    for (int i = 0; i < 100000; i++) {
        struct place place = {-60.0 + 0.0012 * i, -180.0 + 0.0036 * i, 100.0};
        struct noon noon;
        noon_predict(&place, &scene->day, &air, &noon);
        sum += noon.transit_utc_s;
    }
    sink = sum;
}

static void predict_bare(struct scene *scene) {
    double sum = 0.0; /* four libm calls a site */
    for (int i = 0; i < 100000; i++) {
        double lat = (-60.0 + 0.0012 * i) * 0.0174532925;
        sum += tan(lat) + sin(lat) + atan(lat) + cos(lat + scene->day.centre_utc_s);
    }
    sink = sum;
}

static void reduce(struct scene *scene) {
    struct reduction reduction;
    for (int i = 0; i < 1000; i++) {
        reduce_run(&scene->place, &scene->run, &scene->day, &reduction);
        sink = reduction.noon_angle_deg;
    }
}

static void reduce_bare(struct scene *scene) {
    for (int i = 0; i < 1000; i++) { /* a parabola through the readings */
        struct normal normal;
        double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
        normal_init(&normal, 3);
        for (int k = 0; k < scene->run.readings; k++) {
            double t = (scene->run.reading[k].t_utc_s - scene->run.reading[0].t_utc_s) / 5400.0;
            normal_add(&normal, (double[]){1.0, t, t * t}, scene->run.reading[k].shadow_m, 0.002);
        }
        normal_solve(&normal, x, covariance);
        sink = x[0];
    }
}

static void combine(struct scene *scene) {
    struct combined combined;
    combine_fit(scene->points, scene->count, NULL, scene->scratch, &combined);
    sink = combined.circumference_km;
}

static void sort_bare(struct scene *scene) {
    struct chance chance = chance_seeded(1);
    for (size_t i = 0; i < scene->count; i++)
        scene->sorted[i] = chance_even(&chance);
    qsort(scene->sorted, scene->count, sizeof(double), ascending);
    sink = scene->sorted[0];
}

static void fill(struct scene *scene, size_t count) {
    struct chance chance = chance_seeded(2);
    scene->count = count;
    for (size_t i = 0; i < count; i++) {
        double lat_deg = 36.0 + 12.0 * chance_even(&chance);
        scene->points[i] = (struct combine_point){
            .key = (int64_t)i,
            .group = (int32_t)(3.0 * chance_even(&chance)),
            .lat_deg = lat_deg,
            .meridian_km = meridian_distance_m(lat_deg) / 1000.0,
            .noon_angle_deg = lat_deg - 10.0 + 0.05 * chance_normal(&chance),
            .sigma_deg = 0.05,
        };
    }
}

static double once(void (*work)(struct scene *), struct scene *scene) {
    double start_s = clock_s();
    work(scene);
    return clock_s() - start_s;
}

static void report(const char *name, void (*work)(struct scene *), double units,
                   const char *bare_name, void (*bare)(struct scene *), double bare_units,
                   struct scene *scene) {
    double took[ROUNDS], bare_took[ROUNDS];
    for (int i = 0; i < ROUNDS; i++) {
        bare_took[i] = once(bare, scene) / bare_units;
        took[i] = once(work, scene) / units;
    }
    qsort(took, ROUNDS, sizeof took[0], ascending);
    qsort(bare_took, ROUNDS, sizeof bare_took[0], ascending);
    printf("%-34s %12.3f us   %-28s %12.3f us   ratio %8.2f\n", name, 1e6 * took[ROUNDS / 2],
           bare_name, 1e6 * bare_took[ROUNDS / 2], took[ROUNDS / 2] / bare_took[ROUNDS / 2]);
}

/* A clear day's run of as many readings, about noon. */
static void measure(struct scene *scene, int readings) {
    struct chance chance = chance_seeded(1);
    const struct errors errors = {.mark_m = 0.0015, .fuzzy_share = 0.1};
    const struct session session = {
        .readings = readings, .start_s = -2400.0, .step_s = 4800.0 / (readings - 1)};
    simulate_readings(&chance, &scene->place, &scene->day, &errors, &session, &scene->run);
}

static void report_run(const char *name, struct scene *scene) {
    report(name, reduce, 1e3, "parabola through them", reduce_bare, 1e3, scene);
}

int main(void) {
    const size_t most = 1000000;
    struct scene scene = {
        .place = {44.5, 3.2, 100.0},
        .run = simulate_run_of(1.2, EDGE_UMBRA),
        .points = calloc(most, sizeof(struct combine_point)),
        .scratch = calloc(most * COMBINE_SCRATCH, sizeof(double)),
        .sorted = calloc(most, sizeof(double)),
    };
    if (scene.points == NULL || scene.scratch == NULL || scene.sorted == NULL)
        return EXIT_FAILURE;
    sun_day_build(20899, &scene.day);

    printf("median of %d rounds, one unit of work each\n", ROUNDS);
    report("Sun of a date", build_day, 1, "one exact position", exact_sun, 1, &scene);
    report("a site's noon", predict, 1e5, "four libm calls", predict_bare, 1e5, &scene);
    measure(&scene, 12);
    report_run("a run of 12 readings", &scene);
    scene.run.reading[4].shadow_m += 0.1;
    report_run("the same, a digit wrong", &scene);
    measure(&scene, 40);
    report_run("a run of 40 readings", &scene);
    for (size_t count = 1000; count <= most; count *= 10) {
        char name[64];
        snprintf(name, sizeof name, "combination of %zu sites", count);
        fill(&scene, count);
        report(name, combine, 1, "qsort of as many doubles", sort_bare, 1, &scene);
    }
    free(scene.points);
    free(scene.scratch);
    free(scene.sorted);
    return EXIT_SUCCESS;
}
