/* SPDX-License-Identifier: MIT */
/* blob: bytes that many share and nobody changes, freed by the last who holds them:
 * an answer that was written once and is sent many times. */
#ifndef NOONARC_BLOB_H
#define NOONARC_BLOB_H

#include <stdatomic.h>
#include <stddef.h>

#include "server/base/text.h"

#define BLOB_MARK_SIZE 33 /* 128 bits in hex, NUL included */
#define BLOB_KEPT 2

struct blob {
    atomic_int holders;
    size_t length;
    char *bytes;                     /* owned */
    _Atomic(struct blob *) other;    /* another form of the same (compressed), made when it was
                                        first asked for; owned, NULL until then */
    char mark[BLOB_MARK_SIZE];       /* names exactly these bytes */
    _Atomic(void *) kept[BLOB_KEPT]; /* what an outer layer made of it; owned, NULL at first */
    void (*_Atomic release_kept)(void *kept);
};

/* Takes the bytes of a text over, leaving it empty; held once. mark: such that other
 * bytes have another. NULL, with the text untouched, when memory is short or the
 * text failed. */
struct blob *blob_new(struct text *text, const char *mark);

/* One holder more; returns blob. NULL is fine in both. */
struct blob *blob_hold(struct blob *blob);
void blob_release(struct blob *blob);

/* Keeps a thing that was made of the blob at a place (0..BLOB_KEPT-1), until the blob
 * goes, unless one is there; returns the one that is. What is given to release is not
 * the blob's any more; one function releases all. */
void *blob_keep(struct blob *blob, int place, void *thing, void (*release)(void *kept));

/* Gives blob another form (taken over) unless it has one; returns the one it has. */
struct blob *blob_adopt(struct blob *blob, struct blob *other);

#endif
