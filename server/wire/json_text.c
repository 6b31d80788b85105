/* SPDX-License-Identifier: MIT */
/* json_text: a scanner by hand. A mistake moves to the end of the text, where nothing
 * can be read any more; of mistakes the first is kept. */
#include "server/wire/json_text.h"

#include <stdint.h>
#include <string.h>

#include "server/wire/utf8.h"

void json_text_init(struct json_text *text, const char *bytes, size_t length) {
    text->string = "";
    text->length = 0;
    text->begin = text->at = text->token = bytes;
    text->end = bytes + length;
    text->depth = 0;
    text->wrong = text->wrong_at = NULL;
}

static void refuse(struct json_text *text, const char *at, const char *why) {
    if (text->wrong == NULL) {
        text->wrong = why;
        text->wrong_at = at;
    }
    text->at = text->end;
}

/* What stands at text->at may not stand there. */
static void refuse_here(struct json_text *text) {
    const char *at = text->at;
    uint32_t code;
    refuse(text, text->at,
           text->at == text->end               ? "the text ends too early"
           : !utf8_next(&at, text->end, &code) ? "the text there is not UTF-8"
                                               : "the syntax is wrong there");
}

void json_text_refuse_twice(struct json_text *text) {
    refuse(text, text->token, "a key stands there twice");
}

static void take_blanks(struct json_text *text) {
    while (text->at < text->end &&
           (*text->at == ' ' || *text->at == '\n' || *text->at == '\r' || *text->at == '\t'))
        text->at++;
}

static bool take_char(struct json_text *text, char wanted) {
    if (text->at < text->end && *text->at == wanted) {
        text->at++;
        return true;
    }
    refuse_here(text);
    return false;
}

/* ---- texts ---- */

/* ASCII that stands for itself in a text: all but controls, quotation mark and backslash. */
static const bool is_plain[256] = {
    [' ' ... '!'] = true, ['#' ... '['] = true, [']' ... 0x7F] = true};

static const char *behind_plain(const char *at, const char *end) {
    while (at < end && is_plain[(unsigned char)*at])
        at++;
    return at;
}

/* Moves over characters that stand for themselves. False when neither the end of the text
 * nor an escape follows. */
static bool take_plain(struct json_text *text) {
    uint32_t code;
    do
        text->at = behind_plain(text->at, text->end);
    while (text->at < text->end && (unsigned char)*text->at >= 0x80 &&
           utf8_next(&text->at, text->end, &code));
    if (text->at < text->end && (*text->at == '"' || *text->at == '\\'))
        return true;
    refuse_here(text);
    return false;
}

/* Adds to the text that is decoded. */
static void keep(struct json_text *text, const char *bytes, size_t length) {
    if (text->length < JSON_TEXT_KEPT) {
        const size_t room = JSON_TEXT_KEPT - text->length;
        memcpy(text->decoded + text->length, bytes, length < room ? length : room);
    }
    text->length += length;
}

static int hex_digit(char c) {
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

/* Four hexadecimal digits: a unit of UTF-16. */
static bool take_unit(struct json_text *text, uint32_t *unit) {
    *unit = 0;
    for (int i = 0; i < 4; i++, text->at++) {
        const int digit = text->at < text->end ? hex_digit(*text->at) : -1;
        if (digit < 0) {
            refuse_here(text);
            return false;
        }
        *unit = *unit << 4 | (uint32_t)digit;
    }
    return true;
}

/* \uXXXX, or two of them for a character beyond U+FFFF; text->at is behind the first u. */
static bool take_code(struct json_text *text, uint32_t *code) {
    const char *const escape = text->at - 2;
    uint32_t low = 0;
    if (!take_unit(text, code))
        return false;
    if (*code == 0) {
        refuse(text, escape, "a text there holds a NUL character");
        return false;
    }
    if (*code < 0xD800 || *code > 0xDFFF)
        return true;
    if (*code < 0xDC00 &&
        (!take_char(text, '\\') || !take_char(text, 'u') || !take_unit(text, &low)))
        return false;
    if (low < 0xDC00 || low > 0xDFFF) {
        refuse(text, escape, "the syntax is wrong there");
        return false;
    }
    *code = 0x10000 + ((*code - 0xD800) << 10) + (low - 0xDC00);
    return true;
}

/* The escape at text->at, decoded. */
static bool take_escape(struct json_text *text) {
    static const char letters[] = "\"\\/bfnrt", meant[] = "\"\\/\b\f\n\r\t";
    text->at++;
    const char *letter =
        text->at < text->end && *text->at != '\0' ? strchr(letters, *text->at) : NULL;
    if (letter != NULL) {
        keep(text, &meant[letter - letters], 1);
        text->at++;
        return true;
    }
    uint32_t code;
    char utf8[4];
    if (!take_char(text, 'u') || !take_code(text, &code))
        return false;
    keep(text, utf8, utf8_put(code, utf8));
    return true;
}

/* The text whose quotation mark stands at text->at. Without escapes it is read where it
 * stands. */
static bool take_string(struct json_text *text) {
    text->token = text->at;
    if (!take_char(text, '"'))
        return false;
    const char *from = text->at;
    if (!take_plain(text))
        return false;
    if (*text->at == '"') {
        text->string = from;
        text->length = (size_t)(text->at++ - from);
        return true;
    }
    text->string = text->decoded;
    text->length = 0;
    while (*text->at != '"') {
        keep(text, from, (size_t)(text->at - from));
        if (!take_escape(text))
            return false;
        from = text->at;
        if (!take_plain(text))
            return false;
    }
    keep(text, from, (size_t)(text->at++ - from));
    return true;
}

/* ---- values ---- */

static enum json_kind take_word(struct json_text *text, const char *word, enum json_kind kind) {
    for (; *word != '\0'; word++)
        if (!take_char(text, *word))
            return JSON_KIND_WRONG;
    return kind;
}

static enum json_kind take_number(struct json_text *text) {
    switch (json_number_take(&text->at, text->end, &text->number)) {
    case JSON_NUMBER_READ:
        return JSON_KIND_NUMBER;
    case JSON_NUMBER_WRONG:
        refuse_here(text);
        break;
    case JSON_NUMBER_TOO_LARGE:
        refuse(text, text->token, "a number there is too large");
        break;
    }
    return JSON_KIND_WRONG;
}

static enum json_kind open(struct json_text *text, enum json_kind kind) {
    if (text->depth == JSON_TEXT_DEPTH_MAX) {
        refuse(text, text->at, "the nesting is too deep");
        return JSON_KIND_WRONG;
    }
    text->depth++;
    text->at++;
    return kind;
}

enum json_kind json_text_value(struct json_text *text) {
    take_blanks(text);
    text->token = text->at;
    switch (text->at < text->end ? *text->at : '\0') {
    case '{':
        return open(text, JSON_KIND_OBJECT);
    case '[':
        return open(text, JSON_KIND_LIST);
    case '"':
        return take_string(text) ? JSON_KIND_TEXT : JSON_KIND_WRONG;
    case 't':
        return take_word(text, "true", JSON_KIND_TRUE);
    case 'f':
        return take_word(text, "false", JSON_KIND_FALSE);
    case 'n':
        return take_word(text, "null", JSON_KIND_NULL);
    case '-':
    case '0':
    case '1':
    case '2':
    case '3':
    case '4':
    case '5':
    case '6':
    case '7':
    case '8':
    case '9':
        return take_number(text);
    default:
        refuse_here(text);
        return JSON_KIND_WRONG;
    }
}

/* False when the mark that closes the object or list stands there, or, after others, no
 * comma. */
static bool goes_on(struct json_text *text, char close, size_t already) {
    take_blanks(text);
    if (text->at < text->end && *text->at == close) {
        text->at++;
        text->depth--;
        return false;
    }
    return already == 0 || take_char(text, ',');
}

bool json_text_member(struct json_text *text, size_t already) {
    if (!goes_on(text, '}', already))
        return false;
    take_blanks(text);
    if (!take_string(text))
        return false;
    take_blanks(text);
    return take_char(text, ':');
}

bool json_text_element(struct json_text *text, size_t already) {
    return goes_on(text, ']', already);
}

void json_text_skip(struct json_text *text, enum json_kind kind) {
    if (kind == JSON_KIND_OBJECT)
        for (size_t n = 0; json_text_member(text, n); n++)
            json_text_skip(text, json_text_value(text));
    if (kind == JSON_KIND_LIST)
        for (size_t n = 0; json_text_element(text, n); n++)
            json_text_skip(text, json_text_value(text));
}

/* ---- the end ---- */

static void count_lines(const struct json_text *text, size_t *line, size_t *column) {
    *line = 1;
    *column = text->wrong_at < text->end ? 1 : 0;
    for (const char *at = text->begin; at < text->wrong_at; at++) {
        if (*at == '\n') {
            ++*line;
            *column = text->wrong_at < text->end ? 1 : 0;
        } else if (((unsigned char)*at & 0xC0) != 0x80) { /* the first byte of a character */
            ++*column;
        }
    }
}

int json_text_finish(struct json_text *text, struct err *err) {
    take_blanks(text);
    if (text->at < text->end)
        refuse(text, text->at, "something follows after the end");
    if (text->wrong == NULL)
        return 0;
    size_t line, column;
    count_lines(text, &line, &column);
    return err_set(err, ERR_BAD_JSON, NULL, "line %zu, column %zu: %s", line, column, text->wrong);
}
