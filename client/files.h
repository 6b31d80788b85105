/* SPDX-License-Identifier: MIT */
/* files: where the client keeps things (XDG base directories), reading with a
 * limit, and writing so that a file is either the old one or the new one. */
#ifndef NOONARC_FILES_H
#define NOONARC_FILES_H

#include <stddef.h>
#include <sys/types.h>

#include "server/base/err.h"
#include "server/base/text.h"

#define FILES_PATH_MAX 4096

/* The project's directory below XDG_CONFIG_HOME (~/.config) or XDG_STATE_HOME
 * (~/.local/state) with name added; made with mode 0700 when missing. out has
 * FILES_PATH_MAX bytes. Returns -1 with ERR_STORAGE when there is no such place. */
int files_config_path(const char *name, char *out, struct err *err)
    __attribute__((warn_unused_result));
int files_state_path(const char *name, char *out, struct err *err)
    __attribute__((warn_unused_result));

/* Appends a whole file, "-" for standard input, to out. ERR_STORAGE when it
 * cannot be read or does not fit out's maximum. */
int files_read(const char *path, struct text *out, struct err *err)
    __attribute__((warn_unused_result));

/* Replaces a file in one step: written beside it, synced, renamed. */
int files_write(const char *path, const void *bytes, size_t length, mode_t mode, struct err *err)
    __attribute__((warn_unused_result));

#endif
