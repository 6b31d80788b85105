/* SPDX-License-Identifier: MIT */
#include "server/base/blob.h"

#include <stdio.h>
#include <stdlib.h>

struct blob *blob_new(struct text *text, const char *mark) {
    struct blob *blob = text->failed ? NULL : calloc(1, sizeof *blob);
    if (!blob)
        return NULL;
    size_t length = text->length;
    char *bytes = text_take(text);
    if (!bytes) {
        free(blob);
        return NULL;
    }
    atomic_init(&blob->holders, 1);
    blob->length = length;
    blob->bytes = bytes;
    snprintf(blob->mark, sizeof blob->mark, "%s", mark);
    return blob;
}

struct blob *blob_hold(struct blob *blob) {
    if (blob)
        atomic_fetch_add(&blob->holders, 1);
    return blob;
}

void blob_release(struct blob *blob) {
    if (!blob || atomic_fetch_sub(&blob->holders, 1) > 1)
        return;
    blob_release(atomic_load(&blob->other));
    for (int i = 0; i < BLOB_KEPT; i++) {
        void *kept = atomic_load(&blob->kept[i]);
        if (kept)
            atomic_load (&blob->release_kept)(kept);
    }
    free(blob->bytes);
    free(blob);
}

void *blob_keep(struct blob *blob, int place, void *thing, void (*release)(void *kept)) {
    void *none = NULL;
    atomic_store(&blob->release_kept, release);
    if (!atomic_compare_exchange_strong(&blob->kept[place], &none, thing)) {
        release(thing);
        return none;
    }
    return thing;
}

struct blob *blob_adopt(struct blob *blob, struct blob *other) {
    struct blob *none = NULL;
    if (!atomic_compare_exchange_strong(&blob->other, &none, other)) {
        blob_release(other);
        return none;
    }
    return other;
}
