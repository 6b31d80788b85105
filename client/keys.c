/* SPDX-License-Identifier: MIT */
/* keys: {"server": {"site": {"school_key": "...", "class_code": "..."}}}. A lock
 * file keeps two registrations at once from losing one another's keys. */
#include "client/keys.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "client/files.h"

#define KEYS_FILE_MAX ((size_t)16 << 20)

static const char *const kind_names[KEY_KINDS] = {
    [KEY_GIVEN] = "given_key",  [KEY_ORGANISER] = "organiser_key", [KEY_SCHOOL] = "school_key",
    [KEY_CLASS] = "class_code", [KEY_SESSION] = "session_token",
};

const char *key_kind_name(enum key_kind kind) {
    return kind_names[kind];
}

bool keys_secret_valid(const char *secret) {
    size_t length = strlen(secret);
    for (size_t i = 0; i < length; i++)
        if (secret[i] <= ' ' || secret[i] > '~')
            return false;
    return length > 0 && length < KEYS_SECRET_MAX;
}

/* The file as JSON, an empty object when there is none. NULL with err set on trouble. */
static json_t *load(const char *path, struct err *err) {
    struct text bytes;
    text_init(&bytes, KEYS_FILE_MAX);
    json_t *keys = NULL;
    struct stat status;
    if (stat(path, &status) != 0 && errno == ENOENT)
        return json_object();
    if (stat(path, &status) == 0 && (status.st_mode & 077) != 0)
        chmod(path, 0600); /* someone copied it about: private again */
    if (files_read(path, &bytes, err) == 0) {
        keys = json_loadb(bytes.bytes, bytes.length, JSON_REJECT_DUPLICATES, NULL);
        if (!json_is_object(keys)) {
            err_set(err, ERR_STORAGE, path, "%s is damaged: mend it or move it away", path);
            json_decref(keys);
            keys = NULL;
        }
    }
    explicit_bzero(bytes.bytes, bytes.length);
    text_release(&bytes);
    return keys;
}

/* The object under a name, made when missing or of another kind. Borrowed. */
static json_t *child(json_t *parent, const char *name) {
    json_t *object = json_object_get(parent, name);
    if (!json_is_object(object)) {
        json_object_set_new(parent, name, json_object());
        object = json_object_get(parent, name);
    }
    return object;
}

static int lock(struct err *err) {
    char path[FILES_PATH_MAX];
    if (files_config_path("keys.lock", path, err) != 0)
        return -1;
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (fd < 0 || flock(fd, LOCK_EX) != 0) {
        err_set(err, ERR_STORAGE, path, "cannot lock %s: %s", path, strerror(errno));
        if (fd >= 0)
            close(fd);
        return -1;
    }
    return fd;
}

/* secret NULL: none any more. */
static int put(const char *server, const char *site, enum key_kind kind, const char *secret,
               struct err *err) {
    int result = -1;
    json_t *keys = NULL;
    char *bytes = NULL;
    char path[FILES_PATH_MAX];
    int locked = lock(err);
    if (locked < 0 || files_config_path("keys.json", path, err) != 0)
        goto cleanup;
    keys = load(path, err);
    if (keys == NULL)
        goto cleanup;
    json_t *secrets = child(child(keys, server), site);
    if (secret == NULL)
        json_object_del(secrets, kind_names[kind]);
    if (secret == NULL || json_object_set_new(secrets, kind_names[kind], json_string(secret)) == 0)
        bytes = json_dumps(keys, JSON_INDENT(2) | JSON_SORT_KEYS);
    if (bytes == NULL) {
        err_set(err, ERR_STORAGE, path, "out of memory");
        goto cleanup;
    }
    result = files_write(path, bytes, strlen(bytes), 0600, err);
cleanup:
    if (bytes != NULL)
        explicit_bzero(bytes, strlen(bytes));
    free(bytes);
    json_decref(keys);
    if (locked >= 0)
        close(locked);
    return result;
}

int keys_save(const char *server, const char *site, enum key_kind kind, const char *secret,
              struct err *err) {
    return put(server, site, kind, secret, err);
}

int keys_forget(const char *server, const char *site, enum key_kind kind, struct err *err) {
    return put(server, site, kind, NULL, err);
}

int keys_find(const char *server, const char *site, enum key_kind kind, char *out,
              struct err *err) {
    char path[FILES_PATH_MAX];
    if (files_config_path("keys.json", path, err) != 0)
        return -1;
    json_t *keys = load(path, err);
    if (keys == NULL)
        return -1;
    const json_t *sites = json_object_get(keys, server);
    const char *secret =
        json_string_value(json_object_get(json_object_get(sites, site), kind_names[kind]));
    int found = secret != NULL && keys_secret_valid(secret);
    if (found)
        memcpy(out, secret, strlen(secret) + 1);
    json_decref(keys);
    return found;
}
