/* SPDX-License-Identifier: MIT */
/* options: one pass over the words, each looked up in the command's tables. */
#include "client/options.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/base/text.h"

static const struct option_row *find_row(const struct arguments *args, const char *name,
                                         size_t length) {
    for (int t = 0; t < args->tables; t++)
        for (size_t r = 0; r < args->table[t].count; r++) {
            const struct option_row *row = &args->table[t].rows[r];
            if (strlen(row->name) == length && memcmp(row->name, name, length) == 0)
                return row;
        }
    return NULL;
}

bool number_parse(const char *text, double *out) {
    if (*text == '\0' || strspn(text, "+-.0123456789eE") != strlen(text))
        return false;
    char *end;
    double number = strtod(text, &end);
    if (*end != '\0' || !isfinite(number))
        return false;
    *out = number;
    return true;
}

static int check_number(const struct option_row *row, const char *field, const char *text,
                        double *number, struct err *err) {
    if (!number_parse(text, number)) {
        const char *hint = strchr(text, ',') != NULL ? "; write the decimal mark as a point" : "";
        return err_set(err, ERR_WRONG_TYPE, field, "%s wants a number (%s), not \"%.40s\"%s", field,
                       row->value, text, hint);
    }
    if (row->kind == OPTION_COUNT && *number != floor(*number))
        return err_set(err, ERR_WRONG_TYPE, field, "%s wants a whole number, not %s", field, text);
    if ((row->min != 0.0 || row->max != 0.0) && (*number < row->min || *number > row->max)) {
        char least[TEXT_NUMBER_MAX], most[TEXT_NUMBER_MAX];
        text_number(row->min, least);
        text_number(row->max, most);
        return err_set(err, ERR_OUT_OF_RANGE, field, "%s must be %s to %s (%s), not %s", field,
                       least, most, row->value, text);
    }
    return 0;
}

static int check_value(const struct option_row *row, const char *field, const char *text,
                       double *number, struct err *err) {
    int32_t day_number;
    switch (row->kind) {
    case OPTION_FLAG:
        break;
    case OPTION_TEXT:
        if (*text == '\0')
            return err_set(err, ERR_MISSING_FIELD, field, "%s wants a value: %s", field,
                           row->value);
        break;
    case OPTION_NUMBER:
    case OPTION_COUNT:
        return check_number(row, field, text, number, err);
    case OPTION_DATE:
        if (!date_parse(text, &day_number))
            return err_set(err, ERR_BAD_DATE, field,
                           "%s wants a date like 2027-03-21, not \"%.40s\"", field, text);
        *number = day_number;
        break;
    }
    return 0;
}

/* Takes one option and perhaps the word after it; *used is set to the words taken. */
static int take_option(struct arguments *args, const char *word, const char *next, int *used,
                       struct err *err) {
    const char *equals = strchr(word, '=');
    size_t length = equals != NULL ? (size_t)(equals - word) : strlen(word);
    char field[64];
    snprintf(field, sizeof field, "%.*s", (int)(length < 60 ? length : 60), word);
    const struct option_row *row =
        length > 2 && word[1] == '-' ? find_row(args, word + 2, length - 2) : NULL;
    if (row == NULL)
        return err_set(err, ERR_UNKNOWN_FIELD, field, "there is no option %s here", field);
    if (!row->many && arguments_given(args, row->name))
        return err_set(err, ERR_OUT_OF_RANGE, field, "%s may be given only once", field);
    if (args->givens == ARGUMENTS_GIVEN_MAX)
        return err_set(err, ERR_OUT_OF_RANGE, field, "too many options: use a file");
    const char *text = NULL;
    double number = NAN;
    if (row->kind == OPTION_FLAG) {
        if (equals != NULL)
            return err_set(err, ERR_WRONG_TYPE, field, "%s takes no value", field);
    } else {
        text = equals != NULL ? equals + 1 : next;
        if (text == NULL)
            return err_set(err, ERR_MISSING_FIELD, field, "%s wants a value: %s", field,
                           row->value);
        if (check_value(row, field, text, &number, err) != 0)
            return -1;
        *used = equals != NULL ? 1 : 2;
    }
    int at = args->givens++;
    args->given[at].row = row;
    args->given[at].text = text;
    args->given[at].number = number;
    return 0;
}

int arguments_parse(struct arguments *args, int count, char *const *words, struct err *err) {
    args->givens = 0;
    args->operands = 0;
    bool options_end = false;
    for (int i = 0; i < count;) {
        const char *word = words[i];
        if (!options_end && strcmp(word, "--") == 0) {
            options_end = true;
            i++;
        } else if (!options_end && word[0] == '-' && word[1] != '\0') {
            int used = 1;
            if (take_option(args, word, i + 1 < count ? words[i + 1] : NULL, &used, err) != 0)
                return -1;
            i += used;
        } else if (args->operands == ARGUMENTS_OPERANDS_MAX) {
            return err_set(err, ERR_OUT_OF_RANGE, "", "too many words: \"%.40s\" is one too many",
                           word);
        } else {
            args->operand[args->operands++] = word;
            i++;
        }
    }
    return 0;
}

/* Index of the nth time an option was given, -1 when it was not. */
static int find_given(const struct arguments *args, const char *name, int nth) {
    assert(find_row(args, name, strlen(name)) != NULL);
    for (int i = 0; i < args->givens; i++)
        if (strcmp(args->given[i].row->name, name) == 0 && nth-- == 0)
            return i;
    return -1;
}

bool arguments_given(const struct arguments *args, const char *name) {
    return find_given(args, name, 0) >= 0;
}

const char *arguments_text(const struct arguments *args, const char *name, const char *fallback) {
    int at = find_given(args, name, 0);
    return at >= 0 ? args->given[at].text : fallback;
}

double arguments_number(const struct arguments *args, const char *name, double fallback) {
    int at = find_given(args, name, 0);
    return at >= 0 ? args->given[at].number : fallback;
}

const char *arguments_nth(const struct arguments *args, const char *name, int nth) {
    int at = find_given(args, name, nth);
    return at >= 0 ? args->given[at].text : NULL;
}

#define HELP_INDENT 26
#define HELP_WIDTH 80

static void print_wrapped(FILE *out, const char *help, int column) {
    while (*help != '\0') {
        size_t word = strcspn(help, " ");
        if (column > HELP_INDENT && column + 1 + (int)word > HELP_WIDTH) {
            fprintf(out, "\n%*s", HELP_INDENT, "");
            column = HELP_INDENT;
        } else if (column > HELP_INDENT) {
            fputc(' ', out);
            column++;
        }
        fwrite(help, 1, word, out);
        column += (int)word;
        help += word;
        help += strspn(help, " ");
    }
    fputc('\n', out);
}

void options_print(FILE *out, const struct option_table *table) {
    for (size_t r = 0; r < table->count; r++) {
        const struct option_row *row = &table->rows[r];
        int column = fprintf(out, "  --%s%s%s", row->name, row->value != NULL ? " " : "",
                             row->value != NULL ? row->value : "");
        if (column >= HELP_INDENT)
            fprintf(out, "\n%*s", HELP_INDENT, "");
        else
            fprintf(out, "%*s", HELP_INDENT - column, "");
        print_wrapped(out, row->help, HELP_INDENT);
    }
}
