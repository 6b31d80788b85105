/* SPDX-License-Identifier: MIT */
/* invitations: an organiser's list of schools, and the codes schools come back with.
 * A code is in the answer that makes it and nowhere else. */
#include "server/rules/invitations.h"

#include <stdio.h>

#include "server/api/render.h"
#include "server/api/resources.h"

struct inviting {
    struct caller caller;
    struct invitation_sheet sheet;
    struct row_errors errors;
};

static void inviting_release(void *carried) {
    struct inviting *inviting = carried;
    invitation_sheet_release(&inviting->sheet);
}

/* Every row that is wrong is told, not the first alone. */
static int tell_rows(struct response *response, const struct row_errors *errors) {
    struct json_writer json;
    if (errors->count > 0) {
        json_write_init(&json, &response->row_errors);
        row_errors_write(&json, errors);
    }
    return -1;
}

int post_invitations_check(const struct lookup *lookup, struct exchange *exchange,
                           struct err *err) {
    const struct request *request = &exchange->request;
    struct inviting *inviting = exchange_carry(exchange, sizeof *inviting, inviting_release, err);
    if (inviting == NULL || exchange_caller(lookup, exchange, &inviting->caller, err) != 0 ||
        caller_may(&inviting->caller, ROLE_ORGANISER, NULL, err) != 0)
        return -1;
    return invitation_sheet_read(request->body, request->body_length, &inviting->sheet,
                                 &inviting->errors, err);
}

int post_invitations(struct change *change, struct exchange *exchange, struct err *err) {
    struct inviting *inviting = exchange->carried;
    struct response *response = &exchange->response;
    struct invited invited;
    struct json_writer json;
    if (invite(change, &inviting->caller, exchange->request.param[0], &inviting->sheet,
               exchange->request.now_utc_s, &invited, &inviting->errors, err) != 0)
        return tell_rows(response, &inviting->errors);
    response->status = 201;
    response->no_store = true;
    render_json(response, &json);
    json_write_array(&json, "invited");
    for (size_t i = 0; i < invited.count; i++) {
        json_write_object(&json, NULL);
        json_write_text(&json, "name", inviting->sheet.rows[i].name);
        json_write_text_or_null(&json, "contact", inviting->sheet.rows[i].contact);
        json_write_text(&json, "invitation", invited.codes[i].code);
        json_write_end(&json);
    }
    json_write_end(&json);
    json_write_end(&json);
    invited_release(&invited);
    return 0;
}

int get_invitations(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct page page;
    struct caller caller;
    struct invitation_page invitations;
    struct json_writer json;
    int64_t after = 0;
    char next[24] = "";
    if (request_page(request, &page, err) != 0 || page_number_cursor(&page, &after, err) != 0 ||
        exchange_caller(lookup, exchange, &caller, err) != 0 ||
        invitation_list(lookup->db, &caller, request->param[0], after, page.limit, &invitations,
                        err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_array(&json, "invitations");
    for (size_t i = 0; i < invitations.count; i++)
        invitation_write(&json, &invitations.items[i]);
    json_write_end(&json);
    if (invitations.next != 0)
        snprintf(next, sizeof next, "%lld", (long long)invitations.next);
    render_next(&json, next);
    json_write_end(&json);
    invitation_page_release(&invitations);
    return 0;
}

struct redeeming {
    struct caller caller;
    struct invitation_code code;
};

int post_site_invitation_check(const struct lookup *lookup, struct exchange *exchange,
                               struct err *err) {
    const struct request *request = &exchange->request;
    struct redeeming *redeeming = exchange_carry(exchange, sizeof *redeeming, NULL, err);
    if (redeeming == NULL || exchange_caller(lookup, exchange, &redeeming->caller, err) != 0 ||
        caller_may(&redeeming->caller, ROLE_SCHOOL, request->param[0], err) != 0)
        return -1;
    return invitation_read_code(request->body, request->body_length, &redeeming->code, err);
}

int post_site_invitation(struct change *change, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const struct redeeming *redeeming = exchange->carried;
    char season[ID_MAX + 1];
    struct json_writer json;
    if (invitation_redeem(change, &redeeming->caller, request->param[0], redeeming->code.invitation,
                          request->now_utc_s, season, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_text(&json, "site", request->param[0]);
    json_write_text(&json, "season", season);
    json_write_end(&json);
    return 0;
}
