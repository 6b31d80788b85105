/* SPDX-License-Identifier: MIT */
/* organisers: who runs the programme, and their passwords. */
#include "server/rules/organisers.h"

#include <sodium.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/wire/account_read.h"

int get_organisers(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct organiser_list list;
    struct json_writer json;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        organiser_list(lookup->db, &caller, &list, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_array(&json, "organisers");
    for (size_t i = 0; i < list.count; i++) {
        const struct organiser *item = &list.items[i];
        json_write_object(&json, NULL);
        json_write_text(&json, "organiser", item->organiser);
        json_write_text(&json, "name", item->name);
        json_write_text(&json, "comes_with", item->has_password ? "password" : "key");
        json_write_instant(&json, "since_utc", item->since_utc_s, 0);
        json_write_end(&json);
    }
    json_write_end(&json);
    json_write_end(&json);
    organiser_list_release(&list);
    return 0;
}

struct appointment {
    struct caller caller;
    struct organiser_request asked;
    char hash[PASSWORD_HASH_MAX]; /* "" none */
};

static void forget_appointment(void *carried) {
    sodium_memzero(carried, sizeof(struct appointment));
}

static int hash_password(struct exchange *exchange, struct err *err) {
    struct appointment *carried = exchange->carried;
    return password_hash(carried->asked.password, carried->hash, err);
}

int post_organisers_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct appointment *carried =
        exchange_carry(exchange, sizeof *carried, forget_appointment, err);
    if (carried == NULL || exchange_caller(lookup, exchange, &carried->caller, err) != 0 ||
        caller_may(&carried->caller, ROLE_ORGANISER, NULL, err) != 0 ||
        account_read_organiser(request->body, request->body_length, &carried->asked, err) != 0)
        return -1;
    if (carried->asked.password[0] == '\0')
        return 0;
    exchange->labour = hash_password;
    return password_acceptable(carried->asked.name, carried->asked.password, "/password", err);
}

int post_organisers(struct change *change, struct exchange *exchange, struct err *err) {
    const struct appointment *carried = exchange->carried;
    bool by_password = carried->hash[0] != '\0';
    char key[SECRET_MAX];
    struct json_writer json;
    if (organiser_add(change, &carried->caller, carried->asked.name,
                      by_password ? carried->hash : NULL, exchange->request.now_utc_s, key,
                      err) != 0)
        return -1;
    exchange->response.status = 201;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_text(&json, "name", carried->asked.name);
    json_write_text(&json, "comes_with", by_password ? "password" : "key");
    json_write_text(&json, "key", by_password ? NULL : key);
    json_write_end(&json);
    return 0;
}

int delete_organiser_check(const struct lookup *lookup, struct exchange *exchange,
                           struct err *err) {
    struct caller *caller = exchange_carry(exchange, sizeof *caller, NULL, err);
    if (caller == NULL || exchange_caller(lookup, exchange, caller, err) != 0)
        return -1;
    return caller_may(caller, ROLE_ORGANISER, NULL, err);
}

int delete_organiser(struct change *change, struct exchange *exchange, struct err *err) {
    if (organiser_remove(change, exchange->carried, exchange->request.param[0],
                         exchange->request.now_utc_s, err) != 0)
        return -1;
    exchange->response.status = 204;
    return 0;
}

struct password_exchange {
    struct caller caller;
    struct password_request asked;
    struct password_change work;
};

static void forget_password(void *carried) {
    sodium_memzero(carried, sizeof(struct password_exchange));
}

static int work_on_password(struct exchange *exchange, struct err *err) {
    struct password_exchange *carried = exchange->carried;
    const char *old = carried->asked.old_password;
    return organiser_hash(&carried->work, old[0] == '\0' ? NULL : old, carried->asked.password,
                          err);
}

int put_password_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct password_exchange *carried =
        exchange_carry(exchange, sizeof *carried, forget_password, err);
    if (carried == NULL || exchange_caller(lookup, exchange, &carried->caller, err) != 0 ||
        caller_may(&carried->caller, ROLE_ORGANISER, NULL, err) != 0 ||
        account_read_password(request->body, request->body_length, &carried->asked, err) != 0 ||
        password_acceptable(request->param[0], carried->asked.password, "/password", err) != 0)
        return -1;
    exchange->labour = work_on_password;
    return organiser_look_up(lookup->db, &carried->caller, request->param[0],
                             carried->asked.old_password[0] != '\0', &carried->work, err);
}

int put_password(struct change *change, struct exchange *exchange, struct err *err) {
    const struct password_exchange *carried = exchange->carried;
    if (organiser_set_password(change, &carried->caller, exchange->request.param[0], &carried->work,
                               exchange->request.now_utc_s, err) != 0)
        return -1;
    exchange->response.status = 204;
    return 0;
}
