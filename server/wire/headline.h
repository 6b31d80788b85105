/* SPDX-License-Identifier: MIT */
/* headline: the few figures of a day's result that fit in a line. */
#ifndef NOONARC_HEADLINE_H
#define NOONARC_HEADLINE_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/json_write.h"

struct headline {
    char status[32];
    int sites;
    double circumference_km, sigma_km; /* NAN where there is none yet */
};

/* Of the JSON that record_write_combined wrote. ERR_BAD_JSON for anything else. */
int headline_read(const char *json, size_t length, struct headline *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"status","sites","circumference_km","sigma_km"} */
void headline_write(struct json_writer *json, const char *key, const struct headline *headline);

#endif
