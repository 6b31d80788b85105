/* SPDX-License-Identifier: MIT */
/* listing: a list of the server, all its pages. */
#ifndef NOONARC_LISTING_H
#define NOONARC_LISTING_H

#include "client/client.h"

/* Reads every page of a list ({member: [...], "next_cursor"}) and joins them; the
 * caller owns *out, an object like one page. With --json it is
 * printed: the server's own bytes when one page was all. */
enum leave listing_get(struct client *client, const char *path, const char *member, json_t **out);

/* The same with the organiser's key where there is one that is of use. */
enum leave listing_get_as_seen(struct client *client, const char *path, const char *member,
                               json_t **out);

/* The same with the organiser's key, which is needed. */
enum leave listing_get_as_organiser(struct client *client, const char *path, const char *member,
                                    json_t **out);

#endif
