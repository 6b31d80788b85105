/* SPDX-License-Identifier: MIT */
/* own: the addresses that the edge answers by itself: health, metrics, the
 * description of the API, and the pages with their files. */
#ifndef NOONARC_OWN_H
#define NOONARC_OWN_H

#include "server/http/routes.h"

route_own own_health;  /* 200 "ready"; 503 "stopping", "store unreadable", "store unwritable",
                          "busy" */
route_own own_alive;   /* 200 whenever it can answer at all */
route_own own_metrics; /* OpenMetrics */
route_own own_time;    /* the time of this moment */
route_own own_openapi;
route_own own_page;   /* the page of the route's address */
route_own own_asset;  /* a file that pages load, named by its content */
route_own own_worker; /* what keeps the playground at work without a network */
route_own own_live;   /* the mark of the stream in the table: the visit itself serves it */

/* The page of an address where nothing is, with status 404. False when there are no pages. */
bool own_missing(struct listener *listener, const struct request *request,
                 struct response *response);

#endif
