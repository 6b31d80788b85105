/* SPDX-License-Identifier: MIT */
/* admit: all that can be said of a request before its body is there: whether the
 * caller asks too often, whether there is such an address, whether a key is
 * missing, whether the announced body and the query are of the right kind. */
#ifndef NOONARC_ADMIT_H
#define NOONARC_ADMIT_H

#include "server/http/visit_state.h"

/* Fills the visit's request and route, or its err. */
void admit(struct visit *visit, const char *method, const char *path);

/* Refuses a body larger than the route takes. */
void admit_refuse_size(struct visit *visit);

#endif
