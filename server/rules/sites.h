/* SPDX-License-Identifier: MIT */
/* sites: playgrounds come in, change and are listed. A change appends a version;
 * what was measured there is reduced anew with the newest one. */
#ifndef NOONARC_SITES_H
#define NOONARC_SITES_H

#include <stddef.h>
#include <stdint.h>

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/list.h"
#include "server/rules/registration.h"
#include "server/wire/records.h"

struct site_page {
    struct site_record *items; /* by identifier */
    size_t count;
    char next[ID_MAX + 1]; /* ask with after = this for what follows; "" at the end */
};
void site_page_release(struct site_page *page);

struct site_import {
    size_t added, changed, unchanged;
    struct site_import_key {
        char site[ID_MAX + 1];
        struct site_secrets secrets;
    } * keys; /* of the added ones, in the order of the spreadsheet */
};
void site_import_release(struct site_import *import);

/* WRITE, anyone. site->site "" gets one made from the name ("Colegio Ñandú" ->
 * "colegio-nandu", "-2" ... when taken). out: the record as kept. Refuses
 * ERR_SITE_EXISTS. */
int site_register(struct change *change, const struct site_record *site, double now_utc_s,
                  struct site_record *out, struct site_secrets *secrets, struct err *err)
    __attribute__((warn_unused_result));

/* The same as it came in: where that was answered before, by the same key and body, out
 * and secrets are what they were and nothing is done. ERR_KEY_REUSED. */
int site_register_once(struct change *change, const struct site_record *site,
                       const struct registering *asked, double now_utc_s, struct site_record *out,
                       struct site_secrets *secrets, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, school or organiser. site->site names the site; ERR_NOT_FOUND. What the
 * record leaves unsaid stays, and so does the exact position where the one let out
 * is sent back. An identical record appends nothing. */
int site_revise(struct change *change, const struct caller *caller, const struct site_record *site,
                double now_utc_s, struct site_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, organiser. All or nothing. What a spreadsheet need not have (name, zone, contact: name
 * equal to the identifier, others "") leaves what is known of a site as it is. */
int site_import(struct change *change, const struct caller *caller, const struct site_record *sites,
                size_t count, double now_utc_s, struct site_import *out, struct err *err)
    __attribute__((warn_unused_result));

/* READ. ERR_NOT_FOUND. */
int site_get(struct db *db, const char *site, struct site_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* READ. after "" starts; limit 1..LIST_LIMIT_MAX or LIST_LIMIT_ALL. */
int site_list(struct db *db, const char *after, size_t limit, struct site_page *out,
              struct err *err) __attribute__((warn_unused_result));

#endif
