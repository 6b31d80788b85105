/* SPDX-License-Identifier: MIT */
/* season_sheets: the papers of an invented programme of 400 schools and three days,
 * as schools and classes would have written them: invented names, positions on real
 * land in South America, the true Sun, seeded errors, clouds, a few slips. Used by
 * deploy/season alone.
 *
 *   season-sheets DIRECTORY   writes DIRECTORY/invited.csv (the organiser's list),
 *                             DIRECTORY/schools (a line a school, fields parted by |),
 *                             DIRECTORY/day1/SITE.json, a run each, DIRECTORY/day2.csv
 *                             and DIRECTORY/day3.csv, a spreadsheet each */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "server/base/instant.h"
#include "tests/support/simulate.h"

#define SCHOOLS 400
#define SEED 20270320
#define PATH_SIZE 4096

/* The third day is held on its second date, see deploy/season. */
static const char *const dates[] = {"2027-03-18", "2027-05-20", "2027-08-19"};
#define DAYS ((int)(sizeof dates / sizeof dates[0]))
static const double share[] = {1.0, 0.85, 0.7}; /* of the schools that measure */

/* Rectangles of nothing but land. */
static const struct {
    double south_deg, north_deg, west_deg, east_deg, elev_m;
    int schools;
    const char *zone;
} land[] = {
    {-49.0, -39.0, -71.0, -68.5, 600.0, 80, "America/Argentina/Rio_Gallegos"},
    {-38.0, -25.0, -68.0, -60.0, 400.0, 150, "America/Argentina/Cordoba"},
    {-22.0, -10.0, -66.0, -58.5, 300.0, 80, "America/La_Paz"},
    {-22.0, -8.0, -52.0, -43.5, 700.0, 90, "America/Sao_Paulo"},
};

static const char *const first[] = {"Quinoa",  "Condor", "Vicuna",   "Puma",    "Carob",
                                    "Ceibo",   "Cardon", "Ombu",     "Totora",  "Jarilla",
                                    "Guanaco", "Heron",  "Flamingo", "Hornero", "Armadillo",
                                    "Toucan",  "Cicada", "Capybara", "Molle",   "Lapacho"};
static const char *const second[] = {"Hill", "Ford",   "Spring", "Bridge", "Ridge",
                                     "Mesa", "Lagoon", "Meadow", "Valley", "Terrace",
                                     "Well", "Gate",   "Grove",  "Plaza",  "Orchard",
                                     "Bend", "Pass",   "Mill",   "Path",   "Crossing"};
#define FIRST ((int)(sizeof first / sizeof first[0]))

struct school {
    char site[40], name[60];
    struct place place;
    const char *zone;
    int gnomon_mm, decimals; /* decimals 0: the position is let out as it is */
};

static void die(const char *what) {
    perror(what);
    exit(EXIT_FAILURE);
}

static FILE *open_file(const char *directory, const char *name) {
    char path[PATH_SIZE];
    snprintf(path, sizeof path, "%s/%s", directory, name);
    FILE *file = fopen(path, "w");
    if (file == NULL)
        die(path);
    return file;
}

static void close_file(FILE *file) {
    if (fclose(file) != 0)
        die("season-sheets");
}

static double between(struct chance *chance, double low, double high) {
    return low + (high - low) * chance_even(chance);
}

static void found(struct chance *chance, int number, struct school *school) {
    size_t at = 0;
    for (int left = number; left >= land[at].schools; at++)
        left -= land[at].schools;
    const char *one = first[number % FIRST], *two = second[number / FIRST];
    snprintf(school->name, sizeof school->name, "%s %s School", one, two);
    snprintf(school->site, sizeof school->site, "%s-%s", one, two);
    for (char *c = school->site; *c != '\0'; c++)
        if (*c >= 'A' && *c <= 'Z')
            *c = (char)(*c - 'A' + 'a');
    school->place = (struct place){
        .lat_deg = round(1e4 * between(chance, land[at].south_deg, land[at].north_deg)) / 1e4,
        .lon_deg = round(1e4 * between(chance, land[at].west_deg, land[at].east_deg)) / 1e4,
        .elevation_m = land[at].elev_m};
    school->zone = land[at].zone;
    school->gnomon_mm = 800 + 50 * (int)(25.0 * chance_even(chance));
    school->decimals = number % 20 == 7 ? 2 : 0;
}

/* The school whose pole stood on a block in March that nobody measured. */
#define BLOCK_SCHOOL 113
#define BLOCK_SHARE 0.09 /* of the pole's height */

/* One noon of a school: false where cloud took it. */
static bool measure(struct chance *chance, const struct sun_day *sun, const struct school *school,
                    int number, int day, struct run *run) {
    const bool block = day == 0 && number == BLOCK_SCHOOL;
    const struct session session = {
        .readings = 11,
        .start_s = -2000.0,
        .step_s = 400.0,
        .cloud =
            (enum cloud)(chance_even(chance) < 0.6 || block ? CLOUD_NONE : number % CLOUD_COUNT)};
    *run = simulate_run_of(school->gnomon_mm / 1000.0, EDGE_UMBRA);
    simulate_readings(chance, &school->place, sun, &simulate_careful, &session, run);
    for (int i = 0; block && i < run->readings; i++)
        run->reading[i].shadow_m *= 1.0 + BLOCK_SHARE;
    return (chance_even(chance) < share[day] || block) && run->readings >= 4;
}

/* The last two digits of one shadow the wrong way round, or the two before. */
static int slip(int number, int reading, int mm) {
    if (number % 67 != 5 || reading != 3)
        return mm;
    int tens = mm / 10 % 10, hundreds = mm / 100 % 10;
    return mm + (tens - hundreds) * 100 + (hundreds - tens) * 10;
}

static void write_json(const char *directory, const struct school *school, int number,
                       const struct run *run) {
    char name[60];
    snprintf(name, sizeof name, "day1/%.39s.json", school->site);
    FILE *out = open_file(directory, name);
    fprintf(out, "{\"gnomon\": {\"parts\": [{\"length_mm\": %d}], \"edge\": \"umbra\"},\n",
            school->gnomon_mm);
    fprintf(out, " \"readings\": [\n");
    for (int i = 0; i < run->readings; i++) {
        char time[INSTANT_TEXT];
        int mm = (int)lround(1000.0 * run->reading[i].shadow_m);
        instant_format(run->reading[i].t_utc_s, 0, time, sizeof time);
        fprintf(out, "  {\"time\": \"%s\", \"shadow_mm\": %d}%s\n", time, slip(number, i, mm),
                i + 1 < run->readings ? "," : "");
    }
    fprintf(out, " ]}\n");
    close_file(out);
}

static void write_rows(FILE *out, const struct school *school, const struct run *run) {
    for (int i = 0; i < run->readings; i++) {
        char time[INSTANT_TEXT];
        instant_format(run->reading[i].t_utc_s, 0, time, sizeof time);
        fprintf(out, "%s,%s,%ld\n", school->site, time, lround(1000.0 * run->reading[i].shadow_m));
    }
}

static void write_day(const char *directory, struct chance *chance, const struct school *schools,
                      int day) {
    int32_t date;
    struct sun_day sun;
    char name[16];
    if (!date_parse(dates[day], &date) || !sun_day_build(date, &sun))
        die(dates[day]);
    snprintf(name, sizeof name, "day%d.csv", day + 1);
    FILE *sheet = day == 0 ? NULL : open_file(directory, name);
    if (sheet != NULL)
        fprintf(sheet, "site,utc,shadow_mm\n");
    for (int i = 0; i < SCHOOLS; i++) {
        struct run run;
        bool measured = measure(chance, &sun, &schools[i], i, day, &run);
        if (measured && sheet == NULL)
            write_json(directory, &schools[i], i, &run);
        else if (measured)
            write_rows(sheet, &schools[i], &run);
    }
    if (sheet != NULL)
        close_file(sheet);
}

int main(int argc, char **argv) {
    static struct school schools[SCHOOLS];
    char path[PATH_SIZE];
    if (argc != 2) {
        fprintf(stderr, "usage: season-sheets DIRECTORY\n");
        return 2;
    }
    snprintf(path, sizeof path, "%s/day1", argv[1]);
    if (mkdir(path, 0777) != 0)
        die(path);
    struct chance chance = chance_seeded(SEED);
    FILE *list = open_file(argv[1], "schools"), *invited = open_file(argv[1], "invited.csv");
    fprintf(invited, "name,contact\n");
    for (int i = 0; i < SCHOOLS; i++) {
        const struct school *school = &schools[i];
        found(&chance, i, &schools[i]);
        fprintf(list, "%s|%s|%.4f|%.4f|%.0f|%s|%d|%d\n", school->site, school->name,
                school->place.lat_deg, school->place.lon_deg, school->place.elevation_m,
                school->zone, school->gnomon_mm, school->decimals);
        fprintf(invited, "%s,office@%s.example\n", school->name, school->site);
    }
    close_file(list);
    close_file(invited);
    for (int day = 0; day < DAYS; day++)
        write_day(argv[1], &chance, schools, day);
    return EXIT_SUCCESS;
}
