/* SPDX-License-Identifier: MIT */
/* notice: what a change has to tell those who watch a day, once it is committed.
 * Each says how a thing stands now, not by how much it changed, so that the newest
 * of several is enough. */
#ifndef NOONARC_NOTICE_H
#define NOONARC_NOTICE_H

#include "server/wire/sky.h"

enum notice_kind {
    NOTICE_SKY,    /* a site said how its sky is */
    NOTICE_RUN,    /* a site's current run is another one, or none */
    NOTICE_PARTNER /* a site has another partner; without a site: all partners are new */
};

struct notice {
    enum notice_kind kind;
    int64_t day; /* key in the store */
    char site[ID_MAX + 1];
    enum sky sky; /* of NOTICE_SKY, with the next */
    double reported_utc_s;
    int64_t run; /* of NOTICE_RUN, 0 none, with the next */
    int readings;
    char partner[ID_MAX + 1]; /* of NOTICE_PARTNER, "" none, with all below */
    char because[ID_MAX + 1]; /* whose cloud or leaving led to it, "" none */
    const char *offer;        /* a constant: "assigned", "offered", "second" */
    double expected_sigma_km;
};

#endif
