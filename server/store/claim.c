/* SPDX-License-Identifier: MIT */
/* claim: an advisory lock (flock) on a file of its own. The database takes locks of
 * another kind on the store, and any handle to the store that we closed would
 * drop those. */
#include "server/store/claim.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "server/base/log.h"

/* The same for every name of one store, symbolic links included. */
static int lock_path(const char *store, char *out, size_t size) {
    char *real = realpath(store, NULL);
    int length = snprintf(out, size, "%s-lock", real ? real : store);
    free(real);
    return length > 0 && (size_t)length < size ? 0 : -1;
}

static void tell_holder(int file, const char *store, struct err *err) {
    char holder[24];
    ssize_t length = pread(file, holder, sizeof holder - 1, 0);
    holder[length > 0 ? length : 0] = '\0';
    holder[strspn(holder, "0123456789")] = '\0';
    err_set(err, ERR_BUSY, NULL,
            "another noonarcd (process %s) is at work on %s: stop it first, or wait for it",
            holder[0] == '\0' ? "unknown" : holder, store);
}

int claim_take(const char *store, struct claim *claim, struct err *err) {
    char path[PATH_MAX], holder[24];
    if (lock_path(store, path, sizeof path))
        return err_set(err, ERR_STORAGE, NULL, "the name of the store is too long");
    int file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (file < 0) {
        log_line(NOONARC_LOG_ERROR, "store: \"%s\": %s", path, strerror(errno));
        return err_set(err, ERR_STORAGE, NULL, "the folder of the store may not be written to: %s",
                       path);
    }
    if (flock(file, LOCK_EX | LOCK_NB) != 0) {
        if (errno == EWOULDBLOCK)
            tell_holder(file, store, err);
        else
            err_set(err, ERR_STORAGE, NULL, "%s cannot be locked: %s", path, strerror(errno));
        close(file);
        return -1;
    }
    /* Only for the words above: the lock counts, not what is written. */
    int length = snprintf(holder, sizeof holder, "%ld\n", (long)getpid());
    if (ftruncate(file, 0) != 0 || pwrite(file, holder, (size_t)length, 0) != length)
        log_line(NOONARC_LOG_WARNING, "store: \"%s\": %s", path, strerror(errno));
    claim->file = file;
    return 0;
}

void claim_release(struct claim *claim) {
    if (claim->file >= 0)
        close(claim->file);
    claim->file = -1;
}
