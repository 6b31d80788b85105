/* SPDX-License-Identifier: MIT */
/* negotiate: what a finished body becomes on its way out: compressed when the
 * client takes gzip and it pays, a strong validator of exactly those bytes, or
 * nothing at all when the client has them already (RFC 9110 sections 8.8, 12.5.3,
 * 13.1.2; RFC 1952). */
#ifndef NOONARC_NEGOTIATE_H
#define NOONARC_NEGOTIATE_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/text.h"

#define NEGOTIATE_GZIP_MIN 1024 /* bytes: below, the header outweighs the gain */
#define NEGOTIATE_ETAG_SIZE 40  /* quotes and NUL included */

/* True when an Accept-Encoding header (NULL: none) takes gzip. */
bool negotiate_takes_gzip(const char *accept_encoding);

/* Replaces the bytes of body by their gzip form. False, with body untouched,
 * when memory is short or the form would not be smaller. */
bool negotiate_gzip(struct text *body);

/* A strong validator: the same for the same bytes in the same encoding. */
void negotiate_etag(const struct text *body, bool gzipped, char out[NEGOTIATE_ETAG_SIZE]);

/* True when an If-None-Match header (NULL: none) names this validator. */
bool negotiate_matches(const char *if_none_match, const char *etag);

#endif
