/* SPDX-License-Identifier: MIT */
/* sites: registering, revising and importing. */
#include "server/rules/sites.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/derive.h"
#include "server/rules/invitations.h"
#include "server/rules/lookup.h"
#include "server/rules/site_warnings.h"
#include "server/rules/slug.h"
#include "server/store/site_rows.h"

#define SLUG_TRIES 1000

void site_page_release(struct site_page *page) {
    free(page->items);
    *page = (struct site_page){0};
}

void site_import_release(struct site_import *import) {
    free(import->keys);
    *import = (struct site_import){0};
}

/* The identifier a new site gets: its own, or one made from its name. */
static int choose_id(struct db *db, struct site_record *site, struct err *err) {
    struct site_row row;
    if (site->site[0] != '\0') {
        enum found found = site_rows_find(db, site->site, &row, err);
        if (found == FOUND_ONE)
            return err_set(err, ERR_SITE_EXISTS, "/site",
                           "a site called %s exists; choose another identifier", site->site);
        return found == FOUND_FAILED ? -1 : 0;
    }
    for (int n = 1; n <= SLUG_TRIES; n++) {
        slug_make(site->name, n, site->site);
        enum found found = site_rows_find(db, site->site, &row, err);
        if (found != FOUND_ONE)
            return found == FOUND_FAILED ? -1 : 0;
    }
    return err_set(err, ERR_SITE_EXISTS, "/name",
                   "many sites have that name; choose an identifier (site) yourself");
}

/* asked: how it came in, NULL where it is not answered again. */
static int add_site(struct change *change, const struct caller *caller,
                    const struct site_record *site, const struct registering *asked,
                    double now_utc_s, struct site_secrets *secrets, struct err *err) {
    struct db *db = change_db(change);
    int64_t id, by = caller->credential;
    const bool once = asked && asked->idempotency_key;
    struct secret_seed seed = {.key = once ? asked->idempotency_key : NULL};
    secret_make_salt(seed.salt);
    return site_rows_add(db, site->site, now_utc_s, &id, err) ||
                   site_rows_add_version(db, id, 1, site, by, now_utc_s, err) ||
                   caller_add_site(change, id, once ? &seed : NULL, by, now_utc_s, secrets, err) ||
                   (once && registration_note(change, asked, id, &seed, now_utc_s, err)) ||
                   audit_note(change, caller, "site.register",
                              audit_subject("sites/%s", site->site).text, NULL, now_utc_s, err)
               ? -1
               : 0;
}

/* What a registration came with. */
static int accept_invitation(struct change *change, const struct caller *caller,
                             const struct site_record *record, double now_utc_s, struct err *err) {
    struct site_row row;
    char season[ID_MAX + 1];
    return lookup_site(change_db(change), record->site, &row, err) ||
                   invitation_use(change, caller, row.id, record->site, record->invitation,
                                  now_utc_s, season, err)
               ? -1
               : 0;
}

int site_register(struct change *change, const struct site_record *site, double now_utc_s,
                  struct site_record *out, struct site_secrets *secrets, struct err *err) {
    const struct registering asked = {.idempotency_key = NULL};
    return site_register_once(change, site, &asked, now_utc_s, out, secrets, err);
}

int site_register_once(struct change *change, const struct site_record *site,
                       const struct registering *asked, double now_utc_s, struct site_record *out,
                       struct site_secrets *secrets, struct err *err) {
    const struct caller anyone = {.role = ROLE_ANYONE};
    struct site_record record = *site;
    bool answered;
    site_record_settle(&record);
    if (registration_answered(change_db(change), asked, &answered, out, secrets, err))
        return -1;
    if (answered)
        return 0;
    if (choose_id(change_db(change), &record, err) ||
        site_refuse_duplicate(change_db(change), &record, err) ||
        add_site(change, &anyone, &record, asked, now_utc_s, secrets, err) ||
        (record.invitation[0] != '\0' &&
         accept_invitation(change, &anyone, &record, now_utc_s, err)))
        return -1;
    *out = record;
    return 0;
}

static bool same_real(double one, double two) {
    return one == two || (isnan(one) && isnan(two));
}

static bool same_place(const struct place *one, const struct place *two) {
    return one->lat_deg == two->lat_deg && one->lon_deg == two->lon_deg &&
           one->elevation_m == two->elevation_m && one->sigma_deg == two->sigma_deg;
}

static bool same_site(const struct site_record *one, const struct site_record *two) {
    return same_place(&one->exact, &two->exact) &&
           one->position_decimals == two->position_decimals && strcmp(one->name, two->name) == 0 &&
           strcmp(one->zone, two->zone) == 0 && strcmp(one->contact, two->contact) == 0 &&
           same_real(one->gnomon_mm, two->gnomon_mm) && one->edge == two->edge;
}

/* Every run of a site that moved is reduced anew. */
static int derive_anew(struct change *change, const struct site_row *site, struct err *err) {
    struct db *db = change_db(change);
    struct run_row *runs = NULL;
    size_t count = 0;
    if (run_rows_list(db, site->id, 0, INT64_MAX, &runs, &count, err))
        return -1;
    int failed = 0;
    for (size_t i = 0; i < count && !failed; i++) {
        failed = derive_run(db, change_almanac(change), &runs[i], site, err);
        change_touch(change, runs[i].day);
    }
    run_rows_release(runs, count);
    return failed ? -1 : 0;
}

/* What is new, by the names of the fields. */
static void list_changes(const struct site_record *old, const struct site_record *new,
                         char out[AUDIT_DETAIL_MAX + 1]) {
    const struct {
        const char *field;
        bool same;
    } rows[] = {
        {"name", strcmp(old->name, new->name) == 0},
        {"position",
         old->exact.lat_deg == new->exact.lat_deg && old->exact.lon_deg == new->exact.lon_deg},
        {"decimals of the position", old->position_decimals == new->position_decimals},
        {"elevation", old->exact.elevation_m == new->exact.elevation_m},
        {"zone", strcmp(old->zone, new->zone) == 0},
        {"gnomon", same_real(old->gnomon_mm, new->gnomon_mm)},
        {"edge", old->edge == new->edge},
        {"contact", strcmp(old->contact, new->contact) == 0},
    };
    size_t length = 0;
    out[0] = '\0';
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (!rows[i].same)
            length += (size_t)snprintf(out + length, AUDIT_DETAIL_MAX + 1 - length, "%s%s",
                                       length ? ", " : "", rows[i].field);
}

/* From what was typed to a whole record. What was left unsaid stays; and who sends
 * back the rounded position, which is all that the public record shows, does not mean
 * to lose the exact one. */
static void settle_change(const struct site_record *old, struct site_record *site) {
    if (site->contact_unsaid)
        memcpy(site->contact, old->contact, sizeof site->contact);
    site->contact_unsaid = false;
    if (site->position_decimals == POSITION_UNSAID)
        site->position_decimals = old->position_decimals;
    if (site->place.lat_deg == old->place.lat_deg && site->place.lon_deg == old->place.lon_deg) {
        site->place.lat_deg = old->exact.lat_deg;
        site->place.lon_deg = old->exact.lon_deg;
    }
    if (site->place.elevation_m == old->place.elevation_m)
        site->place.elevation_m = old->exact.elevation_m;
    site_record_settle(site);
}

/* Appends a version unless nothing changed. */
static int revise(struct change *change, const struct caller *caller, const struct site_row *old,
                  const struct site_record *site, double now_utc_s, bool *changed,
                  struct err *err) {
    bool differs = !same_site(&old->record, site);
    if (differs) {
        struct site_row row = {.id = old->id, .version = old->version + 1, .record = *site};
        char changes[AUDIT_DETAIL_MAX + 1];
        list_changes(&old->record, site, changes);
        if (site_rows_add_version(change_db(change), row.id, row.version, site, caller->credential,
                                  now_utc_s, err) ||
            (!same_place(&old->record.place, &site->place) && derive_anew(change, &row, err)) ||
            audit_note(change, caller, "site.revise", audit_subject("sites/%s", site->site).text,
                       changes, now_utc_s, err))
            return -1;
    }
    *changed = differs;
    return 0;
}

int site_revise(struct change *change, const struct caller *caller, const struct site_record *site,
                double now_utc_s, struct site_record *out, struct err *err) {
    struct site_row old;
    struct site_record record = *site;
    bool changed;
    if (caller_may(caller, ROLE_SCHOOL, site->site, err) ||
        lookup_site(change_db(change), site->site, &old, err))
        return -1;
    settle_change(&old.record, &record);
    if (revise(change, caller, &old, &record, now_utc_s, &changed, err))
        return -1;
    *out = record;
    return 0;
}

/* What the spreadsheet left open stays as it is known. */
static void keep_known(const struct site_record *old, struct site_record *site) {
    if (strcmp(site->name, site->site) == 0)
        memcpy(site->name, old->name, sizeof site->name);
    if (site->zone[0] == '\0')
        memcpy(site->zone, old->zone, sizeof site->zone);
    site->contact_unsaid = site->contact[0] == '\0';
    settle_change(old, site);
}

static int import_one(struct change *change, const struct caller *caller,
                      const struct site_record *site, double now_utc_s, struct site_import *out,
                      struct err *err) {
    struct site_row old;
    struct site_record record = *site;
    enum found found = site_rows_find(change_db(change), site->site, &old, err);
    if (found == FOUND_FAILED)
        return -1;
    if (found == FOUND_NONE) {
        struct site_import_key *key = &out->keys[out->added];
        memcpy(key->site, site->site, sizeof key->site);
        site_record_settle(&record);
        if (add_site(change, caller, &record, NULL, now_utc_s, &key->secrets, err))
            return -1;
        out->added++;
        return 0;
    }
    bool changed;
    keep_known(&old.record, &record);
    if (revise(change, caller, &old, &record, now_utc_s, &changed, err))
        return -1;
    if (changed)
        out->changed++;
    else
        out->unchanged++;
    return 0;
}

int site_import(struct change *change, const struct caller *caller, const struct site_record *sites,
                size_t count, double now_utc_s, struct site_import *out, struct err *err) {
    if (caller_may(caller, ROLE_ORGANISER, NULL, err))
        return -1;
    struct site_import import = {.keys = calloc(count + 1, sizeof *import.keys)};
    if (!import.keys)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++)
        if (import_one(change, caller, &sites[i], now_utc_s, &import, err)) {
            site_import_release(&import);
            return -1;
        }
    *out = import;
    return 0;
}

int site_get(struct db *db, const char *site, struct site_record *out, struct err *err) {
    struct site_row row;
    if (lookup_site(db, site, &row, err))
        return -1;
    *out = row.record;
    return 0;
}

int site_list(struct db *db, const char *after, size_t limit, struct site_page *out,
              struct err *err) {
    struct site_page page = {0};
    if (site_rows_list(db, after, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count))
        memcpy(page.next, page.items[page.count - 1].site, sizeof page.next);
    *out = page;
    return 0;
}
