/* SPDX-License-Identifier: MIT */
/* secret: five random bits a letter, from libsodium. */
#include "server/rules/secret.h"

#include <sodium.h>
#include <string.h>

#define KEY_LETTERS 26
#define CODE_LETTERS 10

static const char letters[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

static void random_letters(char *out, int count) {
    unsigned char bytes[KEY_LETTERS];
    randombytes_buf(bytes, (size_t)count);
    for (int i = 0; i < count; i++)
        out[i] = letters[bytes[i] & 31];
    sodium_memzero(bytes, sizeof bytes);
}

void secret_make_key(char out[SECRET_MAX]) {
    random_letters(out, KEY_LETTERS);
    out[KEY_LETTERS] = '\0';
}

void secret_make_code(char out[SECRET_MAX]) {
    char plain[CODE_LETTERS];
    random_letters(plain, CODE_LETTERS);
    memcpy(out, plain, 5);
    out[5] = '-';
    memcpy(out + 6, plain + 5, 5);
    out[11] = '\0';
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
