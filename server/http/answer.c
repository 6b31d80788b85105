/* SPDX-License-Identifier: MIT */
#include "server/http/answer.h"

#include <stdio.h>
#include <stdlib.h>

#include "server/api/problem.h"
#include "server/http/negotiate.h"
#include "server/http/routes.h"

/* Pages load nothing but their own files and talk to nobody but us. */
static const char page_policy[] =
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'";
/* Data are never a page, and where somebody shows them as one they do nothing. */
static const char data_policy[] = "default-src 'none'; frame-ancestors 'none'";

#define LASTING "public, max-age=31536000, immutable" /* a year, RFC 8246 */

#define RETRY_AFTER_S 2 /* when the service is busy or stopping */
#define BARE_MAX 2048
#define STREAM_BLOCK 4096 /* bytes asked of a reader at once */

struct guard {
    const char *name, *value;
};

static const struct guard data_guards[] = {
    {"X-Content-Type-Options", "nosniff"},
    {"Content-Security-Policy", data_policy},
    {NULL, NULL},
};

static const struct guard page_guards[] = {
    {"X-Content-Type-Options", "nosniff"},
    {"Content-Security-Policy", page_policy},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Permissions-Policy", "geolocation=(self), camera=(), microphone=(), payment=()"},
    {NULL, NULL},
};

/* What is unchanged has its guards already. */
static void add_guards(struct MHD_Response *out, const struct response *response, int status) {
    const struct guard *guard = response->is_page ? page_guards : data_guards;
    for (; status != MHD_HTTP_NOT_MODIFIED && guard->name != NULL; guard++)
        MHD_add_response_header(out, guard->name, guard->value);
}

static void add_headers(struct MHD_Response *out, const struct answer_request *asked, int status) {
    const struct response *response = asked->response;
    add_guards(out, response, status);
    if (response->content_type != NULL && status != MHD_HTTP_NOT_MODIFIED)
        MHD_add_response_header(out, MHD_HTTP_HEADER_CONTENT_TYPE, response->content_type);
    if (response->location[0] != '\0')
        MHD_add_response_header(out, MHD_HTTP_HEADER_LOCATION, response->location);
    if (response->cookie[0] != '\0')
        MHD_add_response_header(out, MHD_HTTP_HEADER_SET_COOKIE, response->cookie);
    if (asked->allowed != 0) {
        char allow[64];
        routes_allow(asked->allowed, allow, sizeof allow);
        MHD_add_response_header(out, MHD_HTTP_HEADER_ALLOW, allow);
    }
    if (status == MHD_HTTP_UNAUTHORIZED)
        MHD_add_response_header(out, MHD_HTTP_HEADER_WWW_AUTHENTICATE, "Bearer realm=\"noonarc\"");
    int retry_after_s = asked->retry_after_s;
    if (retry_after_s == 0 && status == MHD_HTTP_SERVICE_UNAVAILABLE)
        retry_after_s = RETRY_AFTER_S;
    if (retry_after_s > 0) {
        char seconds[16];
        snprintf(seconds, sizeof seconds, "%d", retry_after_s);
        MHD_add_response_header(out, MHD_HTTP_HEADER_RETRY_AFTER, seconds);
    }
    if (asked->close)
        MHD_add_response_header(out, MHD_HTTP_HEADER_CONNECTION, "close");
}

static const char *header(const struct answer_request *asked, const char *name) {
    return MHD_lookup_connection_value(asked->connection, MHD_HEADER_KIND, name);
}

/* The compressed form of shared bytes, made for the first who asks for it. NULL: it would
 * not be smaller. */
static struct blob *packed_form(struct blob *blob) {
    struct blob *other = atomic_load(&blob->other);
    if (other != NULL)
        return other;
    struct text text;
    text_init(&text, EXCHANGE_ANSWER_MAX);
    text_add(&text, blob->bytes, blob->length);
    if (!text.failed && negotiate_gzip(&text))
        other = blob_new(&text, blob->mark);
    text_release(&text);
    return other == NULL ? NULL : blob_adopt(blob, other);
}

/* What goes out. */
struct outgoing {
    struct MHD_Response *response;
    int status;
    bool gzipped, validated;
    char etag[NEGOTIATE_ETAG_SIZE];
};

static bool is_known_already(const struct answer_request *asked, const char *etag) {
    return negotiate_matches(header(asked, MHD_HTTP_HEADER_IF_NONE_MATCH), etag);
}

static void dress(struct outgoing *going, const struct answer_request *asked) {
    struct MHD_Response *out = going->response;
    add_headers(out, asked, going->status);
    if (asked->cacheable)
        MHD_add_response_header(out, MHD_HTTP_HEADER_VARY, MHD_HTTP_HEADER_ACCEPT_ENCODING);
    if (going->gzipped && going->status != MHD_HTTP_NOT_MODIFIED)
        MHD_add_response_header(out, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
    if (going->validated)
        MHD_add_response_header(out, MHD_HTTP_HEADER_ETAG, going->etag);
    /* Kept copies are asked about each time: a result changes when a run comes in. */
    MHD_add_response_header(out, MHD_HTTP_HEADER_CACHE_CONTROL,
                            !going->validated          ? "no-store"
                            : asked->response->lasting ? LASTING
                                                       : "no-cache");
}

static enum MHD_Result queue(const struct answer_request *asked, const struct outgoing *going,
                             int *status) {
    *status = going->status;
    return MHD_queue_response(asked->connection, (unsigned)going->status, going->response);
}

static void let_go(void *response) {
    MHD_destroy_response(response);
}

/* Shared bytes go out as one response too, made once and dressed once, unless something
 * is to be said of this request alone. The visit holds the bytes till all are sent. */
static enum MHD_Result send_shared(const struct answer_request *asked, bool packs,
                                   struct outgoing *going, int *status) {
    enum { WHOLE, UNCHANGED };
    struct blob *blob = asked->response->shared;
    struct blob *packed = packs && blob->length > NEGOTIATE_GZIP_MIN ? packed_form(blob) : NULL;
    struct blob *form = packed != NULL ? packed : blob;
    going->gzipped = packed != NULL;
    snprintf(going->etag, sizeof going->etag, "\"%s%s\"", blob->mark, packed != NULL ? "-gz" : "");
    const bool unchanged = is_known_already(asked, going->etag);
    if (unchanged)
        going->status = MHD_HTTP_NOT_MODIFIED;
    const int place = unchanged ? UNCHANGED : WHOLE;
    const bool usual = going->validated && !asked->close && asked->retry_after_s == 0;
    going->response = usual ? atomic_load(&form->kept[place]) : NULL;
    if (going->response != NULL)
        return queue(asked, going, status);
    going->response = MHD_create_response_from_buffer(
        unchanged ? 0 : form->length, unchanged ? "" : form->bytes, MHD_RESPMEM_PERSISTENT);
    if (going->response == NULL)
        return MHD_NO;
    dress(going, asked);
    if (usual) {
        going->response = blob_keep(form, place, going->response, let_go);
        return queue(asked, going, status);
    }
    enum MHD_Result result = queue(asked, going, status);
    MHD_destroy_response(going->response);
    return result;
}

static enum MHD_Result send_own(const struct answer_request *asked, bool packs,
                                struct outgoing *going, int *status) {
    struct response *response = asked->response;
    going->gzipped = response->packed;
    if (packs && !going->gzipped && response->body.length > NEGOTIATE_GZIP_MIN)
        going->gzipped = negotiate_gzip(&response->body);
    if (going->validated) {
        negotiate_etag(&response->body, going->gzipped, going->etag);
        if (is_known_already(asked, going->etag)) {
            going->status = MHD_HTTP_NOT_MODIFIED;
            text_release(&response->body);
        }
    }
    size_t length = response->body.length;
    char *bytes = text_take(&response->body);
    if (bytes != NULL)
        going->response = MHD_create_response_from_buffer(length, bytes, MHD_RESPMEM_MUST_FREE);
    if (going->response == NULL) {
        free(bytes);
        return MHD_NO;
    }
    dress(going, asked);
    enum MHD_Result result = queue(asked, going, status);
    MHD_destroy_response(going->response);
    return result;
}

enum MHD_Result answer_send(const struct answer_request *asked, int *status) {
    const struct response *response = asked->response;
    const bool packs =
        asked->cacheable && negotiate_takes_gzip(header(asked, MHD_HTTP_HEADER_ACCEPT_ENCODING));
    struct outgoing going = {
        .status = response->status,
        .validated = asked->cacheable && response->status == MHD_HTTP_OK && !response->no_store,
    };
    return response->shared != NULL ? send_shared(asked, packs, &going, status)
                                    : send_own(asked, packs, &going, status);
}

enum MHD_Result answer_stream(const struct answer_request *asked, MHD_ContentReaderCallback reader,
                              void *context, MHD_ContentReaderFreeCallback release) {
    struct MHD_Response *out =
        MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, STREAM_BLOCK, reader, context, release);
    if (out == NULL) {
        release(context);
        return MHD_NO;
    }
    add_headers(out, asked, MHD_HTTP_OK);
    MHD_add_response_header(out, MHD_HTTP_HEADER_CACHE_CONTROL, "no-store");
    /* A proxy that gathers answers before it hands them on is asked not to. */
    MHD_add_response_header(out, "X-Accel-Buffering", "no");
    enum MHD_Result result = MHD_queue_response(asked->connection, MHD_HTTP_OK, out);
    MHD_destroy_response(out);
    return result;
}

void answer_bare(const struct err *err, int retry_after_s, struct text *out) {
    struct response response;
    response_init(&response);
    problem_render(err, &response);
    text_init(out, BARE_MAX);
    text_format(out,
                "HTTP/1.1 %d %s\r\nContent-Type: %s\r\nContent-Length: %zu\r\n"
                "Retry-After: %d\r\nCache-Control: no-store\r\nConnection: close\r\n",
                response.status, MHD_get_reason_phrase_for((unsigned)response.status),
                response.content_type, response.body.length, retry_after_s);
    for (const struct guard *guard = data_guards; guard->name != NULL; guard++)
        text_format(out, "%s: %s\r\n", guard->name, guard->value);
    text_put(out, "\r\n");
    text_add(out, response.body.bytes, response.body.length);
    response_release(&response);
}
