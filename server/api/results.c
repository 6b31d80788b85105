/* SPDX-License-Identifier: MIT */
/* results: what a day came to: pairs, the combined circumference, the tables. */
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/days.h"
#include "server/rules/figures.h"
#include "server/rules/line.h"
#include "server/rules/pairs.h"
#include "server/rules/runs.h"
#include "server/rules/sites.h"
#include "server/wire/geojson.h"
#include "server/wire/record_write.h"
#include "server/wire/spreadsheet.h"

int get_pairs(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct book_view view = lookup_view(lookup);
    struct page page;
    struct pair_page pairs;
    struct json_writer json;
    if (request_page(&exchange->request, &page, err) != 0 ||
        pair_list(&view, exchange->request.param[0], page.cursor, page.limit, &pairs, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "pairs");
    for (size_t i = 0; i < pairs.count; i++)
        record_write_pair(&json, NULL, &pairs.items[i]);
    json_write_end(&json);
    render_next(&json, pairs.next);
    json_write_end(&json);
    pair_page_release(&pairs);
    return 0;
}

int get_pairs_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct book_view view = lookup_view(lookup);
    struct pair_page pairs;
    struct csv_writer csv;
    if (pair_list(&view, exchange->request.param[0], "", LIST_LIMIT_ALL, &pairs, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    sheet_write_pairs_header(&csv);
    for (size_t i = 0; i < pairs.count; i++)
        sheet_write_pair(&csv, &pairs.items[i]);
    pair_page_release(&pairs);
    return 0;
}

int get_site_pairs(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const struct book_view view = lookup_view(lookup);
    struct page page;
    struct pair_page pairs;
    struct json_writer json;
    if (request_page(request, &page, err) != 0 ||
        pair_list_of_site(&view, request->param[0], request->param[1], page.limit, &pairs, err) !=
            0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "pairs");
    for (size_t i = 0; i < pairs.count; i++)
        record_write_pair(&json, NULL, &pairs.items[i]);
    json_write_end(&json);
    json_write_end(&json);
    pair_page_release(&pairs);
    return 0;
}

static void share(struct response *response, struct blob *blob) {
    response->content_type = "application/json";
    response->shared = blob;
}

int get_result(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct book_view view = lookup_view(lookup);
    struct figures *figures;
    if (figures_of_day(&view, exchange->request.param[0], exchange->request.now_utc_s, &figures,
                       err) != 0)
        return -1;
    share(&exchange->response, blob_hold(figures->result));
    figures_release(figures);
    return 0;
}

bool quick_result(struct book *book, struct exchange *exchange) {
    struct figures *figures =
        figures_at_hand(book, exchange->request.param[0], exchange->request.now_utc_s);
    if (figures == NULL)
        return false;
    share(&exchange->response, blob_hold(figures->result));
    figures_release(figures);
    return true;
}

int get_leaderboard(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct book_view view = lookup_view(lookup);
    struct page page;
    struct figures *figures;
    if (request_page(&exchange->request, &page, err) != 0 ||
        figures_of_day(&view, exchange->request.param[0], exchange->request.now_utc_s, &figures,
                       err) != 0)
        return -1;
    struct blob *blob = figures_leaderboard(figures, page.limit);
    figures_release(figures);
    if (blob == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    share(&exchange->response, blob);
    return 0;
}

bool quick_leaderboard(struct book *book, struct exchange *exchange) {
    struct page page;
    struct err unsaid = {.code = ERR_NONE};
    if (request_page(&exchange->request, &page, &unsaid) != 0)
        return false; /* said by whoever reads */
    struct figures *figures =
        figures_at_hand(book, exchange->request.param[0], exchange->request.now_utc_s);
    struct blob *blob = figures == NULL ? NULL : figures_leaderboard_at_hand(figures, page.limit);
    figures_release(figures);
    if (blob == NULL)
        return false;
    share(&exchange->response, blob);
    return true;
}

int get_reductions_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct reduction_lines lines;
    struct csv_writer csv;
    if (reduction_lines(lookup->db, exchange->request.param[0], &lines, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    sheet_write_reductions_header(&csv);
    for (size_t i = 0; i < lines.count; i++)
        sheet_write_reduction(&csv, &lines.items[i]);
    reduction_lines_release(&lines);
    return 0;
}

int get_line_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct line_record *points = NULL;
    struct csv_writer csv;
    size_t count = 0;
    if (line_points(lookup->db, exchange->request.param[0], &points, &count, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    sheet_write_line_header(&csv);
    for (size_t i = 0; i < count; i++)
        sheet_write_line(&csv, &points[i]);
    free(points);
    return 0;
}

/* Lines and participants are both by site; who has a run takes part. */
int get_reductions_geojson(const struct lookup *lookup, struct exchange *exchange,
                           struct err *err) {
    const char *day = exchange->request.param[0];
    struct reduction_lines lines;
    struct participant_page page;
    int status = -1;
    if (reduction_lines(lookup->db, day, &lines, err) != 0)
        return -1;
    if (day_participants(lookup->db, day, "", LIST_LIMIT_ALL, &page, err) != 0) {
        reduction_lines_release(&lines);
        return -1;
    }
    struct site_record *sites = calloc(lines.count + 1, sizeof *sites);
    size_t kept = 0;
    if (sites == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0, at = 0; i < lines.count; i++) {
        while (at < page.count && strcmp(page.items[at].site.site, lines.items[i].site) < 0)
            at++;
        if (at == page.count || strcmp(page.items[at].site.site, lines.items[i].site) != 0)
            continue;
        sites[kept] = page.items[at].site;
        lines.items[kept++] = lines.items[i];
    }
    exchange->response.content_type = "application/geo+json";
    geojson_write_noons(&exchange->response.body, sites, lines.items, kept);
    status = 0;
cleanup:
    free(sites);
    participant_page_release(&page);
    reduction_lines_release(&lines);
    return status;
}
