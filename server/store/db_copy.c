/* SPDX-License-Identifier: MIT */
/* db_copy on SQLite's online backup. All pages go in one step: that holds one
 * state of the source still without keeping its writer waiting (write-ahead log),
 * where a copy in portions would begin anew with every commit. */
#include "server/store/db.h"

#include <sqlite3.h>

#include "server/store/sqlite_failed.h"

#define BUSY_TIMEOUT_MS 5000

static int copy_pages(sqlite3 *from, sqlite3 *to, struct err *err) {
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
    if (!backup)
        return sqlite_failed(to, "copy", sqlite3_errcode(to), err);
    int step = sqlite3_backup_step(backup, -1);
    int code = sqlite3_backup_finish(backup);
    if (code == SQLITE_OK && step != SQLITE_DONE)
        code = step; /* busy and locked are not told by finish */
    return code == SQLITE_OK ? 0 : sqlite_failed(NULL, "copy", code, err);
}

int db_copy(const char *from, const char *to, struct err *err) {
    sqlite3 *source = NULL, *copy = NULL;
    int result = -1;
    int code = sqlite3_open_v2(from, &source, SQLITE_OPEN_READWRITE, NULL);
    if (code != SQLITE_OK) {
        sqlite_failed(source, "open", code, err);
        goto cleanup;
    }
    code = sqlite3_open_v2(to, &copy, SQLITE_OPEN_READWRITE, NULL);
    if (code != SQLITE_OK) {
        sqlite_failed(copy, "open the copy", code, err);
        goto cleanup;
    }
    sqlite3_busy_timeout(source, BUSY_TIMEOUT_MS);
    if (copy_pages(source, copy, err))
        goto cleanup;
    /* A copy that needs no log beside it: it may be carried about. */
    code = sqlite3_exec(copy, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL);
    result = code == SQLITE_OK ? 0 : sqlite_failed(copy, "close the log", code, err);
cleanup:
    sqlite3_close(copy);
    sqlite3_close(source);
    return result;
}
