/* SPDX-License-Identifier: MIT */
#include "server/wire/account_read.h"

#include "server/wire/field.h"
#include "server/wire/json_read.h"

#define AT(type, member) .offset = offsetof(type, member)
#define ROOM(type, member) AT(type, member), .size = sizeof(((type *)NULL)->member)
#define TABLE(name, rows)                                                                          \
    { name, rows, sizeof(rows) / sizeof(rows)[0] }

/* clang-format off */
static const struct field login_rows[] = {
    {"name",     FIELD_ID,   false, ROOM(struct login_request, name)},
    {"password", FIELD_TEXT, false, ROOM(struct login_request, password)},
    {"key",      FIELD_TEXT, false, ROOM(struct login_request, key)},
    {"cookie",   FIELD_BOOL, false, AT(struct login_request, cookie)},
};
static const struct field_table login_fields = TABLE("a log-in", login_rows);

static const struct field organiser_rows[] = {
    {"name",     FIELD_ID,   true,  ROOM(struct organiser_request, name)},
    {"password", FIELD_TEXT, false, ROOM(struct organiser_request, password)},
};
static const struct field_table organiser_fields = TABLE("an organiser", organiser_rows);

static const struct field password_rows[] = {
    {"password",     FIELD_TEXT, true,  ROOM(struct password_request, password)},
    {"old_password", FIELD_TEXT, false, ROOM(struct password_request, old_password)},
};
static const struct field_table password_fields = TABLE("a change of password", password_rows);

static const struct field code_rows[] = {
    {"valid_h", FIELD_REAL, false, .min = CLASS_CODE_VALID_MIN_H, .max = CLASS_CODE_VALID_MAX_H, .unit = "hours"},
};
static const struct field_table code_fields = TABLE("a class code", code_rows);
/* clang-format on */

int account_read_login(const char *json, size_t length, struct login_request *out,
                       struct err *err) {
    struct login_request login = {.cookie = false};
    if (json_read_record(json, length, &login_fields, &login, NULL, err) < 0)
        return -1;
    bool by_key = login.key[0] != '\0';
    if (by_key && (login.name[0] != '\0' || login.password[0] != '\0'))
        return err_set(err, ERR_OUT_OF_RANGE, "/key", "log in by name and password, or by a key");
    if (!by_key && login.name[0] == '\0')
        return err_set(err, ERR_MISSING_FIELD, "/name", "a log-in needs it, and the password");
    if (!by_key && login.password[0] == '\0')
        return err_set(err, ERR_MISSING_FIELD, "/password", "a log-in needs it");
    *out = login;
    return 0;
}

int account_read_organiser(const char *json, size_t length, struct organiser_request *out,
                           struct err *err) {
    struct organiser_request organiser = {{0}};
    if (json_read_record(json, length, &organiser_fields, &organiser, NULL, err) < 0)
        return -1;
    *out = organiser;
    return 0;
}

int account_read_password(const char *json, size_t length, struct password_request *out,
                          struct err *err) {
    struct password_request change = {{0}};
    if (json_read_record(json, length, &password_fields, &change, NULL, err) < 0)
        return -1;
    *out = change;
    return 0;
}

int account_read_class_code(const char *json, size_t length, double *valid_h, struct err *err) {
    return length == 0 ? 0 : json_read_record(json, length, &code_fields, valid_h, NULL, err);
}
