/* SPDX-License-Identifier: MIT */
/* sessions: logging in and out. A page asks for a cookie and never sees the token; a
 * program gets the token and sends it as it would a key. */
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/session.h"
#include "server/wire/account_read.h"

struct logging_in {
    struct login_request asked;
    struct login login;   /* by name */
    struct caller caller; /* by key */
};

static void forget(void *carried) {
    sodium_memzero(carried, sizeof(struct logging_in));
}

static int check_password(struct exchange *exchange, struct err *err) {
    const struct logging_in *carried = exchange->carried;
    return session_check(&carried->login, carried->asked.password, err);
}

int post_session_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct logging_in *carried = exchange_carry(exchange, sizeof *carried, forget, err);
    if (carried == NULL ||
        account_read_login(request->body, request->body_length, &carried->asked, err) != 0)
        return -1;
    if (carried->asked.key[0] != '\0')
        return caller_resolve(lookup->db, carried->asked.key, request->now_utc_s, &carried->caller,
                              err);
    exchange->labour = check_password;
    return session_look_up(lookup->db, carried->asked.name, &carried->login, err);
}

static void write_caller(struct json_writer *json, const struct caller *caller) {
    json_write_text(json, "role", role_name(caller->role));
    json_write_text_or_null(json, "name", caller->name);
    json_write_text_or_null(json, "site", caller->site_id);
    json_write_instant(json, "expires_utc", caller->expires_utc_s, 0);
}

/* Secure where the page came that way: a school's own machine may speak plain HTTP. */
static void set_cookie(struct exchange *exchange, const char *token, double max_age_s) {
    const char *origin = exchange->request.origin;
    bool secure = origin != NULL && strncasecmp(origin, "https://", 8) == 0;
    snprintf(exchange->response.cookie, sizeof exchange->response.cookie,
             EXCHANGE_COOKIE "=%s; HttpOnly; SameSite=Strict; Path=/api; Max-Age=%.0f%s", token,
             max_age_s, secure ? "; Secure" : "");
}

int post_session(struct change *change, struct exchange *exchange, struct err *err) {
    const struct logging_in *carried = exchange->carried;
    const double now_utc_s = exchange->request.now_utc_s;
    struct session session;
    struct json_writer json;
    if (carried->asked.key[0] != '\0'
            ? session_start_as(change, &carried->caller, now_utc_s, &session, err)
            : session_start(change, carried->asked.name, &carried->login, now_utc_s, &session, err))
        return -1;
    render_created(&exchange->response, "/api/v1/session");
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    if (carried->asked.cookie)
        set_cookie(exchange, session.token, session.caller.expires_utc_s - now_utc_s);
    else
        json_write_text(&json, "token", session.token);
    write_caller(&json, &session.caller);
    json_write_end(&json);
    sodium_memzero(&session, sizeof session);
    return 0;
}

int get_session(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct json_writer json;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 || caller_known(&caller, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    write_caller(&json, &caller);
    json_write_end(&json);
    return 0;
}

int delete_session_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller *caller = exchange_carry(exchange, sizeof *caller, NULL, err);
    if (caller == NULL || exchange_caller(lookup, exchange, caller, err) != 0)
        return -1;
    return caller_known(caller, err);
}

int delete_session(struct change *change, struct exchange *exchange, struct err *err) {
    if (session_end(change, exchange->carried, exchange->request.now_utc_s, err) != 0)
        return -1;
    set_cookie(exchange, "", 0.0);
    exchange->response.status = 204;
    return 0;
}
