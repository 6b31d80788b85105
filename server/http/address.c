/* SPDX-License-Identifier: MIT */
#include "server/http/address.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#define NETWORK_BYTES 8 /* of an IPv6 address: its /64 */

static void from_v4(const struct in_addr *v4, struct address *out) {
    *out = (struct address){.bytes = {[10] = 0xFF, [11] = 0xFF}};
    memcpy(out->bytes + 12, v4, 4);
}

static void from_v6(const struct in6_addr *v6, struct address *out) {
    *out = (struct address){0};
    memcpy(out->bytes, v6, IN6_IS_ADDR_V4MAPPED(v6) ? sizeof out->bytes : NETWORK_BYTES);
    /* The loopback address is no network. */
    if (IN6_IS_ADDR_LOOPBACK(v6))
        out->bytes[15] = 1;
}

void address_of(const struct sockaddr *socket_address, struct address *out) {
    struct sockaddr_in v4;
    struct sockaddr_in6 v6;
    *out = (struct address){0};
    if (socket_address == NULL)
        return;
    if (socket_address->sa_family == AF_INET) {
        memcpy(&v4, socket_address, sizeof v4);
        from_v4(&v4.sin_addr, out);
    } else if (socket_address->sa_family == AF_INET6) {
        memcpy(&v6, socket_address, sizeof v6);
        from_v6(&v6.sin6_addr, out);
    }
}

bool address_parse(const char *text, struct address *out) {
    struct in_addr v4;
    struct in6_addr v6;
    if (inet_pton(AF_INET, text, &v4) == 1)
        from_v4(&v4, out);
    else if (inet_pton(AF_INET6, text, &v6) == 1)
        from_v6(&v6, out);
    else
        return false;
    return true;
}

bool address_forwarded(const char *header, struct address *out) {
    char text[INET6_ADDRSTRLEN];
    const char *comma = strrchr(header, ',');
    const char *last = comma == NULL ? header : comma + 1;
    last += strspn(last, " \t");
    size_t length = strcspn(last, " \t");
    if (length >= sizeof text || last[length + strspn(last + length, " \t")] != '\0')
        return false;
    snprintf(text, sizeof text, "%.*s", (int)length, last);
    return address_parse(text, out);
}

bool address_equal(const struct address *a, const struct address *b) {
    return memcmp(a->bytes, b->bytes, sizeof a->bytes) == 0;
}
