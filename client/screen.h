/* SPDX-License-Identifier: MIT */
/* screen: how answers look in a terminal. The answer comes first, its
 * uncertainty beside it, reasons below. Tables are aligned in a terminal and
 * tab-separated when piped. Text from elsewhere cannot steer the terminal:
 * control characters are shown as a question mark. */
#ifndef NOONARC_SCREEN_H
#define NOONARC_SCREEN_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#define SCREEN_CELL_MAX 192

enum cell_kind {
    CELL_TEXT,    /* a string, or a number as it is */
    CELL_TIME,    /* RFC 3339 in UTC, shown to the second */
    CELL_FIXED,   /* a number with so many decimals */
    CELL_MEASURE, /* a number with the sigma of another key: two digits of sigma */
    CELL_LENGTH,  /* how many an array holds */
    CELL_CODE,    /* a code of the service, shown as the words it is made of */
    CELL_YES      /* yes or no, of a boolean */
};

struct column {
    const char *title;     /* with the unit */
    const char *key;       /* "a" or "a/b" for b inside a */
    const char *sigma_key; /* of CELL_MEASURE */
    enum cell_kind kind;
    int decimals; /* of CELL_FIXED */
};

/* The value at "a/b" inside an object; NULL when there is none. Borrowed. */
const json_t *screen_get(const json_t *object, const char *key);

/* The same as a C value: NAN, "" when absent or of another type. */
double screen_number(const json_t *object, const char *key);
const char *screen_string(const json_t *object, const char *key);

/* "too few readings" of too_few_readings, in place. */
void screen_words(char *code);

/* Prints a text with control characters made harmless. */
void screen_put(FILE *out, const char *text);

/* Prints rows (an array of objects) as a table with a heading line. */
void screen_table(FILE *out, bool aligned, const struct column *columns, size_t count,
                  const json_t *rows);

/* "29.213 ± 0.041 unit"; the value alone when sigma is not known. */
void screen_measure(FILE *out, double value, double sigma, const char *unit);

/* "left out: 1 run excluded by an organiser, 2 off the line" and so on, nothing when
 * nothing was; lead comes before it. */
void screen_print_left_out(FILE *out, const char *lead, const json_t *left_out_counts);

/* "2027-03-20 11:58:03 UTC (12:58:03 CET, Europe/Paris)": by the clocks of a zone,
 * which is said, and never by this machine's own. zone "": UTC alone. */
void screen_time(FILE *out, double t_utc_s, const char *zone);

/* "2027-03-20 11:58:03 UTC (12:10:52 local mean solar time)", for a meridian whose
 * zone is not known. */
void screen_solar_time(FILE *out, double t_utc_s, double lon_deg);

/* Prints text wrapped to 78 columns with every line indented. */
void screen_wrapped(FILE *out, int indent, const char *text);

/* The same as an item of a list: the mark first, the lines after it indented by 2. */
void screen_item(FILE *out, char mark, const char *text);

#endif
