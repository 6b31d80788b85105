/* SPDX-License-Identifier: MIT */
/* secret: five bits a letter, from chance or from a seed, by libsodium. */
#include "server/rules/secret.h"

#include <sodium.h>
#include <string.h>

#define KEY_LETTERS 26
#define CODE_LETTERS 10

static const char letters[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

#define SEED_BYTES 32

_Static_assert(SEED_BYTES >= KEY_LETTERS && HASH_HEX_MAX == 2 * SEED_BYTES + 1, "a byte a letter");

static void spell_key(const unsigned char *bytes, char out[SECRET_MAX]) {
    for (int i = 0; i < KEY_LETTERS; i++)
        out[i] = letters[bytes[i] & 31];
    out[KEY_LETTERS] = '\0';
}

static void spell_code(const unsigned char *bytes, char out[SECRET_MAX]) {
    for (int i = 0; i < CODE_LETTERS; i++)
        out[i + (i >= 5)] = letters[bytes[i] & 31];
    out[5] = '-';
    out[CODE_LETTERS + 1] = '\0';
}

void secret_make_key(char out[SECRET_MAX]) {
    unsigned char bytes[KEY_LETTERS];
    randombytes_buf(bytes, sizeof bytes);
    spell_key(bytes, out);
    sodium_memzero(bytes, sizeof bytes);
}

void secret_make_code(char out[SECRET_MAX]) {
    unsigned char bytes[CODE_LETTERS];
    randombytes_buf(bytes, sizeof bytes);
    spell_code(bytes, out);
    sodium_memzero(bytes, sizeof bytes);
}

void secret_make_salt(char out[HASH_HEX_MAX]) {
    unsigned char bytes[SEED_BYTES];
    randombytes_buf(bytes, sizeof bytes);
    sodium_bin2hex(out, HASH_HEX_MAX, bytes, sizeof bytes);
}

static void bytes_of(const struct secret_seed *seed, const char *what,
                     unsigned char bytes[SEED_BYTES]) {
    const struct hash_part parts[] = {
        {what, strlen(what)}, {seed->salt, strlen(seed->salt)}, {seed->key, strlen(seed->key)}};
    char hex[HASH_HEX_MAX];
    hash_parts(parts, sizeof parts / sizeof *parts, hex);
    sodium_hex2bin(bytes, SEED_BYTES, hex, strlen(hex), NULL, NULL, NULL);
    sodium_memzero(hex, sizeof hex);
}

void secret_key_of(const struct secret_seed *seed, char out[SECRET_MAX]) {
    unsigned char bytes[SEED_BYTES];
    bytes_of(seed, "school key", bytes);
    spell_key(bytes, out);
    sodium_memzero(bytes, sizeof bytes);
}

void secret_code_of(const struct secret_seed *seed, char out[SECRET_MAX]) {
    unsigned char bytes[SEED_BYTES];
    bytes_of(seed, "class code", bytes);
    spell_code(bytes, out);
    sodium_memzero(bytes, sizeof bytes);
}

bool secret_hash(const char *secret, char out[HASH_HEX_MAX]) {
    char plain[SECRET_MAX];
    size_t length = 0;
    for (const char *c = secret; *c; c++) {
        if (*c == '-' || *c == ' ')
            continue;
        char letter = *c >= 'a' && *c <= 'z' ? (char)(*c - 'a' + 'A') : *c;
        if (letter == 'I' || letter == 'L')
            letter = '1';
        if (letter == 'O')
            letter = '0';
        if (!strchr(letters, letter) || length == KEY_LETTERS)
            return false;
        plain[length++] = letter;
    }
    if (length != KEY_LETTERS && length != CODE_LETTERS)
        return false;
    hash_bytes(plain, length, out);
    sodium_memzero(plain, sizeof plain);
    return true;
}
