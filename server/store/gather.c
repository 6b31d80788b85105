/* SPDX-License-Identifier: MIT */
/* gather: a layer over SQLite's own file system (https://www.sqlite.org/vfs.html) that is
 * there for logs alone; other files are opened as ever. */
#include "server/store/gather.h"

#include <pthread.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#define NAME "noonarc"
#define GATHERED_MAX ((size_t)96 * 1024) /* the layer below takes less than 128 KiB at once */

/* The first bytes of a log waiting to be written at `at`; its true file follows in memory. */
struct log {
    sqlite3_file base;
    char *gathered;
    size_t length;
    sqlite3_int64 at;
};

static struct log *log_of(sqlite3_file *file) {
    return (struct log *)file;
}

static sqlite3_file *true_file(sqlite3_file *file) {
    return (sqlite3_file *)(log_of(file) + 1);
}

#define TRUE(file, method, ...) true_file(file)->pMethods->method(true_file(file), __VA_ARGS__)

/* What cannot be written is forgotten: SQLite undoes the commit it belongs to. */
static int write_out(sqlite3_file *file) {
    struct log *log = log_of(file);
    const size_t length = log->length;
    log->length = 0;
    return length == 0 ? SQLITE_OK : TRUE(file, xWrite, log->gathered, (int)length, log->at);
}

static int log_write(sqlite3_file *file, const void *bytes, int count, sqlite3_int64 at) {
    struct log *log = log_of(file);
    const size_t more = (size_t)count;
    if (log->length > 0 &&
        (at != log->at + (sqlite3_int64)log->length || more > GATHERED_MAX - log->length)) {
        int code = write_out(file);
        if (code != SQLITE_OK)
            return code;
    }
    if (more > GATHERED_MAX)
        return TRUE(file, xWrite, bytes, count, at);
    if (log->length == 0)
        log->at = at;
    memcpy(log->gathered + log->length, bytes, more);
    log->length += more;
    return SQLITE_OK;
}

static int log_read(sqlite3_file *file, void *bytes, int count, sqlite3_int64 at) {
    int code = write_out(file);
    return code == SQLITE_OK ? TRUE(file, xRead, bytes, count, at) : code;
}

static int log_sync(sqlite3_file *file, int flags) {
    int code = write_out(file);
    return code == SQLITE_OK ? TRUE(file, xSync, flags) : code;
}

static int log_truncate(sqlite3_file *file, sqlite3_int64 size) {
    int code = write_out(file);
    return code == SQLITE_OK ? TRUE(file, xTruncate, size) : code;
}

static int log_size(sqlite3_file *file, sqlite3_int64 *size) {
    int code = write_out(file);
    return code == SQLITE_OK ? TRUE(file, xFileSize, size) : code;
}

static int log_close(sqlite3_file *file) {
    int written = write_out(file);
    int closed = true_file(file)->pMethods->xClose(true_file(file));
    free(log_of(file)->gathered);
    return written == SQLITE_OK ? closed : written;
}

static int log_lock(sqlite3_file *file, int level) {
    return TRUE(file, xLock, level);
}

static int log_unlock(sqlite3_file *file, int level) {
    return TRUE(file, xUnlock, level);
}

static int log_check_lock(sqlite3_file *file, int *out) {
    return TRUE(file, xCheckReservedLock, out);
}

static int log_control(sqlite3_file *file, int what, void *argument) {
    return TRUE(file, xFileControl, what, argument);
}

static int log_sector_size(sqlite3_file *file) {
    return true_file(file)->pMethods->xSectorSize(true_file(file));
}

static int log_characteristics(sqlite3_file *file) {
    return true_file(file)->pMethods->xDeviceCharacteristics(true_file(file));
}

static const sqlite3_io_methods log_methods = {
    .iVersion = 1,
    .xClose = log_close,
    .xRead = log_read,
    .xWrite = log_write,
    .xTruncate = log_truncate,
    .xSync = log_sync,
    .xFileSize = log_size,
    .xLock = log_lock,
    .xUnlock = log_unlock,
    .xCheckReservedLock = log_check_lock,
    .xFileControl = log_control,
    .xSectorSize = log_sector_size,
    .xDeviceCharacteristics = log_characteristics,
};

static sqlite3_vfs *below(sqlite3_vfs *vfs) {
    return vfs->pAppData;
}

static int vfs_open(sqlite3_vfs *vfs, const char *path, sqlite3_file *file, int flags, int *out) {
    if ((flags & SQLITE_OPEN_WAL) == 0)
        return below(vfs)->xOpen(below(vfs), path, file, flags, out);
    struct log *log = log_of(file);
    *log = (struct log){.gathered = malloc(GATHERED_MAX)};
    int code = log->gathered == NULL
                   ? SQLITE_NOMEM
                   : below(vfs)->xOpen(below(vfs), path, true_file(file), flags, out);
    if (code == SQLITE_OK)
        log->base.pMethods = &log_methods;
    else
        free(log->gathered);
    return code;
}

static sqlite3_vfs gather;
static pthread_once_t once = PTHREAD_ONCE_INIT;
static int registered = SQLITE_ERROR;

static void set_up(void) {
    sqlite3_vfs *usual = sqlite3_vfs_find(NULL);
    if (usual == NULL)
        return;
    gather = *usual; /* what its other methods do, they do for this one too */
    gather.zName = NAME;
    gather.pAppData = usual;
    gather.szOsFile = (int)sizeof(struct log) + usual->szOsFile;
    gather.xOpen = vfs_open;
    registered = sqlite3_vfs_register(&gather, 0);
}

const char *gather_vfs(void) {
    pthread_once(&once, set_up);
    return registered == SQLITE_OK ? NAME : NULL;
}
