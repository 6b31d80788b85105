/* SPDX-License-Identifier: MIT */
/* recognise: what a file is, before anything is done to it. A store of ours carries a
 * mark in its first page (SQLite's application_id, bytes 68 to 71 of the file); one
 * made before there was a mark is known by its table of migrations. */
#ifndef NOONARC_RECOGNISE_H
#define NOONARC_RECOGNISE_H

#include "server/base/err.h"

#define STORE_MARK 0x6e6f6f6e /* "noon" */

enum store_kind {
    STORE_NONE, /* no file, or an empty one */
    STORE_OURS,
    STORE_FOREIGN /* anything else */
};

/* Only looks: nothing is made beside the file either. Not while this process has the
 * store open: closing a file drops the locks that the database has on it. Returns -1
 * with ERR_STORAGE when the file cannot be read. */
int store_recognise(const char *path, enum store_kind *kind, struct err *err)
    __attribute__((warn_unused_result));

/* ERR_STORAGE unless it is one of ours. */
int store_require(const char *path, struct err *err) __attribute__((warn_unused_result));

/* ERR_STORAGE when it is something else than a store or room for one. */
int store_permit(const char *path, struct err *err) __attribute__((warn_unused_result));

#endif
