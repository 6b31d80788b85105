/* SPDX-License-Identifier: MIT */
/* sqlite_failed: what SQLite's codes mean to people. For the files that stand
 * directly on SQLite, and no others. */
#ifndef NOONARC_SQLITE_FAILED_H
#define NOONARC_SQLITE_FAILED_H

#include <sqlite3.h>

#include "server/base/err.h"

/* The sentence for the caller (ERR_STORAGE) and the line for the operator. handle
 * may be NULL. Returns -1. */
int sqlite_failed(sqlite3 *handle, const char *doing, int code, struct err *err);

#endif
