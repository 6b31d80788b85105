/* SPDX-License-Identifier: MIT */
/* demo_day: writes the sheets of an invented programme's measurement day, as the
 * classes would have written them: positions on real land, invented schools, the
 * true Sun, seeded errors, some clouds, two slips. Used by deploy/demo alone.
 *
 *   demo-day DIRECTORY   writes DIRECTORY/schools (one line a school, fields
 *                        parted by |) and DIRECTORY/SITE.json, a run each */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "tests/support/simulate.h"

#define DATE "2027-03-18"
#define SEED 20270318

enum mishap { FINE, CLOUDED_OUT, PART_FORGOTTEN, DIGITS_EXCHANGED };

struct school {
    const char *site, *name, *zone;
    struct place place;
    int base_mm, pole_mm; /* two tape lengths, added */
    enum edge edge;
    enum cloud cloud;
    enum mishap mishap;
};

#define FUEGO "America/Argentina/Ushuaia"
#define CRUZ "America/Argentina/Rio_Gallegos"
#define SALTA "America/Argentina/Salta"
#define MENDOZA "America/Argentina/Mendoza"
#define CORDOBA "America/Argentina/Cordoba"
#define AIRES "America/Argentina/Buenos_Aires"

/* clang-format off */
static const struct school schools[] = {
    /* along 69 degrees west */
    {"guanaco", "Guanaco Steppe School", FUEGO, {-53.80, -68.70, 30}, 120, 900, EDGE_UMBRA, CLOUD_BROKEN, FINE},
    {"nandu", "Nandu Crossroads School", CRUZ, {-50.30, -69.05, 190}, 0, 1000, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"calafate", "Calafate Berry Primary", CRUZ, {-46.52, -68.95, 330}, 150, 1200, EDGE_CENTRE, CLOUD_NOON, FINE},
    {"basalto", "Black Basalt School", SALTA, {-41.10, -69.20, 890}, 0, 1500, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"pehuen", "Pehuen Shade School", MENDOZA, {-36.90, -69.10, 1500}, 300, 1500, EDGE_UMBRA, CLOUD_NONE, PART_FORGOTTEN},
    {"acequia", "Acequia Secondary School", MENDOZA, {-32.92, -68.78, 790}, 100, 1000, EDGE_UMBRA, CLOUD_LATE, FINE},
    {"vicuna", "Vicuna Pass School", "America/Santiago", {-27.40, -69.30, 2600}, 0, 800, EDGE_PENUMBRA, CLOUD_NONE, FINE},
    {"salar", "Salar Light School", "America/Santiago", {-22.46, -68.90, 2270}, 200, 1800, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"quinoa", "Quinoa Terrace School", "America/La_Paz", {-17.80, -69.20, 3890}, 0, 1000, EDGE_UMBRA, CLOUD_NONE, FINE},
    /* along 65 degrees west */
    {"ballena", "Whale Bay School", SALTA, {-42.77, -65.10, 15}, 80, 920, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"vado", "Red Ford School", SALTA, {-39.02, -64.60, 80}, 0, 1250, EDGE_UMBRA, CLOUD_BROKEN, FINE},
    {"caldenar", "Calden Wood School", CORDOBA, {-35.20, -64.90, 230}, 150, 1350, EDGE_CENTRE, CLOUD_NONE, DIGITS_EXCHANGED},
    {"quebracho", "Quebracho Hill School", CORDOBA, {-31.42, -64.60, 650}, 0, 1000, EDGE_UMBRA, CLOUD_MORNING, FINE},
    {"limon", "Lemon Grove School", CORDOBA, {-26.83, -65.20, 430}, 0, 1100, EDGE_UMBRA, CLOUD_NONE, CLOUDED_OUT},
    {"cardon", "Cardon Cactus School", SALTA, {-22.12, -65.58, 3450}, 250, 1750, EDGE_UMBRA, CLOUD_NONE, FINE},
    /* along 58 degrees west */
    {"trigal", "Wheatfield School", AIRES, {-37.85, -58.26, 110}, 0, 1000, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"jacaranda", "Jacaranda Avenue School", AIRES, {-34.61, -58.43, 25}, 180, 820, EDGE_PENUMBRA, CLOUD_NONE, FINE},
    {"yatay", "Yatay Palm School", CORDOBA, {-31.35, -58.05, 40}, 0, 1400, EDGE_UMBRA, CLOUD_NOON, FINE},
    {"irupe", "Irupe Lagoon School", CORDOBA, {-27.47, -58.80, 60}, 0, 1000, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"tatu", "Armadillo Trail School", "America/Asuncion", {-23.40, -58.30, 120}, 120, 1130, EDGE_UMBRA, CLOUD_NONE, FINE},
    /* along 48 degrees west */
    {"araucaria", "Araucaria Ridge School", "America/Sao_Paulo", {-27.10, -48.92, 30}, 0, 1000, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"cafezal", "Coffee Slope School", "America/Sao_Paulo", {-22.50, -48.56, 460}, 0, 1500, EDGE_CENTRE, CLOUD_BROKEN, FINE},
    {"buriti", "Buriti Spring School", "America/Sao_Paulo", {-15.80, -47.95, 1150}, 200, 1300, EDGE_UMBRA, CLOUD_NONE, FINE},
    {"jalapao", "Golden Grass School", "America/Araguaina", {-10.20, -48.33, 270}, 0, 1800, EDGE_UMBRA, CLOUD_NONE, FINE},
};
/* clang-format on */

static void die(const char *what) {
    perror(what);
    exit(EXIT_FAILURE);
}

/* Gnomon as the class wrote it: one that forgets a part sends the pole alone. */
static void write_gnomon(FILE *out, const struct school *school) {
    fprintf(out, "{\"gnomon\": {\"parts\": [");
    if (school->base_mm > 0 && school->mishap != PART_FORGOTTEN)
        fprintf(out, "{\"length_mm\": %d}, ", school->base_mm);
    fprintf(out, "{\"length_mm\": %d}], \"edge\": \"%s\"},\n", school->pole_mm,
            edge_name(school->edge));
}

/* The last two digits of a length in millimetres the wrong way round, or the two
 * before them where that would hardly show. */
static int digits_exchanged(int mm) {
    int tens = mm / 10 % 10, hundreds = mm / 100 % 10;
    return mm + (tens - hundreds) * 100 + (hundreds - tens) * 10;
}

static void write_run(const char *path, const struct school *school, const struct run *run) {
    FILE *out = fopen(path, "w");
    if (out == NULL)
        die(path);
    write_gnomon(out, school);
    fprintf(out, " \"sky\": \"%s\", \"level\": \"spirit level, both ways\",\n \"readings\": [\n",
            cloud_name(school->cloud));
    for (int i = 0; i < run->readings; i++) {
        int shadow_mm = (int)lround(1000.0 * run->reading[i].shadow_m);
        if (school->mishap == DIGITS_EXCHANGED && i == run->readings / 3)
            shadow_mm = digits_exchanged(shadow_mm);
        char time[40];
        instant_format(run->reading[i].t_utc_s, 0, time, sizeof time);
        fprintf(out, "  {\"time\": \"%s\", \"shadow_mm\": %d}%s\n", time, shadow_mm,
                i + 1 < run->readings ? "," : "");
    }
    fprintf(out, " ]}\n");
    if (fclose(out) != 0)
        die(path);
}

static struct run measure(struct chance *chance, const struct sun_day *day,
                          const struct school *school) {
    struct run run = simulate_run_of((school->base_mm + school->pole_mm) / 1000.0, school->edge);
    const struct session session = {
        .readings = 13, .start_s = -2400.0, .step_s = 400.0, .cloud = school->cloud};
    simulate_readings(chance, &school->place, day, &simulate_careful, &session, &run);
    return run;
}

int main(int argc, char **argv) {
    if (argc != 2) {
        fprintf(stderr, "usage: demo-day DIRECTORY\n");
        return 2;
    }
    int32_t date;
    struct sun_day day;
    if (!date_parse(DATE, &date) || !sun_day_build(date, &day))
        return EXIT_FAILURE;
    char path[4096];
    snprintf(path, sizeof path, "%s/schools", argv[1]);
    FILE *list = fopen(path, "w");
    if (list == NULL)
        die(path);
    struct chance chance = chance_seeded(SEED);
    for (size_t i = 0; i < sizeof schools / sizeof schools[0]; i++) {
        const struct school *school = &schools[i];
        fprintf(list, "%s|%s|%.2f|%.2f|%.0f|%s|%s\n", school->site, school->name,
                school->place.lat_deg, school->place.lon_deg, school->place.elevation_m,
                school->zone, school->mishap == CLOUDED_OUT ? "cloud" : "run");
        struct run run = measure(&chance, &day, school);
        snprintf(path, sizeof path, "%s/%s.json", argv[1], school->site);
        if (school->mishap != CLOUDED_OUT)
            write_run(path, school, &run);
    }
    return fclose(list) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
