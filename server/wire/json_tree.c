/* SPDX-License-Identifier: MIT */
/* json_tree: jansson takes a text that it has no memory for as one written wrongly, or
 * cuts it short without a word. So its memory comes from here, where a want of it is
 * noted. */
#include "server/wire/json_tree.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>

static _Thread_local bool memory_was_short;

static void *allocate(size_t size) {
    void *memory = malloc(size);
    memory_was_short = memory_was_short || memory == NULL;
    return memory;
}

static void take_over(void) {
    json_set_alloc_funcs(allocate, free);
}

static const char *describe(const json_error_t *error) {
    switch (json_error_code(error)) {
    case json_error_duplicate_key:
        return "a key stands there twice";
    case json_error_numeric_overflow:
        return "a number there is too large";
    case json_error_invalid_utf8:
        return "the text there is not UTF-8";
    case json_error_null_character:
    case json_error_null_byte_in_key:
        return "a text there holds a NUL character";
    case json_error_premature_end_of_input:
        return "the text ends too early";
    case json_error_end_of_input_expected:
        return "something follows after the end";
    case json_error_stack_overflow:
        return "the nesting is too deep";
    default:
        return "the syntax is wrong there";
    }
}

int json_tree_read(const char *bytes, size_t length, json_t **out, struct err *err) {
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    json_error_t error;
    pthread_once(&once, take_over);
    memory_was_short = false;
    json_t *root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, &error);
    if (memory_was_short) {
        json_decref(root);
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    if (root == NULL)
        return err_set(err, ERR_BAD_JSON, NULL, "line %d, column %d: %s", error.line, error.column,
                       describe(&error));
    *out = root;
    return 0;
}
