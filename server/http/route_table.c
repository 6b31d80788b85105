/* SPDX-License-Identifier: MIT */
/* route_table: every address of the service, once: reads first, they are asked
 * for most; then writes; then what needs no store. */
#include "server/api/resources.h"
#include "server/http/own.h"
#include "server/http/routes.h"

#define API "/api/v1"
#define PAGED "limit cursor"

/* Columns: method, pattern, least caller, body, query parameters, read or first
 * half of a write, write, answered by the edge, help. */
/* clang-format off */
const struct route routes[] = {
    {METHOD_GET, API "/sites", CALLER_ANYONE, BODY_NONE, PAGED,
     get_sites, NULL, NULL, "Sites, by identifier."},
    {METHOD_GET, API "/sites.csv", CALLER_ANYONE, BODY_NONE, "",
     get_sites_csv, NULL, NULL, "All sites as a spreadsheet."},
    {METHOD_GET, API "/sites.geojson", CALLER_ANYONE, BODY_NONE, "",
     get_sites_geojson, NULL, NULL, "All sites as points of a map."},
    {METHOD_GET, API "/sites/{site}", CALLER_ANYONE, BODY_NONE, "",
     get_site, NULL, NULL, "A site."},
    {METHOD_GET, API "/days", CALLER_ANYONE, BODY_NONE, PAGED,
     get_days, NULL, NULL, "Measurement days, by date."},
    {METHOD_GET, API "/days/{day}", CALLER_ANYONE, BODY_NONE, "",
     get_day, NULL, NULL, "A measurement day and its rules."},
    {METHOD_GET, API "/days/{day}/sites", CALLER_ANYONE, BODY_NONE, PAGED,
     get_day_sites, NULL, NULL, "Sites that take part."},
    {METHOD_GET, API "/days/{day}/sites.csv", CALLER_ANYONE, BODY_NONE, "",
     get_day_sites_csv, NULL, NULL, "The same as a spreadsheet, with the gnomons used."},
    {METHOD_GET, API "/days/{day}/sites.geojson", CALLER_ANYONE, BODY_NONE, "",
     get_day_sites_geojson, NULL, NULL, "The same as points of a map."},
    {METHOD_GET, API "/days/{day}/sites/{site}/plan", CALLER_ANYONE, BODY_NONE, "",
     get_plan, NULL, NULL, "When to measure, and with whom."},
    {METHOD_GET, API "/days/{day}/sites/{site}/run", CALLER_ANYONE, BODY_NONE, "",
     get_site_run, NULL, NULL, "The current run of a site, with its reduction."},
    {METHOD_GET, API "/days/{day}/sites/{site}/pairs", CALLER_ANYONE, BODY_NONE, "limit",
     get_site_pairs, NULL, NULL, "The pairs of a site, most certain first."},
    {METHOD_GET, API "/days/{day}/runs", CALLER_ANYONE, BODY_NONE, PAGED,
     get_day_runs, NULL, NULL, "Current runs with their reductions, by site."},
    {METHOD_GET, API "/days/{day}/readings.csv", CALLER_ANYONE, BODY_NONE, "",
     get_readings_csv, NULL, NULL, "Readings of the current runs as a spreadsheet."},
    {METHOD_GET, API "/days/{day}/reductions.csv", CALLER_ANYONE, BODY_NONE, "",
     get_reductions_csv, NULL, NULL, "Noon angles of the current runs as a spreadsheet."},
    {METHOD_GET, API "/days/{day}/pairs", CALLER_ANYONE, BODY_NONE, PAGED,
     get_pairs, NULL, NULL, "Pairs of sites on one meridian, by sites."},
    {METHOD_GET, API "/days/{day}/pairs.csv", CALLER_ANYONE, BODY_NONE, "",
     get_pairs_csv, NULL, NULL, "The same as a spreadsheet."},
    {METHOD_GET, API "/days/{day}/result", CALLER_ANYONE, BODY_NONE, "",
     get_result, NULL, NULL, "The circumference from all sites together."},
    {METHOD_GET, API "/days/{day}/line.csv", CALLER_ANYONE, BODY_NONE, "",
     get_line_csv, NULL, NULL, "Noon angle against distance, and the residuals from the line."},
    {METHOD_GET, API "/days/{day}/leaderboard", CALLER_ANYONE, BODY_NONE, "limit",
     get_leaderboard, NULL, NULL, "Pairs, sites and honesty, best first."},
    {METHOD_GET, API "/runs/{id}", CALLER_ANYONE, BODY_NONE, "",
     get_run, NULL, NULL, "A run as sent, with its reduction."},
    {METHOD_GET, API "/audit", CALLER_ORGANISER, BODY_NONE, PAGED,
     get_audit, NULL, NULL, "Who changed what, newest first."},
    {METHOD_GET, API "/audit.csv", CALLER_ORGANISER, BODY_NONE, "",
     get_audit_csv, NULL, NULL, "The same as a spreadsheet, all of it."},

    {METHOD_POST, API "/sites", CALLER_ANYONE, BODY_JSON, "",
     post_sites_check, post_sites, NULL, "Register a site."},
    {METHOD_POST, API "/sites.csv", CALLER_ORGANISER, BODY_CSV, "",
     post_sites_csv_check, post_sites_csv, NULL, "Register and change sites from a spreadsheet."},
    {METHOD_PUT, API "/sites/{site}", CALLER_SCHOOL, BODY_JSON, "",
     put_site_check, put_site, NULL, "Change a site."},
    {METHOD_POST, API "/sites/{site}/class_code", CALLER_SCHOOL, BODY_NONE, "",
     post_class_code_check, post_class_code, NULL, "Make a new class code; the old one stops working."},
    {METHOD_POST, API "/days", CALLER_ORGANISER, BODY_JSON, "",
     post_days_check, post_days, NULL, "Open a measurement day."},
    {METHOD_PUT, API "/days/{day}/sites/{site}", CALLER_SCHOOL, BODY_NONE, "",
     put_day_site_check, put_day_site, NULL, "Take part."},
    {METHOD_DELETE, API "/days/{day}/sites/{site}", CALLER_SCHOOL, BODY_NONE, "",
     delete_day_site_check, delete_day_site, NULL, "Leave."},
    {METHOD_POST, API "/days/{day}/readings.csv", CALLER_ORGANISER, BODY_CSV, "",
     post_readings_csv_check, post_readings_csv, NULL, "Hand in a whole day's readings from a spreadsheet."},
    {METHOD_POST, API "/days/{day}/sites/{site}/runs", CALLER_CLASS, BODY_JSON, "",
     post_runs_check, post_runs, NULL, "Hand in a run, or correct one."},
    {METHOD_DELETE, API "/runs/{id}", CALLER_SCHOOL, BODY_NONE, "reason",
     delete_run_check, delete_run, NULL, "Withdraw a run."},

    {METHOD_GET, API "/openapi.json", CALLER_ANYONE, BODY_NONE, "",
     NULL, NULL, own_openapi, "This description."},
    {METHOD_GET, "/health", CALLER_ANYONE, BODY_NONE, "",
     NULL, NULL, own_health, "Whether the service is ready."},
    {METHOD_GET, "/health/live", CALLER_ANYONE, BODY_NONE, "",
     NULL, NULL, own_alive, "Whether the service is alive, ready or not."},
    {METHOD_GET, "/metrics", CALLER_ANYONE, BODY_NONE, "",
     NULL, NULL, own_metrics, "Counters in the OpenMetrics text format."},
    {METHOD_GET, "/", CALLER_ANYONE, BODY_NONE, NULL,
     NULL, NULL, own_page, "The page."},
    {METHOD_GET, "/assets/{file}", CALLER_ANYONE, BODY_NONE, NULL,
     NULL, NULL, own_asset, "A file of the page."},
};
/* clang-format on */
const int routes_count = sizeof routes / sizeof routes[0];
