/* SPDX-License-Identifier: MIT */
/* keys: the secrets given out at registration, kept by server and site in
 * keys.json (mode 0600) below the configuration directory. They are printed
 * once, at registration, and never again; never logged; never passed on a
 * command line. */
#ifndef NOONARC_KEYS_H
#define NOONARC_KEYS_H

#include <stdbool.h>

#include "server/base/err.h"

#define KEYS_SECRET_MAX 128

/* What a secret may do, as named in the file; given: it came by option or
 * environment and is not kept here; session: the token of an organiser who logged in. */
enum key_kind { KEY_GIVEN, KEY_ORGANISER, KEY_SCHOOL, KEY_CLASS, KEY_SESSION };
#define KEY_KINDS 5
const char *key_kind_name(enum key_kind kind);

/* Site under which a server's organiser key is kept: no site can be called so. */
#define KEYS_ORGANISER_SITE "*"

/* True when the text can be a secret: 1..127 visible ASCII characters. */
bool keys_secret_valid(const char *secret);

/* Keeps a secret, replacing an earlier one of the same kind. */
int keys_save(const char *server, const char *site, enum key_kind kind, const char *secret,
              struct err *err) __attribute__((warn_unused_result));

/* Keeps a secret no longer; none is fine. */
int keys_forget(const char *server, const char *site, enum key_kind kind, struct err *err)
    __attribute__((warn_unused_result));

/* Looks a secret up: 1 found (out has KEYS_SECRET_MAX bytes), 0 none, -1 the
 * file cannot be read. */
int keys_find(const char *server, const char *site, enum key_kind kind, char *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
