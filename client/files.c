/* SPDX-License-Identifier: MIT */
/* files: XDG directories, whole-file reads, atomic writes. */
#include "client/files.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Makes every directory of path, private to the user. */
static int make_directories(char *path, struct err *err) {
    for (char *slash = path + 1;; slash++) {
        if (*slash != '/' && *slash != '\0')
            continue;
        char kept = *slash;
        *slash = '\0';
        int made = mkdir(path, 0700);
        int failed = made != 0 && errno != EEXIST;
        if (failed)
            err_set(err, ERR_STORAGE, path, "cannot make the directory %s: %s", path,
                    strerror(errno));
        *slash = kept;
        if (failed)
            return -1;
        if (kept == '\0')
            return 0;
    }
}

static int xdg_path(const char *variable, const char *below_home, const char *name, char *out,
                    struct err *err) {
    const char *base = getenv(variable);
    const char *home = getenv("HOME");
    int length;
    if (base != NULL && base[0] == '/') /* the specification has relative ones ignored */
        length = snprintf(out, FILES_PATH_MAX, "%s/noonarc", base);
    else if (home != NULL && home[0] == '/')
        length = snprintf(out, FILES_PATH_MAX, "%s/%s/noonarc", home, below_home);
    else
        return err_set(err, ERR_STORAGE, variable, "set HOME or %s to an absolute path", variable);
    if (length + strlen(name) + 2 > FILES_PATH_MAX)
        return err_set(err, ERR_STORAGE, variable, "the path in %s is too long", variable);
    if (make_directories(out, err) != 0)
        return -1;
    out[length] = '/';
    memcpy(out + length + 1, name, strlen(name) + 1);
    return 0;
}

int files_config_path(const char *name, char *out, struct err *err) {
    return xdg_path("XDG_CONFIG_HOME", ".config", name, out, err);
}

int files_state_path(const char *name, char *out, struct err *err) {
    return xdg_path("XDG_STATE_HOME", ".local/state", name, out, err);
}

int files_read(const char *path, struct text *out, struct err *err) {
    int result = -1;
    int standard = strcmp(path, "-") == 0;
    int fd = standard ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return err_set(err, ERR_STORAGE, path, "cannot open %s: %s", path, strerror(errno));
    char block[65536];
    for (;;) {
        ssize_t got = read(fd, block, sizeof block);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0) {
            err_set(err, ERR_STORAGE, path, "cannot read %s: %s", path, strerror(errno));
            goto cleanup;
        }
        if (got == 0)
            break;
        text_add(out, block, (size_t)got);
        if (out->failed) {
            err_set(err, ERR_STORAGE, path, "%s is larger than %zu bytes", path, out->maximum);
            goto cleanup;
        }
    }
    result = 0;
cleanup:
    if (!standard)
        close(fd);
    return result;
}

static int write_all(int fd, const char *bytes, size_t length) {
    while (length > 0) {
        ssize_t put = write(fd, bytes, length);
        if (put < 0 && errno == EINTR)
            continue;
        if (put < 0)
            return -1;
        bytes += put;
        length -= (size_t)put;
    }
    return 0;
}

/* Makes a rename in the file's directory survive a power cut. */
static int sync_directory(const char *path) {
    char directory[FILES_PATH_MAX];
    const char *slash = strrchr(path, '/');
    size_t length = slash == NULL ? 0 : slash == path ? 1 : (size_t)(slash - path);
    snprintf(directory, sizeof directory, "%.*s", (int)length, path);
    int fd = open(length > 0 ? directory : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return -1;
    int result = fsync(fd);
    close(fd);
    return result;
}

/* A terminal, pipe or device cannot be replaced by a file: it is written to. */
static int write_special(const char *path, const void *bytes, size_t length, struct err *err) {
    int fd = open(path, O_WRONLY | O_CLOEXEC);
    int failed = fd < 0 || write_all(fd, bytes, length) != 0;
    if (failed)
        err_set(err, ERR_STORAGE, path, "cannot write %s: %s", path, strerror(errno));
    if (fd >= 0)
        close(fd);
    return failed ? -1 : 0;
}

int files_write(const char *path, const void *bytes, size_t length, mode_t mode, struct err *err) {
    struct stat status;
    if (stat(path, &status) == 0 && !S_ISREG(status.st_mode))
        return write_special(path, bytes, length, err);
    int result = -1;
    int fd = -1;
    char beside[FILES_PATH_MAX] = "";
    if (strlen(path) + 8 > sizeof beside) {
        err_set(err, ERR_STORAGE, path, "the path is too long");
        goto cleanup;
    }
    snprintf(beside, sizeof beside, "%s.XXXXXX", path);
    fd = mkostemp(beside, O_CLOEXEC);
    if (fd < 0 || fchmod(fd, mode) != 0 || write_all(fd, bytes, length) != 0 || fsync(fd) != 0 ||
        rename(beside, path) != 0) {
        err_set(err, ERR_STORAGE, path, "cannot write %s: %s", path, strerror(errno));
        goto cleanup;
    }
    beside[0] = '\0';
    if (sync_directory(path) != 0) {
        err_set(err, ERR_STORAGE, path, "cannot write %s: %s", path, strerror(errno));
        goto cleanup;
    }
    result = 0;
cleanup:
    if (fd >= 0)
        close(fd);
    if (fd >= 0 && beside[0] != '\0')
        unlink(beside);
    return result;
}
