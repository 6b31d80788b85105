/* SPDX-License-Identifier: MIT */
/* openapi: the description of the API that the server hands out, made from
 * openapi.json when building. */
#ifndef NOONARC_OPENAPI_H
#define NOONARC_OPENAPI_H

extern const char openapi_json[];

#endif
