/* SPDX-License-Identifier: MIT */
#include "tests/support/http.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include <cmocka.h>
#include <curl/curl.h>

#define ANSWER_MAX ((size_t)32 * 1024 * 1024)

static size_t take(char *bytes, size_t size, size_t count, void *into) {
    text_add(into, bytes, size * count);
    return size * count;
}

static struct curl_slist *add_header(struct curl_slist *list, const char *format,
                                     const char *value) {
    char line[512];
    snprintf(line, sizeof line, format, value);
    list = curl_slist_append(list, line);
    assert_non_null(list);
    return list;
}

static struct curl_slist *headers_of(const struct ask *ask) {
    /* Content-Type has a default of its own in libcurl, and Expect a mind. */
    struct curl_slist *list = ask->type != NULL ? add_header(NULL, "Content-Type: %s", ask->type)
                                                : add_header(NULL, "%s", "Content-Type:");
    if (ask->key != NULL)
        list = add_header(list, "Authorization: Bearer %s", ask->key);
    for (size_t i = 0; i < HTTP_HEADERS_MAX && ask->header[i] != NULL; i++)
        list = add_header(list, "%s", ask->header[i]);
    return list;
}

void http_ask(const char *base, const struct ask *ask, struct answer *answer) {
    const char *method = ask->method == NULL ? "GET" : ask->method;
    char url[1024];
    *answer = (struct answer){0};
    text_init(&answer->headers, ANSWER_MAX);
    text_init(&answer->body, ANSWER_MAX);
    snprintf(url, sizeof url, "%s%s", base, ask->path);
    CURL *curl = curl_easy_init();
    assert_non_null(curl);
    struct curl_slist *headers = headers_of(ask);
    curl_easy_setopt(curl, CURLOPT_URL, url);
    curl_easy_setopt(curl, CURLOPT_PATH_AS_IS, 1L);
    curl_easy_setopt(curl, CURLOPT_TIMEOUT, 60L);
    curl_easy_setopt(curl, CURLOPT_PROXY, "");
    curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers);
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, &answer->body);
    curl_easy_setopt(curl, CURLOPT_HEADERFUNCTION, take);
    curl_easy_setopt(curl, CURLOPT_HEADERDATA, &answer->headers);
    if (ask->body != NULL) {
        curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE,
                         (curl_off_t)(ask->length > 0 ? ask->length : strlen(ask->body)));
        curl_easy_setopt(curl, CURLOPT_POSTFIELDS, ask->body);
    }
    if (strcmp(method, "HEAD") == 0)
        curl_easy_setopt(curl, CURLOPT_NOBODY, 1L);
    else
        curl_easy_setopt(curl, CURLOPT_CUSTOMREQUEST, method);
    CURLcode code = curl_easy_perform(curl);
    if (code != CURLE_OK)
        fail_msg("%s %s: %s", method, ask->path, curl_easy_strerror(code));
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &answer->status);
    curl_slist_free_all(headers);
    curl_easy_cleanup(curl);
    answer->json = json_loadb(answer->body.bytes, answer->body.length, 0, NULL);
}

void answer_release(struct answer *answer) {
    json_decref(answer->json);
    text_release(&answer->headers);
    text_release(&answer->body);
    answer->json = NULL;
}

void answer_header(const struct answer *answer, const char *name, char *out, size_t size) {
    size_t length = strlen(name);
    out[0] = '\0';
    for (const char *line = answer->headers.bytes; line != NULL && *line != '\0';
         line = strchr(line, '\n'), line = line == NULL ? NULL : line + 1) {
        if (strncasecmp(line, name, length) != 0 || line[length] != ':')
            continue;
        const char *value = line + length + 1 + strspn(line + length + 1, " ");
        snprintf(out, size, "%.*s", (int)strcspn(value, "\r\n"), value);
        return;
    }
}

bool answer_header_is(const struct answer *answer, const char *name, const char *value) {
    char found[1024];
    answer_header(answer, name, found, sizeof found);
    return strcmp(found, value) == 0;
}

static json_t *asked(const char *base, const struct ask *ask, long status) {
    struct answer answer;
    http_ask(base, ask, &answer);
    if (answer.status != status)
        fail_msg("%s %s: status %ld, not %ld: %s", ask->method == NULL ? "GET" : ask->method,
                 ask->path, answer.status, status, answer.body.bytes);
    json_t *json = json_incref(answer.json);
    answer_release(&answer);
    return json;
}

json_t *http_get(const char *base, const char *path, long status) {
    return asked(base, &(struct ask){.path = path}, status);
}

json_t *http_send(const char *base, const char *method, const char *path, const char *key,
                  const char *json, long status) {
    const struct ask ask = {.method = method,
                            .path = path,
                            .key = key,
                            .type = json == NULL ? NULL : "application/json",
                            .body = json};
    return asked(base, &ask, status);
}

void answer_assert_problem(const struct answer *answer, long status, const char *code,
                           const char *field) {
    const char *found = json_string_value(json_object_get(answer->json, "code"));
    const char *place = json_string_value(json_object_get(answer->json, "field"));
    if (answer->status != status || found == NULL || strcmp(found, code) != 0)
        fail_msg("status %ld, not %ld %s: %s", answer->status, status, code, answer->body.bytes);
    if (field == NULL ? place != NULL : place == NULL || strcmp(place, field) != 0)
        fail_msg("field %s, not %s: %s", place == NULL ? "none" : place,
                 field == NULL ? "none" : field, answer->body.bytes);
    assert_true(answer_header_is(answer, "Content-Type", "application/problem+json"));
    assert_int_equal(json_integer_value(json_object_get(answer->json, "status")), status);
}

void http_asset(const char *base, const char *ending, char *out, size_t size) {
    struct answer page;
    http_ask(base, &(struct ask){.path = "/"}, &page);
    assert_int_equal(page.status, 200);
    for (const char *at = page.body.bytes; (at = strstr(at, "\"/assets/")) != NULL; at++) {
        size_t length = strcspn(at + 1, "\"");
        if (length > strlen(ending) && length < size &&
            memcmp(at + 1 + length - strlen(ending), ending, strlen(ending)) == 0) {
            memcpy(out, at + 1, length);
            out[length] = '\0';
            answer_release(&page);
            return;
        }
    }
    fail_msg("the first page loads no %s", ending);
}
