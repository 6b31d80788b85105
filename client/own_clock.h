/* SPDX-License-Identifier: MIT */
/* own_clock: this computer's clock, measured against the server's. Of a few exchanges
 * the quickest counts: the server told its time somewhere between the question and the
 * answer, so the offset is known to half of that, wherever the network was slow. */
#ifndef NOONARC_OWN_CLOCK_H
#define NOONARC_OWN_CLOCK_H

#include "client/client.h"
#include "server/science/run_clock.h"

#define OWN_CLOCK_EXCHANGES 6

/* Fills offset_s and sigma_s, and leaves the day's rule alone. False, and out as it was,
 * where the server could not be asked; the client's err is as before then. */
bool own_clock_measure(struct client *client, struct run_clock *out);

/* Fills what the day makes of a clock that was measured: bound_s and correct, so that a
 * run is worked out here as the server will. False, and clock as it was, where the server
 * could not be asked; the client's err is as before then. */
bool own_clock_rule(struct client *client, const char *day, struct run_clock *clock);

/* A line about it, for people. */
void own_clock_print(FILE *out, const struct run_clock *clock);

#endif
