/* SPDX-License-Identifier: MIT */
/* seasons: programmes of days. Anyone may look, organisers open and change them. */
#include "server/rules/seasons.h"

#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

int get_seasons(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct page page;
    struct season_page seasons;
    struct json_writer json;
    if (request_page(&exchange->request, &page, err) != 0 ||
        season_list(lookup->db, page.cursor, page.limit, &seasons, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "seasons");
    for (size_t i = 0; i < seasons.count; i++)
        record_write_season(&json, NULL, &seasons.items[i]);
    json_write_end(&json);
    render_next(&json, seasons.next);
    json_write_end(&json);
    season_page_release(&seasons);
    return 0;
}

static void render_season(struct response *response, const struct season_record *season) {
    struct json_writer json;
    response->content_type = "application/json";
    json_write_init(&json, &response->body);
    record_write_season(&json, NULL, season);
}

int get_season(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct season_record season;
    if (season_get(lookup->db, exchange->request.param[0], &season, err) != 0)
        return -1;
    render_season(&exchange->response, &season);
    return 0;
}

struct season_change {
    struct caller caller;
    struct season_record season;
};

static int check_season(const struct lookup *lookup, struct exchange *exchange,
                        struct season_change **out, struct err *err) {
    const struct request *request = &exchange->request;
    struct season_change *wanted = exchange_carry(exchange, sizeof *wanted, NULL, err);
    if (wanted == NULL || exchange_caller(lookup, exchange, &wanted->caller, err) != 0 ||
        caller_may(&wanted->caller, ROLE_ORGANISER, NULL, err) != 0 ||
        record_read_season(request->body, request->body_length, &wanted->season, err) != 0)
        return -1;
    *out = wanted;
    return 0;
}

int post_seasons_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct season_change *wanted;
    return check_season(lookup, exchange, &wanted, err);
}

int post_seasons(struct change *change, struct exchange *exchange, struct err *err) {
    const struct season_change *wanted = exchange->carried;
    struct season_record season;
    if (season_open(change, &wanted->caller, &wanted->season, exchange->request.now_utc_s, &season,
                    err) != 0)
        return -1;
    render_created(&exchange->response, "/api/v1/seasons/%s", season.season);
    render_season(&exchange->response, &season);
    return 0;
}

int put_season_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const char *name = exchange->request.param[0];
    struct season_change *wanted;
    if (check_season(lookup, exchange, &wanted, err) != 0)
        return -1;
    if (wanted->season.season[0] != '\0' && strcmp(wanted->season.season, name) != 0)
        return err_set(err, ERR_OUT_OF_RANGE, "/season", "a season keeps its identifier, \"%s\"",
                       name);
    memcpy(wanted->season.season, name, sizeof wanted->season.season);
    return 0;
}

int put_season(struct change *change, struct exchange *exchange, struct err *err) {
    const struct season_change *wanted = exchange->carried;
    struct season_record season;
    if (season_revise(change, &wanted->caller, &wanted->season, exchange->request.now_utc_s,
                      &season, err) != 0)
        return -1;
    render_season(&exchange->response, &season);
    return 0;
}
