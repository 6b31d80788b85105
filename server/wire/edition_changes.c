/* SPDX-License-Identifier: MIT */
/* edition_changes: two editions of one subject side by side, list by list: what came,
 * what went, what is different, in words. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "server/wire/edition.h"

struct changes {
    json_t *list; /* NULL after memory ran out */
};

static void give_up(struct changes *changes) {
    json_decref(changes->list);
    changes->list = NULL;
}

/* Adds a change; day, site, run and more may be NULL, NULL, 0 and NULL. more (taken over):
 * what else it is about. */
static void add(struct changes *changes, const char *change, const char *day, const char *site,
                json_int_t run, json_t *more, const char *format, ...)
    __attribute__((format(printf, 7, 8)));
static void add(struct changes *changes, const char *change, const char *day, const char *site,
                json_int_t run, json_t *more, const char *format, ...) {
    char words[600];
    va_list args;
    va_start(args, format);
    vsnprintf(words, sizeof words, format, args);
    va_end(args);
    json_t *entry =
        changes->list == NULL ? NULL : json_pack("{s:s, s:s}", "change", change, "words", words);
    if (entry != NULL && ((day != NULL && json_object_set_new(entry, "day", json_string(day))) ||
                          (site != NULL && json_object_set_new(entry, "site", json_string(site))) ||
                          (run != 0 && json_object_set_new(entry, "run", json_integer(run))) ||
                          (more != NULL && json_object_update(entry, more)))) {
        json_decref(entry);
        entry = NULL;
    }
    json_decref(more);
    if (changes->list != NULL && (entry == NULL || json_array_append_new(changes->list, entry)))
        give_up(changes);
}

/* For more; out of memory it is NULL, and the numbers are missing. */
static json_t *counts(json_int_t count, json_int_t before) {
    return json_pack("{s:I, s:I}", "count", count, "count_before", before);
}

static const char *text_of(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    return text != NULL ? text : "";
}

static json_int_t number_of(const json_t *object, const char *key) {
    return (json_int_t)json_number_value(json_object_get(object, key));
}

/* ---- what orders the lists ---- */

static int order_days(const json_t *a, const json_t *b) {
    const json_t *one = json_object_get(a, "rules"), *two = json_object_get(b, "rules");
    int order = strcmp(text_of(one, "day"), text_of(two, "day"));
    return order;
}

static int order_sites(const json_t *a, const json_t *b) {
    return strcmp(text_of(a, "site"), text_of(b, "site"));
}

static int order_runs(const json_t *a, const json_t *b) {
    int order = strcmp(text_of(a, "day"), text_of(b, "day"));
    return order != 0 ? order : order_sites(a, b);
}

static int order_exclusions(const json_t *a, const json_t *b) {
    json_int_t one = number_of(a, "run"), two = number_of(b, "run");
    return (one > two) - (one < two);
}

/* ---- what is said of each kind ---- */

static void say_day(struct changes *changes, const json_t *old, const json_t *new) {
    const char *day = text_of(json_object_get(new != NULL ? new : old, "rules"), "day");
    if (old == NULL)
        add(changes, "day_added", day, NULL, 0, NULL, "Day %s is part of it now.", day);
    else if (new == NULL)
        add(changes, "day_removed", day, NULL, 0, NULL, "Day %s is no part of it any more.", day);
    else if (!json_equal(json_object_get(old, "rules"), json_object_get(new, "rules")))
        add(changes, "rules_changed", day, NULL, 0, NULL,
            "The rules or dates of day %s were changed.", day);
    if (old == NULL || new == NULL)
        return;
    if (number_of(old, "withdrawn") != number_of(new, "withdrawn"))
        add(changes, "withdrawn", day, NULL, 0,
            counts(number_of(new, "withdrawn"), number_of(old, "withdrawn")),
            "Runs of day %s withdrawn by their schools: %lld, before %lld.", day,
            (long long)number_of(new, "withdrawn"), (long long)number_of(old, "withdrawn"));
    if (number_of(old, "not_agreed") != number_of(new, "not_agreed"))
        add(changes, "not_agreed", day, NULL, 0,
            counts(number_of(new, "not_agreed"), number_of(old, "not_agreed")),
            "Runs of day %s of schools that keep out of editions: %lld, before %lld.", day,
            (long long)number_of(new, "not_agreed"), (long long)number_of(old, "not_agreed"));
}

static bool same_position(const json_t *old, const json_t *new) {
    static const char *const keys[] = {"lat_deg", "lon_deg", "elev_m", "position_decimals"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        const json_t *a = json_object_get(old, keys[i]), *b = json_object_get(new, keys[i]);
        bool numbers = json_is_number(a) && json_is_number(b);
        if (numbers ? json_number_value(a) != json_number_value(b) : !json_equal(a, b))
            return false;
    }
    return true;
}

static void say_site(struct changes *changes, const json_t *old, const json_t *new) {
    const char *site = text_of(new != NULL ? new : old, "site");
    if (old == NULL)
        add(changes, "site_added", NULL, site, 0, NULL, "Site %s is part of it now.", site);
    else if (new == NULL)
        add(changes, "site_removed", NULL, site, 0, NULL, "Site %s is no part of it any more.",
            site);
    else if (!same_position(old, new))
        add(changes, "site_moved", NULL, site, 0, NULL, "The position of site %s is another.",
            site);
    if (old != NULL && new != NULL && strcmp(text_of(old, "name"), text_of(new, "name")) != 0)
        add(changes, "site_renamed", NULL, site, 0, NULL, "Site %s has another name.", site);
}

static void say_run(struct changes *changes, const json_t *old, const json_t *new) {
    const json_t *one = new != NULL ? new : old;
    const char *day = text_of(one, "day"), *site = text_of(one, "site");
    json_int_t run = number_of(one, "run");
    if (old == NULL)
        add(changes, "run_added", day, site, run, NULL, "Run %lld of site %s on day %s came in.",
            (long long)run, site, day);
    else if (new == NULL)
        add(changes, "run_removed", day, site, run, NULL, "Run %lld of site %s on day %s is gone.",
            (long long)run, site, day);
    else if (number_of(old, "run") != run)
        add(changes, "run_corrected", day, site, run,
            json_pack("{s:I}", "run_before", number_of(old, "run")),
            "Site %s corrected its run on day %s: run %lld in place of run %lld.", site, day,
            (long long)run, (long long)number_of(old, "run"));
}

static void say_exclusion(struct changes *changes, const json_t *old, const json_t *new) {
    json_int_t run = number_of(new != NULL ? new : old, "run");
    if (old == NULL)
        add(changes, "excluded", NULL, NULL, run,
            json_pack("{s:s}", "reason", text_of(new, "reason")), "Run %lld was left out: %s",
            (long long)run, text_of(new, "reason"));
    else if (new == NULL)
        add(changes, "let_in", NULL, NULL, run, NULL, "Run %lld, left out before, counts again.",
            (long long)run);
    else if (strcmp(text_of(old, "reason"), text_of(new, "reason")) != 0)
        add(changes, "excluded", NULL, NULL, run,
            json_pack("{s:s, s:s}", "reason", text_of(new, "reason"), "reason_before",
                      text_of(old, "reason")),
            "Run %lld is left out for another reason: %s", (long long)run, text_of(new, "reason"));
}

/* One walk through two lists of one order. The lists of a document that was checked
 * are in order but for days, which are few and looked up one by one. */
static void walk(struct changes *changes, const json_t *old, const json_t *new,
                 int (*order)(const json_t *, const json_t *),
                 void (*say)(struct changes *, const json_t *, const json_t *)) {
    size_t i = 0, j = 0;
    while (i < json_array_size(old) || j < json_array_size(new)) {
        const json_t *a = json_array_get(old, i), *b = json_array_get(new, j);
        int ordered = a == NULL ? 1 : b == NULL ? -1 : order(a, b);
        say(changes, ordered <= 0 ? a : NULL, ordered >= 0 ? b : NULL);
        i += ordered <= 0;
        j += ordered >= 0;
    }
}

static const json_t *find_day(const json_t *days, const json_t *wanted) {
    for (size_t i = 0; i < json_array_size(days); i++)
        if (order_days(json_array_get(days, i), wanted) == 0)
            return json_array_get(days, i);
    return NULL;
}

static void walk_days(struct changes *changes, const json_t *old, const json_t *new) {
    for (size_t i = 0; i < json_array_size(old); i++)
        if (find_day(new, json_array_get(old, i)) == NULL)
            say_day(changes, json_array_get(old, i), NULL);
    for (size_t i = 0; i < json_array_size(new); i++)
        say_day(changes, find_day(old, json_array_get(new, i)), json_array_get(new, i));
}

/* Runs are in the order of days, and days in that of dates: walked day by day. */
static void walk_runs(struct changes *changes, const json_t *old, const json_t *new,
                      const json_t *days) {
    for (size_t d = 0; d < json_array_size(days); d++) {
        const char *day = text_of(json_object_get(json_array_get(days, d), "rules"), "day");
        size_t i = 0, j = 0;
        for (;;) {
            while (i < json_array_size(old) &&
                   strcmp(text_of(json_array_get(old, i), "day"), day) != 0)
                i++;
            while (j < json_array_size(new) &&
                   strcmp(text_of(json_array_get(new, j), "day"), day) != 0)
                j++;
            const json_t *a = json_array_get(old, i), *b = json_array_get(new, j);
            if (a == NULL && b == NULL)
                break;
            int ordered = a == NULL ? 1 : b == NULL ? -1 : order_runs(a, b);
            say_run(changes, ordered <= 0 ? a : NULL, ordered >= 0 ? b : NULL);
            i += ordered <= 0;
            j += ordered >= 0;
        }
    }
}

static void say_result(struct changes *changes, const json_t *old, const json_t *new) {
    const json_t *one = json_object_get(old, "result"), *two = json_object_get(new, "result");
    const json_t *from = json_object_get(one, "circumference_km");
    const json_t *to = json_object_get(two, "circumference_km");
    if (!json_is_number(from) || !json_is_number(to) ||
        json_number_value(from) == json_number_value(to))
        return;
    const double to_km = json_number_value(to), from_km = json_number_value(from);
    const double sigma_km = json_number_value(json_object_get(two, "sigma_km"));
    const double before_km = json_number_value(json_object_get(one, "sigma_km"));
    add(changes, "result", NULL, NULL, 0,
        json_pack("{s:f, s:f, s:f, s:f}", "circumference_km", to_km, "sigma_km", sigma_km,
                  "circumference_before_km", from_km, "sigma_before_km", before_km),
        "The circumference is %.1f km, sigma %.1f km; before it was %.1f km, sigma %.1f km.", to_km,
        sigma_km, from_km, before_km);
}

json_t *edition_changes(const json_t *before, const json_t *records, const json_t *figures) {
    struct changes changes = {.list = json_array()};
    const json_t *old = json_object_get(before, "records");
    const char *method = text_of(before, "method");
    say_result(&changes, json_object_get(before, "figures"), figures);
    if (strcmp(method, REDUCE_METHOD) != 0)
        add(&changes, "method", NULL, NULL, 0,
            json_pack("{s:s, s:s}", "method", REDUCE_METHOD, "method_before", method),
            "It is worked out by method %s; before by %s.", REDUCE_METHOD, method);
    walk_days(&changes, json_object_get(old, "days"), json_object_get(records, "days"));
    walk(&changes, json_object_get(old, "sites"), json_object_get(records, "sites"), order_sites,
         say_site);
    walk_runs(&changes, json_object_get(old, "runs"), json_object_get(records, "runs"),
              json_object_get(records, "days"));
    walk(&changes, json_object_get(old, "exclusions"), json_object_get(records, "exclusions"),
         order_exclusions, say_exclusion);
    return changes.list;
}
