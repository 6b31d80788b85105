/* SPDX-License-Identifier: MIT */
/* route_table: every address of the service, once. Reads come first: they are
 * asked for most. */
#include "server/api/resources.h"
#include "server/http/own.h"
#include "server/http/routes.h"

#define API "/api/v1"
#define PAGED "limit cursor"

#define READ(address, parameters, function, words)                                                 \
    {                                                                                              \
        .method = METHOD_GET, .pattern = address, .query = parameters, .read = function,           \
        .help = words                                                                              \
    }
#define OWN(address, parameters, function, words)                                                  \
    {                                                                                              \
        .method = METHOD_GET, .pattern = address, .query = parameters, .own = function,            \
        .help = words                                                                              \
    }
#define WRITE(verb, address, who, what, function, words)                                           \
    {                                                                                              \
        .method = verb, .pattern = address, .caller = who, .body = what, .query = "",              \
        .read = function##_check, .write = function, .help = words                                 \
    }

/* clang-format off */
const struct route routes[] = {
    READ(API "/sites", PAGED, get_sites, "Sites, by identifier."),
    READ(API "/sites.csv", "", get_sites_csv, "All sites as a spreadsheet."),
    READ(API "/sites.geojson", "", get_sites_geojson, "All sites as points of a map."),
    READ(API "/sites/{site}", "", get_site, "A site."),
    READ(API "/days", PAGED, get_days, "Measurement days, by date."),
    READ(API "/days/{day}", "", get_day, "A measurement day and its rules."),
    READ(API "/days/{day}/sites", PAGED, get_day_sites, "Sites that take part."),
    READ(API "/days/{day}/sites.csv", "", get_day_sites_csv, "The same as a spreadsheet, with the gnomons used."),
    READ(API "/days/{day}/sites.geojson", "", get_day_sites_geojson, "The same as points of a map."),
    READ(API "/days/{day}/sites/{site}/plan", "", get_plan, "When to measure, and with whom."),
    READ(API "/days/{day}/runs", PAGED, get_day_runs, "Current runs with their reductions, by site."),
    READ(API "/days/{day}/readings.csv", "", get_readings_csv, "Readings of the current runs as a spreadsheet."),
    READ(API "/days/{day}/reductions.csv", "", get_reductions_csv, "Noon angles of the current runs as a spreadsheet."),
    READ(API "/days/{day}/pairs", PAGED, get_pairs, "Pairs of sites on one meridian, by sites."),
    READ(API "/days/{day}/pairs.csv", "", get_pairs_csv, "The same as a spreadsheet."),
    READ(API "/days/{day}/result", "", get_result, "The circumference from all sites together."),
    READ(API "/days/{day}/leaderboard", "limit", get_leaderboard, "Pairs, sites and honesty, best first."),
    READ(API "/runs/{id}", "", get_run, "A run as sent, with its reduction."),

    WRITE(METHOD_POST, API "/sites", CALLER_ANYONE, BODY_JSON, post_sites, "Register a site."),
    WRITE(METHOD_POST, API "/sites.csv", CALLER_ORGANISER, BODY_CSV, post_sites_csv, "Register and change sites from a spreadsheet."),
    WRITE(METHOD_PUT, API "/sites/{site}", CALLER_SCHOOL, BODY_JSON, put_site, "Change a site."),
    WRITE(METHOD_POST, API "/sites/{site}/class_code", CALLER_SCHOOL, BODY_NONE, post_class_code, "Make a new class code; the old one stops working."),
    WRITE(METHOD_POST, API "/days", CALLER_ORGANISER, BODY_JSON, post_days, "Open a measurement day."),
    WRITE(METHOD_PUT, API "/days/{day}/sites/{site}", CALLER_SCHOOL, BODY_NONE, put_day_site, "Take part."),
    WRITE(METHOD_DELETE, API "/days/{day}/sites/{site}", CALLER_SCHOOL, BODY_NONE, delete_day_site, "Leave."),
    WRITE(METHOD_POST, API "/days/{day}/readings.csv", CALLER_ORGANISER, BODY_CSV, post_readings_csv, "Hand in a whole day's readings from a spreadsheet."),
    {.method = METHOD_POST, .pattern = API "/days/{day}/sites/{site}/runs", .caller = CALLER_CLASS,
     .body = BODY_JSON, .query = "", .help = "Hand in a run, or correct one.",
     .read = post_runs_check, .write = post_runs, .takes_run = true},
    {.method = METHOD_DELETE, .pattern = API "/runs/{id}", .caller = CALLER_SCHOOL, .query = "reason",
     .help = "Withdraw a run.", .read = delete_run_check, .write = delete_run},

    OWN(API "/openapi.json", "", own_openapi, "This description."),
    OWN("/health", "", own_health, "Whether the service is ready."),
    OWN("/metrics", "", own_metrics, "Counters in the OpenMetrics text format."),
    OWN("/", NULL, own_page, "The page."),
    OWN("/assets/{file}", NULL, own_asset, "A file of the page."),
};
/* clang-format on */
const int routes_count = sizeof routes / sizeof routes[0];
