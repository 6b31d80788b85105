/* SPDX-License-Identifier: MIT */
/* net: libcurl, set up the same way for every exchange. */
#include "client/net.h"

#include <curl/curl.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

void net_answer_init(struct net_answer *answer) {
    answer->status = 0;
    text_init(&answer->body, NET_ANSWER_MAX);
}

void net_answer_release(struct net_answer *answer) {
    text_release(&answer->body);
}

static const char *host_of(const char *server) {
    const char *host = strstr(server, "://");
    return host != NULL ? host + 3 : server;
}

bool net_server_valid(const char *server) {
    if (strncmp(server, "http://", 7) != 0 && strncmp(server, "https://", 8) != 0)
        return false;
    const char *host = host_of(server);
    if (*host == '\0' || *host == '/' || *host == ':')
        return false;
    for (const char *at = host; *at != '\0'; at++)
        if (*at <= ' ' || *at >= 127 || strchr("@?#\"\\", *at) != NULL)
            return false;
    return true;
}

static bool loopback(const char *server) {
    static const char *const names[] = {"127.0.0.1", "localhost", "[::1]"};
    const char *host = host_of(server);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        size_t length = strlen(names[i]);
        if (strncmp(host, names[i], length) == 0 && strchr(":/", host[length]) != NULL)
            return true; /* strchr finds the terminating NUL too */
    }
    return false;
}

bool net_server_exposed(const char *server) {
    return strncmp(server, "http://", 7) == 0 && !loopback(server);
}

static size_t receive(char *bytes, size_t size, size_t count, void *context) {
    struct text *body = context;
    text_add(body, bytes, size * count);
    return body->failed ? 0 : size * count;
}

/* Adds "name: value"; false when memory is short or the value would break out of its line. */
static bool add_header(struct curl_slist **headers, const char *name, const char *value) {
    struct text line;
    text_init(&line, 8192);
    text_format(&line, "%s: %s", name, value);
    struct curl_slist *longer = NULL;
    if (!line.failed && strpbrk(value, "\r\n") == NULL)
        longer = curl_slist_append(*headers, line.bytes);
    text_release(&line);
    if (longer != NULL)
        *headers = longer;
    return longer != NULL;
}

static bool add_headers(struct curl_slist **headers, const struct net_request *request) {
    struct text bearer;
    text_init(&bearer, 1024);
    bool added = true;
    if (request->key != NULL) {
        text_format(&bearer, "Bearer %s", request->key);
        added = !bearer.failed && add_header(headers, "Authorization", bearer.bytes);
    }
    if (request->idempotency_key != NULL)
        added = added && add_header(headers, "Idempotency-Key", request->idempotency_key);
    if (request->body != NULL)
        added = added && add_header(headers, "Content-Type", request->content_type) &&
                add_header(headers, "Expect", ""); /* no waiting for 100 Continue */
    text_release(&bearer);
    return added;
}

static void set_options(CURL *curl, const char *server, const struct net_request *request,
                        struct text *body) {
    curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, "http,https");
    curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(curl, CURLOPT_SSL_VERIFYPEER, 1L);
    curl_easy_setopt(curl, CURLOPT_SSL_VERIFYHOST, 2L);
    curl_easy_setopt(curl, CURLOPT_CONNECTTIMEOUT, NET_CONNECT_S);
    curl_easy_setopt(curl, CURLOPT_TIMEOUT, NET_TOTAL_S);
    curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(curl, CURLOPT_ACCEPT_ENCODING, "gzip");
    curl_easy_setopt(curl, CURLOPT_USERAGENT, "noonarc");
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, receive);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, body);
    if (loopback(server))
        curl_easy_setopt(curl, CURLOPT_PROXY, "");
    curl_easy_setopt(curl, CURLOPT_CUSTOMREQUEST, request->method);
    if (request->body != NULL) {
        curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)request->body_length);
        curl_easy_setopt(curl, CURLOPT_POSTFIELDS, request->body);
    }
}

static double now_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void put_url(struct text *url, const char *server, const char *path) {
    size_t prefix = strlen(server);
    while (prefix > 0 && server[prefix - 1] == '/')
        prefix--;
    text_add(url, server, prefix);
    text_put(url, path);
}

int net_exchange(const char *server, const struct net_request *request, struct net_answer *answer,
                 struct err *err) {
    int result = -1;
    struct curl_slist *headers = NULL;
    struct text url;
    text_init(&url, 8192);
    CURL *curl = curl_easy_init();
    put_url(&url, server, request->path);
    if (curl == NULL || url.failed || !add_headers(&headers, request)) {
        err_set(err, ERR_INTERNAL, "", "the request could not be made");
        goto cleanup;
    }
    text_release(&answer->body);
    set_options(curl, server, request, &answer->body);
    curl_easy_setopt(curl, CURLOPT_URL, url.bytes);
    curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers);
    double began_utc_s = now_utc_s();
    CURLcode code = curl_easy_perform(curl);
    if (code != CURLE_OK) {
        err_set(err, ERR_NETWORK, "", "no answer from %s: %s", server,
                answer->body.failed ? "it is larger than 64 MB" : curl_easy_strerror(code));
        goto cleanup;
    }
    long status = 0;
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
    answer->status = (int)status;
    curl_off_t asked_us = 0, heard_us = 0;
    curl_easy_getinfo(curl, CURLINFO_PRETRANSFER_TIME_T, &asked_us);
    curl_easy_getinfo(curl, CURLINFO_STARTTRANSFER_TIME_T, &heard_us);
    answer->asked_utc_s = began_utc_s + (double)asked_us * 1e-6;
    answer->heard_utc_s = began_utc_s + (double)heard_us * 1e-6;
    result = 0;
cleanup:
    curl_slist_free_all(headers);
    curl_easy_cleanup(curl);
    text_release(&url);
    return result;
}

/* One listening: what comes, and since when nothing did. */
struct listening {
    CURL *curl;
    const struct net_stream *stream;
    struct net_answer *answer;
    curl_off_t received;
    time_t since;
    bool ended; /* by take */
};

static size_t hear(char *bytes, size_t size, size_t count, void *context) {
    struct listening *listening = context;
    long status = 0;
    size_t length = size * count;
    curl_easy_getinfo(listening->curl, CURLINFO_RESPONSE_CODE, &status);
    if (status < 200 || status > 299)
        return receive(bytes, size, count, &listening->answer->body);
    listening->ended = !listening->stream->take(listening->stream->context, bytes, length);
    return listening->ended ? 0 : length;
}

/* Called about once a second. Not 0 ends it. */
static int look(void *context, curl_off_t total, curl_off_t received, curl_off_t send_total,
                curl_off_t sent) {
    struct listening *listening = context;
    time_t now = time(NULL);
    (void)total;
    (void)send_total;
    (void)sent;
    if (received != listening->received || listening->since == 0) {
        listening->received = received;
        listening->since = now;
    }
    return now - listening->since > NET_SILENCE_S;
}

int net_listen(const char *server, const struct net_stream *stream, struct net_answer *answer,
               struct err *err) {
    const struct net_request request = {.method = "GET", .path = stream->path};
    struct listening listening = {.curl = curl_easy_init(), .stream = stream, .answer = answer};
    struct curl_slist *headers = NULL;
    struct text url;
    int result = -1;
    long status = 0;
    text_init(&url, 8192);
    put_url(&url, server, stream->path);
    if (listening.curl == NULL || url.failed ||
        !add_header(&headers, "Accept", "text/event-stream") ||
        (stream->last_event_id[0] != '\0' &&
         !add_header(&headers, "Last-Event-ID", stream->last_event_id))) {
        err_set(err, ERR_INTERNAL, "", "the request could not be made");
        goto cleanup;
    }
    text_release(&answer->body);
    set_options(listening.curl, server, &request, &answer->body);
    curl_easy_setopt(listening.curl, CURLOPT_TIMEOUT, 0L);
    curl_easy_setopt(listening.curl, CURLOPT_WRITEFUNCTION, hear);
    curl_easy_setopt(listening.curl, CURLOPT_WRITEDATA, &listening);
    curl_easy_setopt(listening.curl, CURLOPT_NOPROGRESS, 0L);
    curl_easy_setopt(listening.curl, CURLOPT_XFERINFOFUNCTION, look);
    curl_easy_setopt(listening.curl, CURLOPT_XFERINFODATA, &listening);
    curl_easy_setopt(listening.curl, CURLOPT_URL, url.bytes);
    curl_easy_setopt(listening.curl, CURLOPT_HTTPHEADER, headers);
    CURLcode code = curl_easy_perform(listening.curl);
    if (code != CURLE_OK && !listening.ended) {
        err_set(err, ERR_NETWORK, "", "%s is silent: %s", server, curl_easy_strerror(code));
        goto cleanup;
    }
    curl_easy_getinfo(listening.curl, CURLINFO_RESPONSE_CODE, &status);
    answer->status = (int)status;
    result = 0;
cleanup:
    curl_slist_free_all(headers);
    curl_easy_cleanup(listening.curl);
    text_release(&url);
    return result;
}

void net_encode(struct text *out, const char *value) {
    static const char plain[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";
    for (; *value != '\0'; value++) {
        if (strchr(plain, *value) != NULL)
            text_add(out, value, 1);
        else
            text_format(out, "%%%02X", (unsigned char)*value);
    }
}
