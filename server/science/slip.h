/* SPDX-License-Identifier: MIT */
/* slip: what went wrong, named. Looks for the simple human causes behind a
 * reading, or a whole run, that does not lie on the Sun's curve. Changes no
 * value; private to science (names and texts stand in reduce.h). */
#ifndef NOONARC_SLIP_H
#define NOONARC_SLIP_H

#include "server/science/curve.h"
#include "server/science/reduce.h"

/* The causes that put reading `index` off the curve that the equations are about, the
 * likeliest first: cause[0] always, the others SLIP_NONE where fewer fit. */
void slip_of_reading(const struct curve *curve, const struct equations *about, int index,
                     enum slip cause[SLIP_CAUSES]);

/* The cause that makes a run senseless at this place, SLIP_NONE when the
 * readings can be a shadow there (possibly of a wrong clock or height). */
enum slip slip_of_senseless_run(const struct curve *curve);

/* For a sound curve that stands too high or low by more than tolerance_deg:
 * the height's parts are suspected. fit is the run's own. */
enum slip slip_of_height(const struct curve *curve, const struct curve_fit *fit,
                         double tolerance_deg);

/* Two sights, at least one of them kept, that fit far better exchanged, though neither need stray
 * far by itself. about: the equations about that fit; pair is written where they are found. */
bool slip_exchange(const struct curve *curve, const struct curve_fit *fit,
                   const struct equations *about, const int *order, int count, int pair[2]);

/* Position of a step in the middle of the run: readings from there on (in
 * order of time) follow a curve of their own, as after a bumped gnomon. 0 when
 * one curve, with the strays it now leaves out, explains them as well. about: the
 * equations about that fit; order: indices of sights by time, of length count. */
int slip_bump(const struct curve *curve, const struct curve_fit *fit, const struct equations *about,
              const int *order, int count);

#endif
