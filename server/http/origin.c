/* SPDX-License-Identifier: MIT */
#include "server/http/origin.h"

#include <string.h>
#include <strings.h>

bool origin_is_ours(const char *fetch_site, const char *origin, const char *host) {
    if (fetch_site != NULL)
        return strcmp(fetch_site, "same-origin") == 0;
    if (origin == NULL || host == NULL)
        return false;
    const char *scheme_end = strstr(origin, "://");
    return scheme_end != NULL && strcasecmp(scheme_end + 3, host) == 0;
}
