/* SPDX-License-Identifier: MIT */
/* utf8: a decoder and two tables of ranges. */
#include "server/wire/utf8.h"

#include <assert.h>
#include <string.h>

struct range {
    uint32_t first, last;
};

static bool is_in(const struct range *ranges, size_t count, uint32_t code) {
    for (size_t i = 0; i < count; i++)
        if (code >= ranges[i].first && code <= ranges[i].last)
            return true;
    return false;
}

bool utf8_next(const char **at, const char *end, uint32_t *code) {
    if (*at >= end)
        return false;
    const unsigned char *byte = (const unsigned char *)*at;
    size_t left = (size_t)(end - *at);
    size_t length;
    uint32_t value, least;
    if (byte[0] < 0x80) {
        length = 1, value = byte[0], least = 0;
    } else if ((byte[0] & 0xE0) == 0xC0) {
        length = 2, value = byte[0] & 0x1F, least = 0x80;
    } else if ((byte[0] & 0xF0) == 0xE0) {
        length = 3, value = byte[0] & 0x0F, least = 0x800;
    } else if ((byte[0] & 0xF8) == 0xF0) {
        length = 4, value = byte[0] & 0x07, least = 0x10000;
    } else {
        return false;
    }
    if (length > left)
        return false;
    for (size_t i = 1; i < length; i++) {
        if ((byte[i] & 0xC0) != 0x80)
            return false;
        value = value << 6 | (byte[i] & 0x3F);
    }
    if (value < least || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF))
        return false;
    *at += length;
    *code = value;
    return true;
}

size_t utf8_put(uint32_t code, char out[4]) {
    const size_t length = code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
    static const unsigned char lead[] = {0x00, 0xC0, 0xE0, 0xF0};
    for (size_t i = length; i-- > 1; code >>= 6)
        out[i] = (char)(0x80 | (code & 0x3F));
    out[0] = (char)(lead[length - 1] | code);
    return length;
}

bool utf8_is_control(uint32_t code) {
    static const struct range ranges[] = {
        {0x00, 0x1F},     {0x7F, 0x9F},     {0x61C, 0x61C},   {0x200E, 0x200F}, {0x2028, 0x202E},
        {0x2066, 0x2069}, {0xFDD0, 0xFDEF}, {0xFEFF, 0xFEFF}, {0xFFF9, 0xFFFB}, {0xE0000, 0xE007F},
    };
    return (code & 0xFFFE) == 0xFFFE || is_in(ranges, sizeof ranges / sizeof ranges[0], code);
}

bool utf8_is_blank(uint32_t code) {
    static const struct range ranges[] = {
        {0x20, 0x20},     {0xA0, 0xA0},     {0x1680, 0x1680}, {0x2000, 0x200D},
        {0x202F, 0x202F}, {0x205F, 0x2060}, {0x3000, 0x3000}, {0x3164, 0x3164},
    };
    return is_in(ranges, sizeof ranges / sizeof ranges[0], code);
}

bool utf8_is_wordlike(uint32_t code) {
    if (code < 0x80)
        return (code >= '0' && code <= '9') || (code >= 'A' && code <= 'Z') ||
               (code >= 'a' && code <= 'z');
    static const struct range others[] = {
        {0x80, 0xA9},     {0xAB, 0xB4},     {0xB6, 0xB9},       {0xBB, 0xBF},
        {0xD7, 0xD7},     {0xF7, 0xF7},     {0x2B9, 0x36F},     {0x37E, 0x37E},
        {0x483, 0x489},   {0x591, 0x5CF},   {0x600, 0x61F},     {0x64B, 0x65F},
        {0x2000, 0x2BFF}, {0x2E00, 0x2E7F}, {0x2FF0, 0x3004},   {0x3008, 0x3020},
        {0x302A, 0x3030}, {0xE000, 0xF8FF}, {0xFB29, 0xFB29},   {0xFD3E, 0xFD3F},
        {0xFE00, 0xFE6F}, {0xFF01, 0xFF0F}, {0xFF1A, 0xFF20},   {0xFF3B, 0xFF40},
        {0xFF5B, 0xFF65}, {0xFFE0, 0xFFFF}, {0x1F000, 0x1FAFF}, {0xE0000, 0x10FFFF},
    };
    return !utf8_is_control(code) && !utf8_is_blank(code) &&
           !is_in(others, sizeof others / sizeof others[0], code);
}

size_t utf8_cut(const char *text, size_t length, size_t maximum) {
    const char *at = text, *end = text + length;
    size_t whole = 0;
    uint32_t code;
    while (utf8_next(&at, end, &code) && (size_t)(at - text) <= maximum)
        whole = (size_t)(at - text);
    return whole;
}

void utf8_show(const char *text, char *out, size_t size) {
    static const char ellipsis[] = "\xE2\x80\xA6";
    assert(size >= 8);
    const char *at = text, *end = text + strlen(text);
    size_t length = 0, before_ellipsis = 0; /* the longest that leaves room for one */
    while (at < end) {
        const char *from = at;
        uint32_t code;
        bool readable = utf8_next(&at, end, &code);
        if (!readable)
            at++;
        const char *shown = readable && !utf8_is_control(code) ? from : "?";
        size_t bytes = shown == from ? (size_t)(at - from) : 1;
        if (length + sizeof ellipsis <= size)
            before_ellipsis = length;
        if (length + bytes + 1 > size) {
            memcpy(out + before_ellipsis, ellipsis, sizeof ellipsis - 1);
            length = before_ellipsis + sizeof ellipsis - 1;
            break;
        }
        memcpy(out + length, shown, bytes);
        length += bytes;
    }
    out[length] = '\0';
}
