/* SPDX-License-Identifier: MIT */
#include "tests/support/line.h"

#include <arpa/inet.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

#define HEAD_MAX 8192
#define PATIENCE_MS 30000

void line_init(struct line *line, const char *base) {
    *line = (struct line){.socket = -1};
    snprintf(line->base, sizeof line->base, "%s", base);
}

void line_close(struct line *line) {
    if (line->socket >= 0)
        close(line->socket);
    line->socket = -1;
}

static int dial(struct line *line) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    const int on = 1;
    address.sin_port = htons((uint16_t)strtoul(strrchr(line->base, ':') + 1, NULL, 10));
    line->socket = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (line->socket >= 0 &&
        connect(line->socket, (struct sockaddr *)&address, sizeof address) == 0) {
        setsockopt(line->socket, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
        return 0;
    }
    line_close(line);
    return -1;
}

static int send_all(struct line *line, const char *bytes, size_t length) {
    while (length > 0) {
        ssize_t sent = send(line->socket, bytes, length, MSG_NOSIGNAL);
        if (sent <= 0) {
            line_close(line);
            return -1;
        }
        bytes += sent;
        length -= (size_t)sent;
    }
    return 0;
}

int line_send(struct line *line, const struct line_request *request) {
    char authorization[128] = "", key[128] = "";
    struct text words;
    if (line->socket < 0 && dial(line) != 0)
        return -1;
    if (request->key != NULL)
        snprintf(authorization, sizeof authorization, "Authorization: Bearer %s\r\n", request->key);
    if (request->idempotency_key != NULL)
        snprintf(key, sizeof key, "Idempotency-Key: %s\r\n", request->idempotency_key);
    text_init(&words, 1u << 20);
    text_format(&words,
                "%s %s HTTP/1.1\r\nHost: a\r\n%s%sContent-Type: %s\r\n"
                "Content-Length: %zu\r\n\r\n%s",
                request->method == NULL ? "POST" : request->method, request->path, authorization,
                key, request->type == NULL ? "application/json" : request->type,
                request->body == NULL ? 0 : strlen(request->body),
                request->body == NULL ? "" : request->body);
    int result = words.failed ? -1 : send_all(line, words.bytes, words.length);
    text_release(&words);
    return result;
}

static ssize_t receive(struct line *line, char *bytes, size_t size) {
    struct pollfd one = {.fd = line->socket, .events = POLLIN};
    return poll(&one, 1, PATIENCE_MS) == 1 ? recv(line->socket, bytes, size, 0) : -1;
}

int line_hear(struct line *line, struct text *body) {
    char head[HEAD_MAX + 1] = "", portion[HEAD_MAX];
    const char *end = NULL, *said;
    size_t length = 0;
    int status = 0;
    text_release(body);
    while (end == NULL) {
        ssize_t got = length < HEAD_MAX ? receive(line, head + length, HEAD_MAX - length) : -1;
        if (got <= 0)
            goto broken;
        length += (size_t)got;
        head[length] = '\0';
        end = strstr(head, "\r\n\r\n");
    }
    said = strcasestr(head, "\r\nContent-Length:");
    size_t wanted = said != NULL && said < end ? strtoul(said + 17, NULL, 10) : 0;
    size_t start = (size_t)(end + 4 - head);
    if (sscanf(head, "HTTP/1.1 %d", &status) != 1)
        goto broken;
    text_add(body, head + start, length - start);
    while (body->length < wanted) {
        ssize_t got = receive(line, portion, sizeof portion);
        if (got <= 0)
            goto broken;
        text_add(body, portion, (size_t)got);
    }
    said = strcasestr(head, "\r\nConnection: close");
    if (said != NULL && said < end)
        line_close(line);
    return body->failed ? 0 : status;
broken:
    line_close(line);
    return 0;
}

int line_ask(struct line *line, const struct line_request *request, struct text *body) {
    return line_send(line, request) == 0 ? line_hear(line, body) : 0;
}
