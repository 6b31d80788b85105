/* SPDX-License-Identifier: MIT */
/* origin: whether a request that a browser sent with its cookie came from a page of
 * ours. A cookie goes along by itself, so what changes something must also show where
 * it comes from: by Sec-Fetch-Site (W3C Fetch Metadata) where the browser says it, else
 * by an Origin (RFC 6454) that names the host that was asked. SameSite=Strict alone
 * would trust all pages of the same domain. */
#ifndef NOONARC_ORIGIN_H
#define NOONARC_ORIGIN_H

#include <stdbool.h>

/* Headers as sent, NULL those that were not. */
bool origin_is_ours(const char *fetch_site, const char *origin, const char *host);

#endif
