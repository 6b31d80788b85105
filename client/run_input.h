/* SPDX-License-Identifier: MIT */
/* run_input: a run from options, from a JSON document or a spreadsheet in a file
 * or on standard input. (run_prompt.h asks a person instead.) */
#ifndef NOONARC_RUN_INPUT_H
#define NOONARC_RUN_INPUT_H

#include "client/client.h"
#include "server/wire/records.h"

/* --gnomon, --edge, --reading, --file, --sky, --level, --note, --pressure,
 * --temperature, --clock-sigma, --tilt-sigma */
extern const struct option_table run_options;

#define RUN_DOCUMENT_MAX ((size_t)1 << 20)

/* True when the options or standard input bring the readings, false when a person
 * at a terminal is to be asked. */
bool run_input_given(const struct client *client);

/* Fills a run. known (may be NULL) lends its usual gnomon and edge where none are
 * given. body, when not NULL, becomes the document to send: the very bytes of a
 * JSON file that no option changes, else one made of the run. Initialised by the
 * caller. Options win over the file. */
enum leave run_input_take(struct client *client, const struct site_record *known,
                          struct run_record *run, struct text *body);

/* Replaces body by the document of a run. */
enum leave run_input_document(struct client *client, const struct run_record *run,
                              struct text *body);

/* The gnomon that a site usually uses, as one part; false when none is known. */
bool run_input_usual_gnomon(const struct site_record *known, struct gnomon *gnomon);

#endif
