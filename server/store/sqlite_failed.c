/* SPDX-License-Identifier: MIT */
#include "server/store/sqlite_failed.h"

#include <stddef.h>

#include "server/base/log.h"

int sqlite_failed(sqlite3 *handle, const char *doing, int code, struct err *err) {
    const char *why = handle ? sqlite3_errmsg(handle) : sqlite3_errstr(code);
    log_line(NOONARC_LOG_ERROR, "store: %s: %s (%d)", doing, why, code);
    switch (code & 0xff) {
    case SQLITE_FULL:
        return err_set(err, ERR_STORAGE, NULL,
                       "the disk of the store is full; nothing was changed; try again later");
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return err_set(err, ERR_STORAGE, NULL,
                       "the store may not be written to; nothing was changed");
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return err_set(err, ERR_STORAGE, NULL,
                       "something else holds the store; nothing was changed; try again");
    case SQLITE_CANTOPEN:
        return err_set(err, ERR_STORAGE, NULL, "the store could not be opened");
    case SQLITE_NOTADB:
    case SQLITE_CORRUPT:
        return err_set(err, ERR_STORAGE, NULL, "the store is damaged or is not one of ours");
    default:
        return err_set(err, ERR_STORAGE, NULL,
                       "the store could not be read or written; nothing was changed");
    }
}
