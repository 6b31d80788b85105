/* SPDX-License-Identifier: MIT */
/* backup: copy, verify, force to the disk, and only then the name that counts. */
#include "server/store/backup.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/base/log.h"
#include "server/store/db.h"

static int failed(const char *doing, const char *path, struct err *err) {
    const char *why = strerror(errno);
    log_line(NOONARC_LOG_ERROR, "store: %s \"%s\": %s", doing, path, why);
    return err_set(err, ERR_STORAGE, NULL, "%s: cannot %s: %s", path, doing, why);
}

static int name(char *out, size_t size, const char *path, const char *ending, struct err *err) {
    int length = snprintf(out, size, "%s%s", path, ending);
    if (length < 0 || (size_t)length >= size)
        return err_set(err, ERR_STORAGE, NULL, "the name %.100s... is too long", path);
    return 0;
}

static bool exists(const char *path) {
    return faccessat(AT_FDCWD, path, F_OK, AT_SYMLINK_NOFOLLOW) == 0;
}

/* Forces a file or a folder to the disk. */
static int force(const char *path, int flags, struct err *err) {
    int file = open(path, flags | O_CLOEXEC);
    if (file < 0)
        return failed("open", path, err);
    int result = fsync(file) == 0 ? 0 : failed("write to the disk", path, err);
    close(file);
    return result;
}

static int force_folder_of(const char *path, struct err *err) {
    char copy[PATH_MAX];
    if (name(copy, sizeof copy, path, "", err))
        return -1;
    return force(dirname(copy), O_RDONLY | O_DIRECTORY, err);
}

/* An empty file beside path that nobody else has. */
static int make_part(const char *path, char *out, size_t size, struct err *err) {
    if (name(out, size, path, ".part-XXXXXX", err))
        return -1;
    int file = mkostemp(out, O_CLOEXEC);
    if (file < 0)
        return failed("make", out, err);
    close(file);
    return 0;
}

/* With what SQLite may have put beside it when a fault ended its work. */
static void drop_part(const char *part) {
    static const char *const endings[] = {"", "-journal", "-wal", "-shm"};
    char path[PATH_MAX];
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++)
        if (name(path, sizeof path, part, endings[i], NULL) == 0)
            unlink(path);
}

/* Gives a file its name unless that is taken. */
static int name_new(const char *from, const char *to, struct err *err) {
    if (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0)
        return 0;
    /* Some file systems over a network know no such renaming. */
    if (errno == EINVAL && link(from, to) == 0)
        return unlink(from) == 0 ? 0 : failed("remove", from, err);
    return failed("make", to, err);
}

/* Pages, references, migrations; those that are missing are applied if so told. */
static int verify(const char *path, bool bring_up, double now_utc_s, struct err *err) {
    struct db *db;
    int known, applied;
    if (db_open(path, bring_up ? DB_WRITE : DB_READ, &db, err))
        return -1;
    int result =
        db_sound(db, err) || migrate_known(db, migrations, migrations_count, &known, err) ? -1 : 0;
    if (result == 0 && bring_up)
        result = migrate_apply(db, migrations, migrations_count, now_utc_s, &applied, err);
    db_close(db);
    return result;
}

/* Who may open the store stays as it was. */
static void keep_owner(const char *store, const char *part) {
    struct stat status;
    if (stat(store, &status) != 0)
        return;
    if (chmod(part, status.st_mode & 0777) != 0 || chown(part, status.st_uid, status.st_gid) != 0)
        log_line(NOONARC_LOG_WARNING, "store: the new store is not owned as the old one: %s",
                 strerror(errno));
}

static int sum(const char *path, char checksum[HASH_HEX_MAX], struct err *err) {
    return hash_file(path, checksum) == 0 ? 0 : failed("read", path, err);
}

int backup_make(const char *store, const char *file, char checksum[HASH_HEX_MAX], struct err *err) {
    char part[PATH_MAX], hash[HASH_HEX_MAX];
    if (exists(file))
        return err_set(err, ERR_STORAGE, NULL, "%s exists already; a backup overwrites nothing",
                       file);
    if (make_part(file, part, sizeof part, err))
        return -1;
    if (db_copy(store, part, err) || verify(part, false, 0.0, err) || sum(part, hash, err) ||
        force(part, O_RDONLY, err) || name_new(part, file, err)) {
        drop_part(part);
        return -1;
    }
    memcpy(checksum, hash, sizeof hash);
    return force_folder_of(file, err);
}

void backup_aside_drop(const char *copy) {
    drop_part(copy);
}

int backup_aside(const char *store, char *out, size_t size, struct err *err) {
    if (make_part(store, out, size, err))
        return -1;
    if (db_copy(store, out, err) == 0)
        return 0;
    drop_part(out);
    return -1;
}

/* The log of a store holds its newest commits: the two must not be parted. So the
 * log has both names before the store loses the first. A log left without its
 * store, by a fault amid these steps, belongs to nothing. */
static int set_aside(const char *store, struct err *err) {
    char old[PATH_MAX], log[PATH_MAX], old_log[PATH_MAX], shared[PATH_MAX];
    if (name(old, sizeof old, store, ".old", err) || name(log, sizeof log, store, "-wal", err) ||
        name(old_log, sizeof old_log, store, ".old-wal", err) ||
        name(shared, sizeof shared, store, "-shm", err))
        return -1;
    if (exists(store)) {
        if (exists(old))
            return err_set(err, ERR_STORAGE, NULL,
                           "%s is there from before; move it away, so that nothing is lost", old);
        unlink(old_log);
        if (exists(log) && link(log, old_log) != 0)
            return failed("make", old_log, err);
        if (name_new(store, old, err) || force_folder_of(store, err))
            return -1;
    }
    unlink(shared);
    return unlink(log) == 0 || errno == ENOENT ? 0 : failed("remove", log, err);
}

int backup_restore(const char *file, const char *store, bool replace, double now_utc_s,
                   char checksum[HASH_HEX_MAX], struct err *err) {
    char part[PATH_MAX], hash[HASH_HEX_MAX];
    if (exists(store) && !replace)
        return err_set(err, ERR_STORAGE, NULL,
                       "there is a store at %s; with --replace it is set aside as %s.old", store,
                       store);
    if (!exists(file))
        return err_set(err, ERR_STORAGE, NULL, "there is no file %s", file);
    if (make_part(store, part, sizeof part, err))
        return -1;
    if (sum(file, hash, err) || db_copy(file, part, err) || verify(part, true, now_utc_s, err) ||
        force(part, O_RDONLY, err))
        goto cleanup;
    keep_owner(store, part);
    if (set_aside(store, err) || name_new(part, store, err))
        goto cleanup;
    memcpy(checksum, hash, sizeof hash);
    return force_folder_of(store, err);
cleanup:
    drop_part(part);
    return -1;
}
