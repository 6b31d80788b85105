/* SPDX-License-Identifier: MIT */
/* hash on libsodium's generic hash, which is BLAKE2b without a key. */
#include "server/store/hash.h"

#include <sodium.h>
#include <stdint.h>
#include <stdio.h>

#define HASH_BYTES 32
_Static_assert(HASH_HEX_MAX == 2 * HASH_BYTES + 1, "hex of the hash and a NUL");

void hash_parts(const struct hash_part *parts, size_t count, char out[HASH_HEX_MAX]) {
    crypto_generichash_state state; /* BLAKE2b works before sodium_init too */
    unsigned char hash[HASH_BYTES];
    crypto_generichash_init(&state, NULL, 0, sizeof hash);
    for (size_t i = 0; i < count; i++) {
        unsigned char length[8];
        for (int b = 0; b < 8; b++)
            length[b] = (unsigned char)((uint64_t)parts[i].length >> (8 * b));
        crypto_generichash_update(&state, length, sizeof length);
        crypto_generichash_update(&state, parts[i].bytes, parts[i].length);
    }
    crypto_generichash_final(&state, hash, sizeof hash);
    sodium_bin2hex(out, HASH_HEX_MAX, hash, sizeof hash);
}

void hash_bytes(const void *bytes, size_t length, char out[HASH_HEX_MAX]) {
    unsigned char hash[HASH_BYTES];
    crypto_generichash(hash, sizeof hash, bytes, length, NULL, 0);
    sodium_bin2hex(out, HASH_HEX_MAX, hash, sizeof hash);
}

int hash_file(const char *path, char out[HASH_HEX_MAX]) {
    crypto_generichash_state state;
    unsigned char hash[HASH_BYTES], portion[16384];
    size_t length;
    FILE *file = fopen(path, "rbe");
    if (!file)
        return -1;
    crypto_generichash_init(&state, NULL, 0, sizeof hash);
    while ((length = fread(portion, 1, sizeof portion, file)) > 0)
        crypto_generichash_update(&state, portion, length);
    int failed = ferror(file);
    fclose(file);
    if (failed)
        return -1;
    crypto_generichash_final(&state, hash, sizeof hash);
    sodium_bin2hex(out, HASH_HEX_MAX, hash, sizeof hash);
    return 0;
}
