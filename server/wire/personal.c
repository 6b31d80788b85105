/* SPDX-License-Identifier: MIT */
#include "server/wire/personal.h"

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#define LETTERS "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
#define DIGITS "0123456789"
#define DIALLED DIGITS " +()/.-"
#define DIGITS_MIN 7
#define DIGITS_MAX 15

/* Something before the at sign, and after it a name with a dot inside. */
static bool has_mail(const char *text) {
    for (const char *at = strchr(text, '@'); at != NULL; at = strchr(at + 1, '@')) {
        bool named = at > text && strchr(LETTERS DIGITS "._%+-", at[-1]) != NULL;
        size_t host = strspn(at + 1, LETTERS DIGITS "-");
        bool dotted = host > 0 && at[1 + host] == '.' && strspn(at + 2 + host, LETTERS DIGITS) > 1;
        if (named && dotted)
            return true;
    }
    return false;
}

/* dddd-dd-dd and nothing more than blanks about it. */
static bool is_date(const char *text, size_t length) {
    size_t first = strcspn(text, DIGITS);
    if (length < first + 10)
        return false;
    for (size_t i = 0; i < 10; i++) {
        char c = text[first + i];
        if (i == 4 || i == 7 ? c != '-' : strchr(DIGITS, c) == NULL)
            return false;
    }
    for (size_t i = first + 10; i < length; i++)
        if (strchr(DIGITS, text[i]) != NULL)
            return false;
    return true;
}

/* A dot between two digits: a decimal number. */
static bool is_decimal(const char *text, size_t length) {
    for (size_t i = 1; i + 1 < length; i++)
        if (text[i] == '.' && strchr(DIGITS, text[i - 1]) != NULL &&
            strchr(DIGITS, text[i + 1]) != NULL)
            return true;
    return false;
}

static bool is_number_to_dial(const char *text, size_t length) {
    size_t digits = 0, blanks = strspn(text, " ");
    for (size_t i = 0; i < length; i++)
        digits += text[i] >= '0' && text[i] <= '9';
    bool dials = blanks < length && strchr("+0(", text[blanks]) != NULL;
    return digits >= DIGITS_MIN && digits <= DIGITS_MAX && !is_date(text, length) &&
           (dials || !is_decimal(text, length));
}

static bool has_telephone(const char *text) {
    for (const char *at = text + strcspn(text, DIALLED); *at != '\0';) {
        size_t length = strspn(at, DIALLED);
        if (is_number_to_dial(at, length))
            return true;
        at += length;
        at += strcspn(at, DIALLED);
    }
    return false;
}

enum personal personal_find(const char *text) {
    return has_mail(text)        ? PERSONAL_MAIL
           : has_telephone(text) ? PERSONAL_TELEPHONE
                                 : PERSONAL_NONE;
}

void personal_warn(const char *field, const char *text, struct warnings *warnings) {
    enum personal found = personal_find(text);
    if (found != PERSONAL_NONE)
        warning_add(warnings, WARNING_PERSONAL, field,
                    "this will be public and looks as if it held %s; take it out if it belongs to "
                    "a person, and never write a pupil's name",
                    found == PERSONAL_MAIL ? "a mail address" : "a telephone number");
}
