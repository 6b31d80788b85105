/* SPDX-License-Identifier: MIT */
/* json_number: a number as JSON writes it (RFC 8259 sec. 6), whatever the locale says
 * of decimal points. One written without fraction and exponent is a whole number. */
#ifndef NOONARC_JSON_NUMBER_H
#define NOONARC_JSON_NUMBER_H

#include <stdbool.h>
#include <stdint.h>

struct json_number {
    bool is_whole;
    int64_t whole; /* of a whole number */
    double real;   /* of every number: the double nearest to it, ties to even, as strtod's */
};

enum json_number_status { JSON_NUMBER_READ, JSON_NUMBER_WRONG, JSON_NUMBER_TOO_LARGE };

/* Reads the number that begins at *at, of the text up to end, and moves *at behind it;
 * JSON_NUMBER_WRONG: to the character that cannot be part of one, or to end. Too large
 * are whole numbers beyond int64_t and others beyond double. */
enum json_number_status json_number_take(const char **at, const char *end, struct json_number *out);

#endif
