/* SPDX-License-Identifier: MIT */
/* results: answer first, its uncertainty beside it, reasons below. */
#include "client/results.h"

#include <math.h>
#include <string.h>

#include "client/screen.h"
#include "server/base/instant.h"
#include "server/base/text.h"
#include "server/science/reduce.h"

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static const struct column reduction_columns[] = {
    {.title = "site", .key = "site"},
    {.title = "noon UTC", .key = "transit_utc", .kind = CELL_TIME},
    {.title = "noon angle °",
     .key = "noon_angle_deg",
     .kind = CELL_MEASURE,
     .sigma_key = "sigma_deg"},
    {.title = "estimator", .key = "estimator"},
    {.title = "used", .key = "used", .kind = CELL_FIXED},
    {.title = "left out", .key = "left_out", .kind = CELL_LENGTH},
    {.title = "status", .key = "status", .kind = CELL_CODE},
};

static const struct column pair_columns[] = {
    {.title = "site", .key = "site1"},
    {.title = "site", .key = "site2"},
    {.title = "apart km", .key = "separation_km", .kind = CELL_FIXED, .decimals = 1},
    {.title = "angle °", .key = "angle_deg", .kind = CELL_MEASURE, .sigma_key = "angle_sigma_deg"},
    {.title = "circumference km",
     .key = "circumference_km",
     .kind = CELL_MEASURE,
     .sigma_key = "sigma_km"},
    {.title = "error %", .key = "error_percent", .kind = CELL_FIXED, .decimals = 2},
    {.title = "error σ", .key = "error_sigmas", .kind = CELL_FIXED, .decimals = 1},
    {.title = "status", .key = "status", .kind = CELL_CODE},
};

static const struct column refused_columns[] = {
    {.title = "site", .key = "site1"},
    {.title = "site", .key = "site2"},
    {.title = "apart km", .key = "separation_km", .kind = CELL_FIXED, .decimals = 1},
    {.title = "why not", .key = "reason", .kind = CELL_CODE},
};

static const struct column leader_pair_columns[] = {
    {.title = "place", .key = "place", .kind = CELL_FIXED},
    {.title = "site", .key = "site1"},
    {.title = "site", .key = "site2"},
    {.title = "circumference km",
     .key = "circumference_km",
     .kind = CELL_MEASURE,
     .sigma_key = "sigma_km"},
    {.title = "error %", .key = "error_percent", .kind = CELL_FIXED, .decimals = 2},
    {.title = "error σ", .key = "error_sigmas", .kind = CELL_FIXED, .decimals = 1},
};

static const struct column leader_site_columns[] = {
    {.title = "place", .key = "place", .kind = CELL_FIXED},
    {.title = "site", .key = "site"},
    {.title = "circumference km",
     .key = "circumference_km",
     .kind = CELL_MEASURE,
     .sigma_key = "sigma_km"},
    {.title = "error %", .key = "error_percent", .kind = CELL_FIXED, .decimals = 2},
    {.title = "error σ", .key = "error_sigmas", .kind = CELL_FIXED, .decimals = 1},
    {.title = "partners", .key = "partners", .kind = CELL_FIXED},
};

static const struct column honesty_columns[] = {
    {.title = "place", .key = "place", .kind = CELL_FIXED},
    {.title = "site", .key = "site"},
    {.title = "σ °", .key = "sigma_deg", .kind = CELL_FIXED, .decimals = 3},
    {.title = "error °", .key = "error_deg", .kind = CELL_FIXED, .decimals = 3},
    {.title = "error σ", .key = "error_sigmas", .kind = CELL_FIXED, .decimals = 1},
    {.title = "score", .key = "score", .kind = CELL_FIXED, .decimals = 2},
};

static void print_time_of(FILE *out, const json_t *object, const char *key, const char *zone) {
    double t_utc_s;
    if (instant_parse(screen_string(object, key), &t_utc_s, NULL, NULL) == 0)
        screen_time(out, t_utc_s, zone);
}

/* Other causes that would explain the same. */
static void print_also(FILE *out, const json_t *left_out) {
    const json_t *also = screen_get(left_out, "also");
    for (size_t i = 0; i < json_array_size(also); i++) {
        enum slip slip;
        char line[512];
        const char *name = json_string_value(json_array_get(also, i));
        if (name == NULL || !slip_parse(name, &slip))
            continue; /* a cause that a newer server knows */
        snprintf(line, sizeof line, "or: %s", slip_text(slip));
        screen_wrapped(out, 4, line);
    }
}

static void print_left_out(FILE *out, const json_t *reduction) {
    size_t i;
    const json_t *row;
    json_array_foreach(screen_get(reduction, "left_out"), i, row) {
        char line[512];
        snprintf(line, sizeof line, "reading %.0f, %.8s UTC, %.10g mm: %s",
                 screen_number(row, "reading") + 1, screen_string(row, "utc") + 11,
                 screen_number(row, "shadow_mm"), screen_string(row, "advice"));
        screen_wrapped(out, 2, line);
        print_also(out, row);
    }
}

/* The error budget: what the published sigma is made of, the larger parts. */
static void print_budget(FILE *out, const json_t *reduction) {
    static const struct {
        const char *key, *words;
    } parts[] = {
        {"random_deg", "scatter of the marks"},   {"clock_deg", "clock"},
        {"height_deg", "gnomon's height"},        {"tilt_deg", "plumb and level"},
        {"edge_deg", "where the edge is"},        {"air_deg", "air"},
        {"position_deg", "the rounded position"},
    };
    const json_t *budget = screen_get(reduction, "budget");
    struct text line;
    text_init(&line, 512);
    for (size_t i = 0; i < COUNT(parts); i++) {
        double part_deg = screen_number(budget, parts[i].key);
        if (part_deg >= 0.0005)
            text_format(&line, "%s%s %.3f°", line.length == 0 ? "" : ", ", parts[i].words,
                        part_deg);
    }
    fputs("the ± is made of\n", out);
    screen_wrapped(out, 2, line.bytes);
    text_release(&line);
}

static void print_estimates(FILE *out, const json_t *reduction) {
    const char *key;
    json_t *estimate;
    json_object_foreach((json_t *)screen_get(reduction, "estimates"), key, estimate) {
        if (!json_is_object(estimate) || strcmp(key, screen_string(reduction, "estimator")) == 0)
            continue;
        fprintf(out, "  %-9s ", key);
        screen_measure(out, screen_number(estimate, "noon_angle_deg"),
                       screen_number(estimate, "sigma_deg"), "°\n");
    }
}

/* What is wrong with the whole run; reason and advice often say the same. */
static void print_why(FILE *out, int indent, const json_t *reduction) {
    const char *reason = screen_string(reduction, "reason");
    const char *advice = screen_string(reduction, "advice");
    if (*reason != '\0')
        screen_wrapped(out, indent, reason);
    if (*advice != '\0' && strcmp(reason, advice) != 0)
        screen_wrapped(out, indent, advice);
}

/* What a measured clock came to, where the day had to judge it. */
static void print_clock(FILE *out, const json_t *clock) {
    double offset_s = screen_number(clock, "offset_s");
    if (!json_is_true(screen_get(clock, "beyond")))
        return;
    fputs("clock       measured ", out);
    screen_measure(out, fabs(offset_s), screen_number(clock, "sigma_s"),
                   offset_s > 0.0 ? " s fast" : " s slow");
    fprintf(out, ", more than the day's %g s: the times are %s\n", screen_number(clock, "bound_s"),
            screen_number(clock, "applied_s") != 0.0 ? "corrected by that, by the day's rule"
                                                     : "used as they came, with so much doubt");
}

void results_print_reduction(FILE *out, const json_t *reduction, const char *zone) {
    double angle_deg = screen_number(reduction, "noon_angle_deg");
    if (isfinite(angle_deg)) {
        fputs("noon angle  ", out);
        screen_measure(out, angle_deg, screen_number(reduction, "sigma_deg"), "°");
        fprintf(out, ", the Sun %s of overhead\n",
                *screen_string(reduction, "sun_side") == 'N' ? "north" : "south");
    } else {
        fputs("noon angle  none\n", out);
    }
    fputs("noon        ", out);
    print_time_of(out, reduction, "transit_utc", zone);
    fputc('\n', out);
    print_why(out, 0, reduction);
    if (!isfinite(angle_deg))
        return;
    size_t left_out = json_array_size(screen_get(reduction, "left_out"));
    fprintf(out, "readings    %.0f used, %zu left out%s\n", screen_number(reduction, "used"),
            left_out, left_out > 0 ? ":" : "");
    print_left_out(out, reduction);
    print_budget(out, reduction);
    double clock_s = screen_number(reduction, "clock_offset_s");
    double clock_sigma_s = screen_number(reduction, "clock_offset_sigma_s");
    if (isfinite(clock_s) && fabs(clock_s) > 2.0 * clock_sigma_s) {
        fputs("clock       ", out);
        screen_measure(out, fabs(clock_s), clock_sigma_s, clock_s > 0 ? " s fast" : " s slow");
        fputs(" as the shadows tell it\n", out);
    }
    print_clock(out, screen_get(reduction, "clock"));
    fprintf(out, "worked out  %s; the other ways, for comparison:\n",
            screen_string(reduction, "estimator"));
    print_estimates(out, reduction);
}

void results_print_reductions(FILE *out, bool aligned, const json_t *reductions) {
    screen_table(out, aligned, reduction_columns, COUNT(reduction_columns), reductions);
}

void results_print_pairs(FILE *out, bool aligned, const json_t *pairs) {
    if (json_array_size(pairs) == 0)
        fputs("no pair yet\n", out);
    else
        screen_table(out, aligned, pair_columns, COUNT(pair_columns), pairs);
}

/* Of the service's codes for a day without a figure. */
static const char *why_none(const char *status) {
    if (strcmp(status, "too_few") == 0)
        return "it takes two sites apart from each other, of the same noon";
    if (strcmp(status, "unsure") == 0)
        return "the angles do not yet differ by more than their uncertainty";
    return "the readings so far do not give one";
}

void results_print_combined(FILE *out, const json_t *combined) {
    double circumference_km = screen_number(combined, "circumference_km");
    double sigma_km = screen_number(combined, "sigma_km");
    if (!isfinite(circumference_km)) {
        fprintf(out, "circumference  none yet: %s\n", why_none(screen_string(combined, "status")));
        return;
    }
    fputs("circumference  ", out);
    screen_measure(out, circumference_km, sigma_km, " km\n");
    fprintf(out, "from %.0f sites, %.0f %s\n", screen_number(combined, "sites"),
            screen_number(combined, "days"),
            screen_number(combined, "days") == 1.0 ? "noon" : "noons");
    double handbook_km = screen_number(combined, "handbook_km");
    double local_km = screen_number(combined, "local_km");
    if (isfinite(handbook_km)) {
        fprintf(out, "the handbook's meridian is %.1f km long: %+.2f %%, %+.1f σ\n", handbook_km,
                100.0 * (circumference_km - handbook_km) / handbook_km,
                (circumference_km - handbook_km) / sigma_km);
        if (isfinite(local_km))
            fprintf(out, "its curvature where the sites are makes %.0f km of a perfect day\n",
                    local_km);
    }
    double birge_ratio = screen_number(combined, "birge_ratio");
    if (isfinite(birge_ratio))
        fprintf(out, "chi-square %.1f for %.0f degrees of freedom, Birge ratio %.2f\n",
                screen_number(combined, "chi2"), screen_number(combined, "dof"), birge_ratio);
    if (isfinite(screen_number(combined, "median_km")) && screen_number(combined, "sites") > 2)
        fprintf(out, "median of all pairs %.0f km (%.0f to %.0f)\n",
                screen_number(combined, "median_km"), screen_number(combined, "median_low_km"),
                screen_number(combined, "median_high_km"));
    const json_t *most = json_array_get(screen_get(combined, "influence"), 0);
    if (most != NULL && screen_number(combined, "sites") > 2) {
        fputs("who moves it most: without ", out);
        screen_put(out, screen_string(most, "site"));
        fprintf(out, " it were %+.0f km\n", screen_number(most, "influence_km"));
    }
    size_t i;
    const json_t *row;
    screen_print_left_out(out, "", screen_get(combined, "left_out_counts"));
    json_array_foreach(screen_get(combined, "excluded"), i, row) {
        fputs("excluded: ", out);
        screen_put(out, screen_string(row, "site"));
        fputs(": ", out);
        screen_put(out, screen_string(row, "reason"));
        fputc('\n', out);
    }
    json_array_foreach(screen_get(combined, "left_out"), i, row) {
        fputs("left out: ", out);
        screen_put(out, screen_string(row, "site"));
        fprintf(out, ", %+.2f° off the line (%.1f σ)\n", screen_number(row, "residual_deg"),
                fabs(screen_number(row, "residual_sigma")));
    }
}

static void print_section(FILE *out, bool aligned, const char *title, const struct column *columns,
                          size_t count, const json_t *rows) {
    fprintf(out, "\n%s\n", title);
    if (json_array_size(rows) == 0)
        fputs("none\n", out);
    else
        screen_table(out, aligned, columns, count, rows);
}

void results_print_leaderboard(FILE *out, bool aligned, const json_t *board) {
    print_section(out, aligned, "pairs, nearest to the meridian's length first",
                  leader_pair_columns, COUNT(leader_pair_columns), screen_get(board, "pairs"));
    print_section(out, aligned, "sites", leader_site_columns, COUNT(leader_site_columns),
                  screen_get(board, "sites"));
    print_section(out, aligned, "honesty: the stated σ against what happened", honesty_columns,
                  COUNT(honesty_columns), screen_get(board, "honesty"));
}

static void print_reasons(FILE *out, const json_t *reductions) {
    size_t i;
    const json_t *row;
    json_array_foreach(reductions, i, row) {
        const char *reason = screen_string(row, "reason");
        const char *advice = screen_string(row, "advice");
        if (json_array_size(screen_get(row, "left_out")) == 0 && *reason == '\0' && *advice == '\0')
            continue;
        fputc('\n', out);
        screen_put(out, screen_string(row, "site"));
        fputc('\n', out);
        print_why(out, 2, row);
        print_left_out(out, row);
    }
}

void results_print_analysis(FILE *out, bool aligned, const json_t *analysis) {
    results_print_combined(out, screen_get(analysis, "combined"));
    print_section(out, aligned, "pairs", pair_columns, COUNT(pair_columns),
                  screen_get(analysis, "pairs"));
    if (json_array_size(screen_get(analysis, "pairs_refused")) > 0)
        print_section(out, aligned, "on one meridian, but not counted as pairs", refused_columns,
                      COUNT(refused_columns), screen_get(analysis, "pairs_refused"));
    print_section(out, aligned, "sites", reduction_columns, COUNT(reduction_columns),
                  screen_get(analysis, "sites"));
    print_reasons(out, screen_get(analysis, "sites"));
}
