/* SPDX-License-Identifier: MIT */
/* options: the command line as data. A command names its options in a const
 * table; the same table checks what was typed and prints the help, so the two
 * cannot disagree. Errors name the option and say what was expected. */
#ifndef NOONARC_OPTIONS_H
#define NOONARC_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "server/base/err.h"

enum option_kind {
    OPTION_FLAG,   /* takes no value */
    OPTION_TEXT,   /* any value that is not empty */
    OPTION_NUMBER, /* decimal number in [min, max] */
    OPTION_COUNT,  /* whole number in [min, max] */
    OPTION_DATE    /* YYYY-MM-DD */
};

struct option_row {
    const char *name;  /* without the dashes */
    const char *value; /* what the help calls the value, with its unit; NULL for a flag */
    double min, max;   /* of numbers; both 0: any finite number */
    const char *help;
    enum option_kind kind;
    bool many; /* may be given more than once */
};

struct option_table {
    const struct option_row *rows;
    size_t count;
};
#define OPTION_TABLE(array)                                                                        \
    { (array), sizeof(array) / sizeof(array)[0] }

#define ARGUMENTS_TABLES_MAX 4
#define ARGUMENTS_GIVEN_MAX 320 /* more than a run has readings */
#define ARGUMENTS_OPERANDS_MAX 8

/* What was typed. Texts are borrowed from argv. */
struct arguments {
    struct option_table table[ARGUMENTS_TABLES_MAX]; /* set by the caller before arguments_parse */
    int tables;
    int givens;
    struct {
        const struct option_row *row;
        const char *text; /* NULL for a flag */
        double number;    /* of numbers; days since 1970-01-01 of dates */
    } given[ARGUMENTS_GIVEN_MAX];
    int operands;
    const char *operand[ARGUMENTS_OPERANDS_MAX];
};

/* Checks count words against the tables. --name value and --name=value are the
 * same; -- ends the options. Returns 0, or -1 with the option in err->field. */
int arguments_parse(struct arguments *args, int count, char *const *words, struct err *err)
    __attribute__((warn_unused_result));

/* The option's value, or the fallback when it was not given. name must be in a
 * table. For options that may be given often, the nth (from 0) in order. */
bool arguments_given(const struct arguments *args, const char *name);
const char *arguments_text(const struct arguments *args, const char *name, const char *fallback);
double arguments_number(const struct arguments *args, const char *name, double fallback);
const char *arguments_nth(const struct arguments *args, const char *name, int nth);

/* A decimal number and nothing else: no blanks, hexadecimal, inf or nan. */
bool number_parse(const char *text, double *out);

/* Prints a table as help lines, wrapped to 80 columns. */
void options_print(FILE *out, const struct option_table *table);

#endif
