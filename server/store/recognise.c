/* SPDX-License-Identifier: MIT */
/* recognise: the head of the file is read as bytes; only where that is not enough is
 * the database asked, and told that the file will not change, so that it takes no
 * lock and makes no log. Layout of the head: https://www.sqlite.org/fileformat.html,
 * section 1.3. */
#include "server/store/recognise.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define HEAD_BYTES 100
#define MAGIC "SQLite format 3"
#define MARK_AT 68

/* "file:" and the path with what means something in an address taken out of harm. */
static bool write_address(const char *path, char *out, size_t size) {
    int length = snprintf(out, size, "file:");
    for (; *path != '\0' && length + 20 < (int)size; path++) {
        const char *form = strchr("%?#", *path) != NULL ? "%%%02x" : "%c";
        length += snprintf(out + length, size - (size_t)length, form, (unsigned char)*path);
    }
    snprintf(out + length, size - (size_t)length, "?immutable=1");
    return *path == '\0';
}

/* Whether a file without a mark has our table, or no table as yet. */
static bool looks_like_ours(const char *path) {
    static const char sql[] = "SELECT COUNT(*), SUM(name = 'migration') FROM sqlite_master";
    char address[3 * PATH_MAX];
    sqlite3 *file = NULL;
    sqlite3_stmt *answer = NULL;
    bool ours = false;
    if (write_address(path, address, sizeof address) &&
        sqlite3_open_v2(address, &file, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, NULL) ==
            SQLITE_OK &&
        sqlite3_prepare_v2(file, sql, -1, &answer, NULL) == SQLITE_OK &&
        sqlite3_step(answer) == SQLITE_ROW)
        ours = sqlite3_column_int(answer, 0) == 0 || sqlite3_column_int(answer, 1) == 1;
    sqlite3_finalize(answer);
    sqlite3_close(file);
    return ours;
}

int store_recognise(const char *path, enum store_kind *kind, struct err *err) {
    unsigned char head[HEAD_BYTES];
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0 && errno == ENOENT) {
        *kind = STORE_NONE;
        return 0;
    }
    ssize_t got = file < 0 ? -1 : read(file, head, sizeof head);
    int why = errno;
    if (file >= 0)
        close(file);
    if (got < 0)
        return err_set(err, ERR_STORAGE, NULL, "%s cannot be read: %s", path, strerror(why));
    if (got == 0) {
        *kind = STORE_NONE;
        return 0;
    }
    *kind = STORE_FOREIGN;
    if (got < HEAD_BYTES || memcmp(head, MAGIC, sizeof MAGIC) != 0)
        return 0;
    uint32_t mark = (uint32_t)head[MARK_AT] << 24 | (uint32_t)head[MARK_AT + 1] << 16 |
                    (uint32_t)head[MARK_AT + 2] << 8 | head[MARK_AT + 3];
    if (mark == STORE_MARK || (mark == 0 && looks_like_ours(path)))
        *kind = STORE_OURS;
    return 0;
}

static int refuse_foreign(const char *path, struct err *err) {
    return err_set(err, ERR_STORAGE, NULL, "%s is not a noonarc store; it was left as it is", path);
}

int store_require(const char *path, struct err *err) {
    enum store_kind kind = STORE_FOREIGN;
    if (store_recognise(path, &kind, err))
        return -1;
    if (kind == STORE_NONE)
        return err_set(err, ERR_STORAGE, NULL, "there is no store at %s; nothing was made", path);
    return kind == STORE_OURS ? 0 : refuse_foreign(path, err);
}

int store_permit(const char *path, struct err *err) {
    enum store_kind kind = STORE_FOREIGN;
    if (store_recognise(path, &kind, err))
        return -1;
    return kind == STORE_FOREIGN ? refuse_foreign(path, err) : 0;
}
