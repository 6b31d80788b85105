/* SPDX-License-Identifier: MIT */
#include "tests/support/deadend.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <arpa/inet.h>
#include <cmocka.h>
#include <netinet/in.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

#define REQUEST_MAX 262144

#define PROBLEM(status, code, detail)                                                              \
    "HTTP/1.1 " status "\r\nContent-Type: application/problem+json\r\nConnection: close\r\n\r\n"   \
    "{\"type\":\"urn:noonarc:problem:" code "\",\"code\":\"" code "\",\"detail\":\"" detail "\"}"

static const char *const answers[] = {
    [DEED_CLOSE] = "",
    [DEED_HALF] = "HTTP/1.1 201 Created\r\nContent-Type: application/json\r\n"
                  "Content-Length: 500\r\n\r\n{\"run\":{\"id\":7}",
    [DEED_PAGE] = "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nConnection: close\r\n\r\n"
                  "<html>Please sign in</html>",
    [DEED_AWAY] = "HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:1/\r\n"
                  "Content-Length: 0\r\nConnection: close\r\n\r\n",
    [DEED_BUSY] = PROBLEM("503 Service Unavailable", "busy", "too much is waiting"),
    [DEED_RATE] = PROBLEM("429 Too Many Requests", "busy", "slow down"),
    [DEED_REFUSE] =
        PROBLEM("422 Unprocessable Content", "lengths_swapped", "gnomon and shadow look swapped"),
    [DEED_ACCEPT] = "HTTP/1.1 201 Created\r\nContent-Type: application/json\r\n"
                    "Connection: close\r\n\r\n{\"run\":{\"id\":7},\"reduction\":{},\"pairs\":[]}",
    [DEED_HANG] = "",
};

/* Reads one request: the header, then as many bytes as it says. */
static char *read_request(int connection) {
    char *bytes = calloc(1, REQUEST_MAX);
    size_t length = 0, wanted = REQUEST_MAX - 1;
    while (bytes != NULL && length < wanted) {
        ssize_t got = read(connection, bytes + length, REQUEST_MAX - 1 - length);
        if (got <= 0)
            break;
        length += (size_t)got;
        const char *end = strstr(bytes, "\r\n\r\n");
        const char *size = strcasestr(bytes, "\r\nContent-Length:");
        if (end != NULL)
            wanted = (size_t)(end + 4 - bytes) +
                     (size != NULL && size < end ? strtoul(size + 17, NULL, 10) : 0);
    }
    return bytes;
}

static void *serve(void *context) {
    struct deadend *deadend = context;
    for (int i = 0; i < deadend->deeds && i < DEADEND_REQUESTS_MAX; i++) {
        int connection = accept(deadend->listener, NULL, NULL);
        if (connection < 0)
            break;
        const char *answer = answers[deadend->deed[i]];
        deadend->request[i] = read_request(connection);
        __atomic_add_fetch(&deadend->requests, 1, __ATOMIC_SEQ_CST);
        if (send(connection, answer, strlen(answer), MSG_NOSIGNAL) < 0)
            perror("deadend");
        if (deadend->deed[i] == DEED_HANG)
            deadend->held = connection;
        else
            close(connection);
    }
    return NULL;
}

static int listen_somewhere(char *base, int size) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    socklen_t length = sizeof address;
    int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(listener >= 0);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(getsockname(listener, (struct sockaddr *)&address, &length), 0);
    snprintf(base, (size_t)size, "http://127.0.0.1:%d", ntohs(address.sin_port));
    return listener;
}

void deadend_start(struct deadend *deadend, const enum deed *deeds, int count) {
    *deadend = (struct deadend){.deed = deeds, .deeds = count, .held = -1};
    deadend->listener = listen_somewhere(deadend->base, sizeof deadend->base);
    assert_int_equal(listen(deadend->listener, 16), 0);
    assert_int_equal(pthread_create(&deadend->thread, NULL, serve, deadend), 0);
}

void deadend_stop(struct deadend *deadend) {
    shutdown(deadend->listener, SHUT_RDWR); /* wakes accept */
    pthread_join(deadend->thread, NULL);
    close(deadend->listener);
    if (deadend->held >= 0)
        close(deadend->held);
    for (int i = 0; i < DEADEND_REQUESTS_MAX; i++)
        free(deadend->request[i]);
}

void deadend_await(struct deadend *deadend, int requests) {
    for (int waited_ms = 0; __atomic_load_n(&deadend->requests, __ATOMIC_SEQ_CST) < requests;
         waited_ms += 10) {
        assert_true(waited_ms < 20000);
        usleep(10000);
    }
}

const char *deadend_header(const struct deadend *deadend, int nth, const char *name) {
    static char value[256];
    char wanted[64];
    snprintf(wanted, sizeof wanted, "\r\n%s: ", name);
    const char *at = strcasestr(deadend->request[nth], wanted);
    value[0] = '\0';
    if (at != NULL)
        snprintf(value, sizeof value, "%.*s", (int)strcspn(at + strlen(wanted), "\r"),
                 at + strlen(wanted));
    return value;
}

const char *deadend_body(const struct deadend *deadend, int nth) {
    const char *end = strstr(deadend->request[nth], "\r\n\r\n");
    return end != NULL ? end + 4 : "";
}

void deadend_nobody(char *base, int size) {
    close(listen_somewhere(base, size));
}
