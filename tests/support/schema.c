/* SPDX-License-Identifier: MIT */
#include "tests/support/schema.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct check {
    const json_t *document;
    char *why;
    size_t size;
};

typedef bool keyword_check(const struct check *check, const json_t *schema, const json_t *argument,
                           const json_t *value, const char *place);

static bool accepts(const struct check *check, const json_t *schema, const json_t *value,
                    const char *place);

static bool refuse(const struct check *check, const char *place, const char *what) {
    snprintf(check->why, check->size, "%s: %s", place[0] == '\0' ? "/" : place, what);
    return false;
}

const json_t *schema_resolve(const json_t *document, const json_t *schema) {
    for (int depth = 0; depth < 8; depth++) {
        const char *ref = json_string_value(json_object_get(schema, "$ref"));
        if (ref == NULL)
            return schema;
        if (strncmp(ref, "#/", 2) != 0)
            return NULL;
        schema = document;
        for (const char *at = ref + 2; schema != NULL && *at != '\0';) {
            char key[100];
            size_t length = strcspn(at, "/");
            snprintf(key, sizeof key, "%.*s", (int)length, at);
            schema = json_object_get(schema, key);
            at += length + (at[length] == '/');
        }
    }
    return NULL;
}

static bool is_of_type(const json_t *value, const char *type) {
    if (strcmp(type, "integer") == 0)
        return json_is_integer(value) ||
               (json_is_real(value) && floor(json_real_value(value)) == json_real_value(value));
    return (strcmp(type, "number") == 0 && json_is_number(value)) ||
           (strcmp(type, "string") == 0 && json_is_string(value)) ||
           (strcmp(type, "boolean") == 0 && json_is_boolean(value)) ||
           (strcmp(type, "null") == 0 && json_is_null(value)) ||
           (strcmp(type, "object") == 0 && json_is_object(value)) ||
           (strcmp(type, "array") == 0 && json_is_array(value));
}

static bool check_type(const struct check *check, const json_t *schema, const json_t *argument,
                       const json_t *value, const char *place) {
    size_t i;
    const json_t *type;
    (void)schema;
    if (json_is_string(argument))
        return is_of_type(value, json_string_value(argument)) || refuse(check, place, "type");
    json_array_foreach(argument, i, type) {
        if (is_of_type(value, json_string_value(type)))
            return true;
    }
    return refuse(check, place, "type");
}

static bool check_enum(const struct check *check, const json_t *schema, const json_t *argument,
                       const json_t *value, const char *place) {
    size_t i;
    const json_t *one;
    (void)schema;
    json_array_foreach(argument, i, one) {
        if (json_equal(one, value))
            return true;
    }
    return refuse(check, place, "enum");
}

static bool check_any_of(const struct check *check, const json_t *schema, const json_t *argument,
                         const json_t *value, const char *place) {
    size_t i;
    const json_t *one;
    (void)schema;
    json_array_foreach(argument, i, one) {
        if (accepts(check, one, value, place))
            return true;
    }
    return false;
}

static bool check_required(const struct check *check, const json_t *schema, const json_t *argument,
                           const json_t *value, const char *place) {
    size_t i;
    const json_t *key;
    (void)schema;
    if (!json_is_object(value))
        return true;
    json_array_foreach(argument, i, key) {
        if (json_object_get(value, json_string_value(key)) == NULL)
            return refuse(check, place, json_string_value(key));
    }
    return true;
}

static bool check_properties(const struct check *check, const json_t *schema,
                             const json_t *argument, const json_t *value, const char *place) {
    const char *key;
    json_t *member;
    (void)schema;
    json_object_foreach((json_t *)value, key, member) {
        char inner[300];
        const json_t *inner_schema = json_object_get(argument, key);
        snprintf(inner, sizeof inner, "%.200s/%.80s", place, key);
        if (inner_schema != NULL && !accepts(check, inner_schema, member, inner))
            return false;
    }
    return true;
}

static bool check_additional(const struct check *check, const json_t *schema,
                             const json_t *argument, const json_t *value, const char *place) {
    const char *key;
    json_t *member;
    if (!json_is_false(argument))
        return refuse(check, place, "additionalProperties other than false");
    json_object_foreach((json_t *)value, key, member) {
        if (json_object_get(json_object_get(schema, "properties"), key) == NULL)
            return refuse(check, place, key);
    }
    return true;
}

static bool check_items(const struct check *check, const json_t *schema, const json_t *argument,
                        const json_t *value, const char *place) {
    size_t i;
    const json_t *item;
    (void)schema;
    json_array_foreach(value, i, item) {
        char inner[300];
        snprintf(inner, sizeof inner, "%.200s/%zu", place, i);
        if (!accepts(check, argument, item, inner))
            return false;
    }
    return true;
}

/* How large a value is, in the sense of the keyword; NAN: it does not apply. */
static double measure(const json_t *value, const char *keyword) {
    if (strstr(keyword, "Length") != NULL)
        return json_is_string(value) ? (double)json_string_length(value) : NAN;
    if (strstr(keyword, "Items") != NULL)
        return json_is_array(value) ? (double)json_array_size(value) : NAN;
    return json_is_number(value) ? json_number_value(value) : NAN;
}

static bool check_limit(const struct check *check, const char *keyword, const json_t *argument,
                        const json_t *value, const char *place) {
    double size = measure(value, keyword), limit = json_number_value(argument);
    bool low = strncmp(keyword, "min", 3) == 0 ? size < limit : false;
    bool high = strncmp(keyword, "max", 3) == 0 ? size > limit : false;
    bool exclusive = strcmp(keyword, "exclusiveMinimum") == 0 && size <= limit;
    return (!low && !high && !exclusive) || refuse(check, place, keyword);
}

static bool accepts(const struct check *check, const json_t *schema, const json_t *value,
                    const char *place) {
    static const struct {
        const char *keyword;
        keyword_check *run; /* NULL: tells people something */
    } keywords[] = {{"type", check_type},
                    {"enum", check_enum},
                    {"anyOf", check_any_of},
                    {"required", check_required},
                    {"properties", check_properties},
                    {"additionalProperties", check_additional},
                    {"items", check_items},
                    {"description", NULL},
                    {"default", NULL},
                    {"format", NULL},
                    {"pattern", NULL}};
    static const char limits[] = " minimum maximum exclusiveMinimum minLength maxLength minItems "
                                 "maxItems ";
    const char *key;
    json_t *argument;
    schema = schema_resolve(check->document, schema);
    if (schema == NULL)
        return refuse(check, place, "$ref to nothing");
    json_object_foreach((json_t *)schema, key, argument) {
        char word[64];
        bool known = false;
        snprintf(word, sizeof word, " %s ", key);
        if (strstr(limits, word) != NULL) {
            if (!check_limit(check, key, argument, value, place))
                return false;
            known = true;
        }
        for (size_t i = 0; i < sizeof keywords / sizeof keywords[0]; i++)
            if (strcmp(keywords[i].keyword, key) == 0) {
                known = true;
                if (keywords[i].run != NULL &&
                    !keywords[i].run(check, schema, argument, value, place))
                    return false;
            }
        if (!known)
            return refuse(check, place, key);
    }
    return true;
}

bool schema_accepts(const json_t *document, const json_t *schema, const json_t *value, char *why,
                    size_t size) {
    const struct check check = {.document = document, .why = why, .size = size};
    why[0] = '\0';
    return accepts(&check, schema, value, "");
}
