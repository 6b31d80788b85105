/* SPDX-License-Identifier: MIT */
#include "server/http/negotiate.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <zlib.h>

/* One element of a comma-separated list without the blanks around it. Returns
 * where the next one starts, NULL when there is no further element. */
static const char *list_next(const char *at, const char **element, size_t *length) {
    at += strspn(at, " \t,");
    if (*at == '\0')
        return NULL;
    size_t whole = strcspn(at, ",");
    *element = at;
    *length = whole;
    while (*length > 0 && (at[*length - 1] == ' ' || at[*length - 1] == '\t'))
        (*length)--;
    return at + whole;
}

/* "gzip;q=0" says no; any other weight says yes. */
static bool weight_is_zero(const char *element, size_t length) {
    const char *weight = memmem(element, length, "q=", 2);
    if (weight == NULL)
        return false;
    size_t left = length - (size_t)(weight - element) - 2;
    return left > 0 && strspn(weight + 2, "0.") >= left;
}

bool negotiate_takes_gzip(const char *accept_encoding) {
    if (accept_encoding == NULL)
        return false;
    bool any = false; /* "*" stands for codings not named */
    const char *element;
    size_t length;
    for (const char *at = accept_encoding; (at = list_next(at, &element, &length)) != NULL;) {
        size_t name = strcspn(element, " \t;,");
        if (name == 4 && strncasecmp(element, "gzip", 4) == 0)
            return !weight_is_zero(element, length);
        if (name == 1 && element[0] == '*')
            any = !weight_is_zero(element, length);
    }
    return any;
}

bool negotiate_gzip(struct text *body) {
    z_stream stream = {0};
    bool done = false;
    /* 15 + 16: the largest window, in gzip's framing without a time in it. */
    if (deflateInit2(&stream, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY) != Z_OK)
        return false;
    unsigned char *packed = malloc(body->length);
    if (packed == NULL)
        goto cleanup;
    stream.next_in = (unsigned char *)body->bytes;
    stream.avail_in = (unsigned)body->length;
    stream.next_out = packed;
    stream.avail_out = (unsigned)body->length;
    if (deflate(&stream, Z_FINISH) != Z_STREAM_END)
        goto cleanup; /* no room: it would have grown */
    body->length = 0;
    text_add(body, packed, stream.total_out);
    done = true;
cleanup:
    free(packed);
    deflateEnd(&stream);
    return done;
}

void negotiate_etag(const struct text *body, bool gzipped, char out[NEGOTIATE_ETAG_SIZE]) {
    unsigned char hash[16];
    char hex[2 * sizeof hash + 1];
    crypto_generichash(hash, sizeof hash, (const unsigned char *)body->bytes, body->length, NULL,
                       0);
    sodium_bin2hex(hex, sizeof hex, hash, sizeof hash);
    snprintf(out, NEGOTIATE_ETAG_SIZE, "\"%s%s\"", hex, gzipped ? "-gz" : "");
}

bool negotiate_matches(const char *if_none_match, const char *etag) {
    if (if_none_match == NULL)
        return false;
    const char *element;
    size_t length;
    for (const char *at = if_none_match; (at = list_next(at, &element, &length)) != NULL;) {
        if (length == 1 && element[0] == '*')
            return true;
        if (length > 2 && strncmp(element, "W/", 2) == 0) {
            element += 2;
            length -= 2;
        }
        if (length == strlen(etag) && memcmp(element, etag, length) == 0)
            return true;
    }
    return false;
}
