/* SPDX-License-Identifier: MIT */
/* address: who is calling, as far as limits care. An IPv4 address counts as
 * itself; an IPv6 address counts as its /64, for that is what one household or
 * school is given. Behind a proxy the caller is the last address that the proxy
 * has written into X-Forwarded-For; what stands before it anybody can invent. */
#ifndef NOONARC_ADDRESS_H
#define NOONARC_ADDRESS_H

#include <stdbool.h>
#include <sys/socket.h>

struct address {
    unsigned char bytes[16]; /* IPv6, IPv4 as ::ffff:a.b.c.d; the last eight 0 for IPv6 */
};

/* Of a socket's other end; all zero for what is neither IPv4 nor IPv6. */
void address_of(const struct sockaddr *socket_address, struct address *out);

/* Of a text "192.0.2.7" or "2001:db8::7", without a port. */
bool address_parse(const char *text, struct address *out);

/* The last element of an X-Forwarded-For header. False when it is no address. */
bool address_forwarded(const char *header, struct address *out);

bool address_equal(const struct address *a, const struct address *b);

#endif
