/* SPDX-License-Identifier: MIT */
/* hash: BLAKE2b-256 (RFC 7693) as hex, the store's one way to name bytes by
 * their content: checksums of migrations, where keys live, bodies sent twice. */
#ifndef NOONARC_HASH_H
#define NOONARC_HASH_H

#include <stddef.h>

#define HASH_HEX_MAX 65 /* with the NUL */

/* The hash of the parts one after another, each led by its length, so that
 * moving a byte from one part to the next changes it. */
struct hash_part {
    const void *bytes;
    size_t length;
};
void hash_parts(const struct hash_part *parts, size_t count, char out[HASH_HEX_MAX]);

/* The plain BLAKE2b-256 of some bytes. */
void hash_bytes(const void *bytes, size_t length, char out[HASH_HEX_MAX]);

/* The same of a file's bytes, as `b2sum -l 256` prints it. Returns -1, with errno,
 * when the file cannot be read. */
int hash_file(const char *path, char out[HASH_HEX_MAX]) __attribute__((warn_unused_result));

#endif
