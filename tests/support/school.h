/* SPDX-License-Identifier: MIT */
/* school: what tests of the service need of schools: a site registered over
 * HTTP, and the body of a run as its class would have measured it. */
#ifndef NOONARC_SCHOOL_H
#define NOONARC_SCHOOL_H

#include <stdint.h>

#include "server/base/text.h"

struct school {
    const char *site, *name;
    double lat_deg, lon_deg;
    double gnomon_m;
    char key[64], code[64];
};

/* POST /sites; the secrets go into the school. */
void school_register(const char *base, struct school *school);

/* PUT /days/{day}/sites/{site}. */
void school_join(const char *base, const struct school *school, const char *day);

/* The body of a run of 13 readings around noon of a date, with the errors of an
 * ordinary class drawn from the seed; supersedes 0: none. Appended to body. */
void school_measure(const struct school *school, const char *date, uint64_t seed,
                    int64_t supersedes, struct text *body);

#endif
