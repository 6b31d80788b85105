/* SPDX-License-Identifier: MIT */
/* account_read: bodies about people who log in and the secrets they hold. Texts are
 * checked for form only; an error never repeats a secret. */
#ifndef NOONARC_ACCOUNT_READ_H
#define NOONARC_ACCOUNT_READ_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/records.h"

#define PASSWORD_MAX_BYTES 200
#define ACCOUNT_KEY_MAX_BYTES 80
#define CLASS_CODE_VALID_MIN_H 1.0
#define CLASS_CODE_VALID_MAX_H 8784.0

/* {"name", "password"} or {"key"}, and "cookie"? */
struct login_request {
    char name[ID_MAX + 1];
    char password[PASSWORD_MAX_BYTES + 1];
    char key[ACCOUNT_KEY_MAX_BYTES + 1];
    bool cookie;
};
int account_read_login(const char *json, size_t length, struct login_request *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"name", "password"?} */
struct organiser_request {
    char name[ID_MAX + 1];
    char password[PASSWORD_MAX_BYTES + 1]; /* "" none */
};
int account_read_organiser(const char *json, size_t length, struct organiser_request *out,
                           struct err *err) __attribute__((warn_unused_result));

/* {"password", "old_password"?} */
struct password_request {
    char password[PASSWORD_MAX_BYTES + 1];
    char old_password[PASSWORD_MAX_BYTES + 1]; /* "" none */
};
int account_read_password(const char *json, size_t length, struct password_request *out,
                          struct err *err) __attribute__((warn_unused_result));

/* {"valid_h"?} or no body at all; *valid_h stays as it is when not said. */
int account_read_class_code(const char *json, size_t length, double *valid_h, struct err *err)
    __attribute__((warn_unused_result));

#endif
