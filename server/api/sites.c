/* SPDX-License-Identifier: MIT */
/* sites: playgrounds. Anyone may read them and register one; the secrets of a
 * new one are in that answer and nowhere else. */
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/site_warnings.h"
#include "server/rules/sites.h"
#include "server/wire/geojson.h"
#include "server/wire/personal.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"
#include "server/wire/spreadsheet.h"

/* Organisers, and the school itself, see what it gave; everybody else what it lets out.
 * A page's stale cookie leaves one a reader like all others; a wrong key is refused. */
static int sees_all(const struct lookup *lookup, struct exchange *exchange, const char *site,
                    bool *out, struct err *err) {
    struct caller caller;
    struct err refused = {0};
    if (exchange_caller(lookup, exchange, &caller, err) != 0)
        return -1;
    *out = caller_may(&caller, ROLE_SCHOOL, site, &refused) == 0;
    if (*out)
        exchange->response.no_store = true;
    return 0;
}

static void write_site(struct json_writer *json, const char *key, const struct site_record *site,
                       bool all) {
    if (all)
        record_write_site_own(json, key, site);
    else
        record_write_site(json, key, site);
}

int get_sites(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct page page;
    struct site_page sites;
    struct json_writer json;
    bool all;
    if (request_page(&exchange->request, &page, err) != 0 ||
        sees_all(lookup, exchange, NULL, &all, err) != 0 ||
        site_list(lookup->db, page.cursor, page.limit, &sites, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < sites.count; i++)
        write_site(&json, NULL, &sites.items[i], all);
    json_write_end(&json);
    render_next(&json, sites.next);
    json_write_end(&json);
    site_page_release(&sites);
    return 0;
}

int get_sites_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct site_page sites;
    struct csv_writer csv;
    bool all;
    if (sees_all(lookup, exchange, NULL, &all, err) != 0 ||
        site_list(lookup->db, "", LIST_LIMIT_ALL, &sites, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    if (all)
        sheet_write_own_sites_header(&csv);
    else
        sheet_write_sites_header(&csv);
    for (size_t i = 0; i < sites.count; i++)
        if (all)
            sheet_write_own_site(&csv, &sites.items[i]);
        else
            sheet_write_site(&csv, &sites.items[i]);
    site_page_release(&sites);
    return 0;
}

int get_sites_geojson(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct site_page sites;
    if (site_list(lookup->db, "", LIST_LIMIT_ALL, &sites, err) != 0)
        return -1;
    exchange->response.content_type = "application/geo+json";
    geojson_write_sites(&exchange->response.body, sites.items, sites.count);
    site_page_release(&sites);
    return 0;
}

static void render_site(struct response *response, const struct site_record *site, bool all) {
    response->content_type = "application/json";
    struct json_writer json;
    json_write_init(&json, &response->body);
    write_site(&json, NULL, site, all);
}

int get_site(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct site_record site;
    bool all;
    if (sees_all(lookup, exchange, exchange->request.param[0], &all, err) != 0 ||
        site_get(lookup->db, exchange->request.param[0], &site, err) != 0)
        return -1;
    render_site(&exchange->response, &site, all);
    return 0;
}

struct registration {
    struct site_record site;
    struct registering asked;
};

int post_sites_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    (void)lookup;
    const struct request *request = &exchange->request;
    struct registration *registration = exchange_carry(exchange, sizeof *registration, NULL, err);
    if (registration == NULL ||
        request_secret_key(request, &registration->asked.idempotency_key, err) != 0)
        return -1;
    registration->asked.body = request->body;
    registration->asked.body_length = request->body_length;
    return record_read_site(request->body, request->body_length, &registration->site, err);
}

int post_sites(struct change *change, struct exchange *exchange, struct err *err) {
    const struct registration *registration = exchange->carried;
    struct site_record site;
    struct site_secrets secrets;
    struct warnings warnings = {.count = 0};
    struct json_writer json;
    struct response *response = &exchange->response;
    if (site_register_once(change, &registration->site, &registration->asked,
                           exchange->request.now_utc_s, &site, &secrets, err) != 0 ||
        site_warn(change_db(change), &site, &warnings, err) != 0)
        return -1;
    render_created(response, "/api/v1/sites/%s", site.site);
    response->no_store = true;
    render_json(response, &json);
    record_write_site_own(&json, "site", &site);
    json_write_text(&json, "school_key", secrets.school_key);
    json_write_text(&json, "class_code", secrets.class_code);
    json_write_instant(&json, "class_code_expires_utc", secrets.class_code_expires_utc_s, 0);
    personal_warn("/name", site.name, &warnings);
    warning_write(&json, &warnings);
    json_write_end(&json);
    return 0;
}

struct revision {
    struct caller caller;
    struct site_record site;
};

int put_site_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct revision *revision = exchange_carry(exchange, sizeof *revision, NULL, err);
    if (revision == NULL || exchange_caller(lookup, exchange, &revision->caller, err) != 0 ||
        caller_may(&revision->caller, ROLE_SCHOOL, request->param[0], err) != 0 ||
        record_read_site(request->body, request->body_length, &revision->site, err) != 0)
        return -1;
    struct site_record *site = &revision->site;
    if (site->invitation[0] != '\0')
        return err_set(err, ERR_UNKNOWN_FIELD, "/invitation",
                       "a site that is registered accepts an invitation at %s/invitations",
                       request->path);
    if (site->site[0] != '\0' && strcmp(site->site, request->param[0]) != 0)
        return err_set(err, ERR_OUT_OF_RANGE, "/site", "a site keeps its identifier, \"%s\"",
                       request->param[0]);
    memcpy(site->site, request->param[0], sizeof site->site);
    return 0;
}

int put_site(struct change *change, struct exchange *exchange, struct err *err) {
    const struct revision *revision = exchange->carried;
    struct site_record site;
    struct warnings warnings = {.count = 0};
    struct json_writer json;
    if (site_revise(change, &revision->caller, &revision->site, exchange->request.now_utc_s, &site,
                    err) != 0 ||
        site_warn(change_db(change), &site, &warnings, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    record_write_site_own_fields(&json, &site);
    personal_warn("/name", site.name, &warnings);
    warning_write(&json, &warnings);
    json_write_end(&json);
    return 0;
}

struct site_sheet {
    struct caller caller;
    struct site_record *sites;
    size_t count;
};

static void site_sheet_release(void *carried) {
    struct site_sheet *sheet = carried;
    free(sheet->sites);
}

int post_sites_csv_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct site_sheet *sheet = exchange_carry(exchange, sizeof *sheet, site_sheet_release, err);
    if (sheet == NULL || exchange_caller(lookup, exchange, &sheet->caller, err) != 0 ||
        caller_may(&sheet->caller, ROLE_ORGANISER, NULL, err) != 0)
        return -1;
    return sheet_read_sites(request->body, request->body_length, &sheet->sites, &sheet->count, err);
}

/* Of the sites that are new; both lists are in the order of the spreadsheet. */
static int warn_of_new(struct db *db, const struct site_sheet *sheet,
                       const struct site_import *import, struct warnings *warnings,
                       struct err *err) {
    size_t next = 0;
    for (size_t i = 0; i < sheet->count && next < import->added; i++) {
        struct site_record site = sheet->sites[i];
        if (strcmp(site.site, import->keys[next].site) != 0)
            continue;
        next++;
        site_record_settle(&site);
        if (site_warn_of(db, &site, warnings, err) != 0)
            return -1;
    }
    return 0;
}

int post_sites_csv(struct change *change, struct exchange *exchange, struct err *err) {
    const struct site_sheet *sheet = exchange->carried;
    struct site_import import;
    struct warnings warnings = {.count = 0};
    struct json_writer json;
    if (site_import(change, &sheet->caller, sheet->sites, sheet->count, exchange->request.now_utc_s,
                    &import, err) != 0)
        return -1;
    if (warn_of_new(change_db(change), sheet, &import, &warnings, err) != 0) {
        site_import_release(&import);
        return -1;
    }
    exchange->response.status = 201;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_integer(&json, "sites", (int64_t)import.added);
    json_write_integer(&json, "changed", (int64_t)import.changed);
    json_write_integer(&json, "unchanged", (int64_t)import.unchanged);
    json_write_array(&json, "keys");
    for (size_t i = 0; i < import.added; i++) {
        json_write_object(&json, NULL);
        json_write_text(&json, "site", import.keys[i].site);
        json_write_text(&json, "school_key", import.keys[i].secrets.school_key);
        json_write_text(&json, "class_code", import.keys[i].secrets.class_code);
        json_write_instant(&json, "class_code_expires_utc",
                           import.keys[i].secrets.class_code_expires_utc_s, 0);
        json_write_end(&json);
    }
    json_write_end(&json);
    warning_write(&json, &warnings);
    json_write_end(&json);
    site_import_release(&import);
    return 0;
}
