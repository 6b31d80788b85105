/* SPDX-License-Identifier: MIT */
/* visit: one request's stay, from its first header to its last byte sent:
 * admitted or turned away, its body received under its limit, handled here or
 * by the writer while the connection sleeps, and answered. */
#ifndef NOONARC_VISIT_H
#define NOONARC_VISIT_H

#include "server/http/listener_state.h"

struct visit;

/* The access handler of libmicrohttpd; cls is the struct listener. */
enum MHD_Result visit_continue(void *cls, struct MHD_Connection *connection, const char *url,
                               const char *method, const char *version, const char *upload_data,
                               size_t *upload_data_size, void **slot);

/* The completion handler: frees the visit in *slot. */
void visit_end(void *cls, struct MHD_Connection *connection, void **slot,
               enum MHD_RequestTerminationCode why);

#endif
