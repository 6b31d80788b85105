/* SPDX-License-Identifier: MIT */
/* scene: what the intake bench sends: invented sites on land, runs of 12 readings
 * from the true Sun with seeded errors. Site number i is the same in every call.
 *
 *   scene sites FIRST COUNT                 a spreadsheet of sites
 *   scene readings FIRST COUNT              a spreadsheet of their readings
 *   scene joins FIRST COUNT DAY KEY         requests, back to back: take part
 *   scene runs FIRST COUNT DAY KEYS         requests, back to back: a run a site;
 *                                           KEYS: the answer to the sites' import
 *   scene get PATH COUNT [HEADER]           the same request again and again      */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "tests/support/simulate.h"

#define DATE "2027-03-18"
#define GNOMON_MM 1000
#define READINGS 12

/* On land, and away from where the Sun stands overhead in March. */
static const struct box {
    double south_deg, north_deg, west_deg, east_deg;
} boxes[] = {
    {-38.0, -12.0, -69.0, -57.0}, /* South America */
    {-30.0, -14.0, 15.0, 33.0},   /* southern Africa */
    {12.0, 30.0, 0.0, 30.0},      /* the Sahara and the Sahel */
    {33.0, 48.0, -118.0, -85.0},  /* North America */
    {30.0, 60.0, 62.0, 118.0},    /* Asia */
    {-32.0, -18.0, 118.0, 145.0}, /* Australia */
};
#define BOXES (sizeof boxes / sizeof boxes[0])

struct scene {
    struct sun_day day;
    long first, count;
};

static void die(const char *what) {
    fprintf(stderr, "scene: %s\n", what);
    exit(EXIT_FAILURE);
}

static long whole(const char *text) {
    char *end;
    long number = strtol(text, &end, 10);
    if (*end != '\0' || number < 0)
        die("a count is a whole number");
    return number;
}

static struct place place_of(struct chance *chance) {
    const struct box *box = &boxes[(size_t)((double)BOXES * chance_even(chance))];
    double lat = box->south_deg + (box->north_deg - box->south_deg) * chance_even(chance);
    double lon = box->west_deg + (box->east_deg - box->west_deg) * chance_even(chance);
    return (struct place){lat, lon, 100.0};
}

static struct run run_of(const struct scene *scene, long site) {
    struct chance chance = chance_seeded((uint64_t)site + 1);
    struct place place = place_of(&chance);
    struct run run = simulate_run_of(GNOMON_MM / 1000.0, EDGE_UMBRA);
    const struct session session = {.readings = READINGS, .start_s = -2200.0, .step_s = 400.0};
    simulate_readings(&chance, &place, &scene->day, &simulate_careful, &session, &run);
    return run;
}

static void write_sites(const struct scene *scene) {
    puts("site,lat_deg,lon_deg,elev_m,gnomon_mm,edge");
    for (long i = scene->first; i < scene->first + scene->count; i++) {
        struct chance chance = chance_seeded((uint64_t)i + 1);
        struct place place = place_of(&chance);
        printf("s%07ld,%.6f,%.6f,%.0f,%d,umbra\n", i, place.lat_deg, place.lon_deg,
               place.elevation_m, GNOMON_MM);
    }
}

static void write_readings(const struct scene *scene) {
    puts("site,utc,shadow_mm");
    for (long i = scene->first; i < scene->first + scene->count; i++) {
        struct run run = run_of(scene, i);
        for (int k = 0; k < run.readings; k++) {
            char time[40];
            instant_format(run.reading[k].t_utc_s, 0, time, sizeof time);
            printf("s%07ld,%s,%.0f\n", i, time, 1000.0 * run.reading[k].shadow_m);
        }
    }
}

static void write_joins(const struct scene *scene, const char *day, const char *key) {
    for (long i = scene->first; i < scene->first + scene->count; i++)
        printf("PUT /api/v1/days/%s/sites/s%07ld HTTP/1.1\r\nHost: bench\r\n"
               "Authorization: Bearer %s\r\nContent-Length: 0\r\n\r\n",
               day, i, key);
}

static void write_run(const struct scene *scene, long site, const char *day, const char *code) {
    char body[4096];
    struct run run = run_of(scene, site);
    int length = snprintf(body, sizeof body,
                          "{\"gnomon\": {\"parts\": [{\"length_mm\": %d}], \"edge\": \"umbra\"},\n"
                          " \"sky\": \"clear\", \"level\": \"spirit level, both ways\",\n"
                          " \"readings\": [",
                          GNOMON_MM);
    for (int k = 0; k < run.readings; k++) {
        char time[40];
        instant_format(run.reading[k].t_utc_s, 0, time, sizeof time);
        length += snprintf(body + length, sizeof body - (size_t)length,
                           "%s\n  {\"time\": \"%s\", \"shadow_mm\": %.0f}", k == 0 ? "" : ",", time,
                           1000.0 * run.reading[k].shadow_m);
    }
    length += snprintf(body + length, sizeof body - (size_t)length, "\n ]}\n");
    printf("POST /api/v1/days/%s/sites/s%07ld/runs HTTP/1.1\r\nHost: bench\r\n"
           "Authorization: Bearer %s\r\nIdempotency-Key: bench-%07ld\r\n"
           "Content-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
           day, site, code, site, length, body);
}

static void write_runs(const struct scene *scene, const char *day, const char *answer) {
    json_error_t error;
    json_t *import = json_load_file(answer, 0, &error);
    json_t *keys = json_object_get(import, "keys"), *key;
    size_t i;
    long written = 0;
    json_array_foreach(keys, i, key) {
        const char *site = json_string_value(json_object_get(key, "site"));
        const char *code = json_string_value(json_object_get(key, "class_code"));
        if (!site || !code || site[0] != 's')
            die("a key without a site");
        long number = whole(site + 1);
        if (number < scene->first || number >= scene->first + scene->count)
            continue;
        write_run(scene, number, day, code);
        written++;
    }
    json_decref(import);
    if (written != scene->count)
        die("the import's answer lacks keys of these sites");
}

static void write_gets(const char *path, long count, const char *header) {
    for (long i = 0; i < count; i++)
        printf("GET %s HTTP/1.1\r\nHost: bench\r\n%s%s\r\n", path, header, header[0] ? "\r\n" : "");
}

int main(int argc, char **argv) {
    struct scene scene;
    int32_t date;
    if (argc < 4) {
        fprintf(stderr, "usage: scene sites|readings|joins|runs FIRST COUNT [DAY KEY] | get PATH "
                        "COUNT [HEADER]\n");
        return 2;
    }
    const char *what = argv[1];
    if (strcmp(what, "get") == 0) {
        write_gets(argv[2], whole(argv[3]), argc > 4 ? argv[4] : "");
        return fflush(stdout) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
    }
    if (!date_parse(DATE, &date) || !sun_day_build(date, &scene.day))
        die("no Sun");
    scene.first = whole(argv[2]);
    scene.count = whole(argv[3]);
    if (strcmp(what, "sites") == 0)
        write_sites(&scene);
    else if (strcmp(what, "readings") == 0)
        write_readings(&scene);
    else if (strcmp(what, "joins") == 0 && argc == 6)
        write_joins(&scene, argv[4], argv[5]);
    else if (strcmp(what, "runs") == 0 && argc == 6)
        write_runs(&scene, argv[4], argv[5]);
    else
        die("see the usage");
    return fflush(stdout) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
