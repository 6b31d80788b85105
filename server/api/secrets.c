/* SPDX-License-Identifier: MIT */
/* secrets: a site's school key and class code, renewed by the school or, where they
 * were lost, by an organiser. The new one is in the answer and nowhere else. */
#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/wire/account_read.h"

struct renewal {
    struct caller caller;
    double valid_h;
};

static struct renewal *check(const struct lookup *lookup, struct exchange *exchange,
                             struct err *err) {
    struct renewal *renewal = exchange_carry(exchange, sizeof *renewal, NULL, err);
    if (renewal == NULL || exchange_caller(lookup, exchange, &renewal->caller, err) != 0 ||
        caller_may(&renewal->caller, ROLE_SCHOOL, exchange->request.param[0], err) != 0)
        return NULL;
    return renewal;
}

int post_school_key_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check(lookup, exchange, err) == NULL ? -1 : 0;
}

int post_school_key(struct change *change, struct exchange *exchange, struct err *err) {
    const struct renewal *renewal = exchange->carried;
    char key[SECRET_MAX];
    struct json_writer json;
    if (caller_renew_school_key(change, &renewal->caller, exchange->request.param[0],
                                exchange->request.now_utc_s, key, err) != 0)
        return -1;
    exchange->response.status = 201;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_text(&json, "school_key", key);
    json_write_end(&json);
    return 0;
}

int post_class_code_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct renewal *renewal = check(lookup, exchange, err);
    if (renewal == NULL)
        return -1;
    renewal->valid_h = CLASS_CODE_VALID_H;
    return account_read_class_code(exchange->request.body, exchange->request.body_length,
                                   &renewal->valid_h, err);
}

int post_class_code(struct change *change, struct exchange *exchange, struct err *err) {
    const struct renewal *renewal = exchange->carried;
    struct class_code code;
    struct json_writer json;
    if (caller_renew_class_code(change, &renewal->caller, exchange->request.param[0],
                                renewal->valid_h, exchange->request.now_utc_s, &code, err) != 0)
        return -1;
    exchange->response.status = 201;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_text(&json, "class_code", code.code);
    json_write_instant(&json, "expires_utc", code.expires_utc_s, 0);
    json_write_end(&json);
    return 0;
}

int delete_class_code_check(const struct lookup *lookup, struct exchange *exchange,
                            struct err *err) {
    return check(lookup, exchange, err) == NULL ? -1 : 0;
}

int delete_class_code(struct change *change, struct exchange *exchange, struct err *err) {
    const struct renewal *renewal = exchange->carried;
    if (caller_revoke_class_code(change, &renewal->caller, exchange->request.param[0],
                                 exchange->request.now_utc_s, err) != 0)
        return -1;
    exchange->response.status = 204;
    return 0;
}
