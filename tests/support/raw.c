/* SPDX-License-Identifier: MIT */
#include "tests/support/raw.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <arpa/inet.h>
#include <poll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

int raw_dial(const char *base, const char *from) {
    struct sockaddr_in here = {.sin_family = AF_INET}, there = {.sin_family = AF_INET};
    const char *port = strrchr(base, ':') + 1;
    there.sin_port = htons((uint16_t)strtoul(port, NULL, 10));
    inet_pton(AF_INET, "127.0.0.1", &there.sin_addr);
    inet_pton(AF_INET, from, &here.sin_addr);
    int socket_of = socket(AF_INET, SOCK_STREAM, 0);
    assert_true(socket_of >= 0);
    assert_int_equal(bind(socket_of, (struct sockaddr *)&here, sizeof here), 0);
    assert_int_equal(connect(socket_of, (struct sockaddr *)&there, sizeof there), 0);
    return socket_of;
}

bool raw_try(int socket_of, const char *words) {
    size_t length = strlen(words);
    return send(socket_of, words, length, MSG_NOSIGNAL) == (ssize_t)length;
}

void raw_say(int socket_of, const char *words) {
    assert_true(raw_try(socket_of, words));
}

int raw_hear(int socket_of, int patience_ms, char *answer, size_t size) {
    size_t length = 0;
    answer[0] = '\0';
    while (length < size - 1) {
        struct pollfd one = {.fd = socket_of, .events = POLLIN};
        if (poll(&one, 1, patience_ms) != 1)
            return -1;
        ssize_t got = recv(socket_of, answer + length, size - 1 - length, 0);
        if (got <= 0)
            break;
        length += (size_t)got;
        answer[length] = '\0';
    }
    int status = 0;
    return sscanf(answer, "HTTP/1.1 %d", &status) == 1 ? status : 0;
}

void raw_allow_files(size_t count) {
    struct rlimit files;
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &files), 0);
    if (files.rlim_cur >= count)
        return;
    files.rlim_cur = count;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &files), 0);
}
