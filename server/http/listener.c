/* SPDX-License-Identifier: MIT */
/* listener: the daemon of libmicrohttpd, started and stopped. */
#include "server/http/listener.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "server/base/log.h"
#include "server/http/clock.h"
#include "server/http/listener_state.h"
#include "server/http/visit.h"

/* Memory of a connection, bytes: room for a head that is too large to be refused
 * in our own words. */
#define CONNECTION_MEMORY ((size_t)2 * LIMITS_HEAD_MAX)
#define LISTEN_BACKLOG 1024u
#define DRAIN_LOOK_MS 10
#define DRAIN_QUIET_LOOKS 4

/* What a client does is no news, and counted elsewhere; a socket that cannot be
 * had is. One line a second will do, for it may be said at every attempt. */
static void log_daemon(void *cls, const char *format, va_list args) {
    static const char *const of_clients[] = {"losing connection", "closed by remote side",
                                             "Connection socket is closed",
                                             "reached connection limit"};
    static atomic_llong last_s;
    char message[512];
    (void)cls;
    vsnprintf(message, sizeof message, format, args);
    for (size_t i = 0; i < sizeof of_clients / sizeof of_clients[0]; i++)
        if (strstr(message, of_clients[i]) != NULL)
            return;
    long long now_s = 1 + clock_steady_us() / 1000000;
    if (atomic_exchange(&last_s, now_s) == now_s)
        return;
    message[strcspn(message, "\r\n")] = '\0';
    log_line(NOONARC_LOG_WARNING, "http: %s", message);
}

union socket_address {
    struct sockaddr any;
    struct sockaddr_in v4;
    struct sockaddr_in6 v6;
};

static int parse_address(const char *text, unsigned port, union socket_address *out,
                         struct err *err) {
    memset(out, 0, sizeof *out);
    if (inet_pton(AF_INET, text, &out->v4.sin_addr) == 1) {
        out->v4.sin_family = AF_INET;
        out->v4.sin_port = htons((uint16_t)port);
    } else if (inet_pton(AF_INET6, text, &out->v6.sin6_addr) == 1) {
        out->v6.sin6_family = AF_INET6;
        out->v6.sin6_port = htons((uint16_t)port);
    } else
        return err_set(err, ERR_OUT_OF_RANGE, "listen", "\"%s\" is not a numeric address", text);
    return 0;
}

/* An encoded NUL would end a text before its end, and what follows be overlooked. As
 * a control character it is in no address and refused in every text. */
static size_t decode(void *cls, struct MHD_Connection *connection, char *text) {
    (void)cls;
    (void)connection;
    for (char *nul = strstr(text, "%00"); nul != NULL; nul = strstr(nul, "%00"))
        nul[2] = '1';
    return MHD_http_unescape(text);
}

static int start(struct listener *listener, const struct listener_options *options,
                 struct err *err) {
    union socket_address address;
    if (parse_address(options->address, options->port, &address, err) != 0)
        return -1;
    unsigned flags = MHD_USE_POLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG |
                     (address.any.sa_family == AF_INET6 ? MHD_USE_IPv6 : 0U);
    const struct listener_limits *limits = &options->limits;
    listener->daemon = MHD_start_daemon(
        flags, (uint16_t)options->port, NULL, NULL, visit_continue,
        listener, /* see listener.h for poll */
        MHD_OPTION_EXTERNAL_LOGGER, log_daemon, NULL, MHD_OPTION_SOCK_ADDR, &address.any,
        MHD_OPTION_NOTIFY_COMPLETED, visit_end, listener, MHD_OPTION_THREAD_POOL_SIZE,
        (unsigned)LISTENER_THREADS, MHD_OPTION_CONNECTION_LIMIT, (unsigned)limits->connections,
        MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)limits->idle_s, MHD_OPTION_NOTIFY_CONNECTION,
        door_notify, listener->door, MHD_OPTION_CONNECTION_MEMORY_LIMIT, CONNECTION_MEMORY,
        MHD_OPTION_UNESCAPE_CALLBACK, decode, NULL, MHD_OPTION_LISTEN_BACKLOG_SIZE, LISTEN_BACKLOG,
        MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_END);
    if (listener->daemon == NULL)
        return err_set(err, ERR_NETWORK, "listen", "cannot listen on %s port %u", options->address,
                       options->port);
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(listener->daemon, MHD_DAEMON_INFO_BIND_PORT);
    listener->port = info == NULL ? options->port : info->port;
    return 0;
}

int listener_new(const struct listener_options *options, const struct listener_house *house,
                 struct listener **out, struct err *err) {
    struct listener *listener = calloc(1, sizeof *listener);
    if (listener == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    listener->pool = house->pool;
    listener->steady = house->steady;
    listener->writer = house->writer;
    listener->almanac = house->almanac;
    listener->book = house->book;
    listener->web_directory = options->web_directory;
    listener->limits = options->limits;
    listener->metrics = metrics_new();
    listener->quota = quota_new(&options->limits);
    if (listener->metrics == NULL || listener->quota == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
        goto cleanup;
    }
    if (labourer_new(&listener->labourer, err) != 0)
        goto cleanup;
    if (door_new(&options->limits, &listener->door, err) != 0)
        goto cleanup;
    if (live_new(&options->limits, house->pool, house->book, listener->door, &listener->live,
                 err) != 0)
        goto cleanup;
    writer_tell(house->writer, live_told, listener->live);
    if (start(listener, options, err) != 0)
        goto cleanup;
    *out = listener;
    return 0;
cleanup:
    listener_free(listener);
    return -1;
}

unsigned listener_port(const struct listener *listener) {
    return listener->port;
}

/* Who has connected by now comes in, for the request may be sent already. */
static void let_in_last(struct listener *listener, int listening) {
    union socket_address from;
    socklen_t length = sizeof from;
    int caller;
    fcntl(listening, F_SETFL, fcntl(listening, F_GETFL) | O_NONBLOCK);
    while ((caller = accept4(listening, &from.any, &length, SOCK_NONBLOCK | SOCK_CLOEXEC)) >= 0 ||
           errno == EINTR || errno == ECONNABORTED) {
        if (caller >= 0)
            MHD_add_connection(listener->daemon, caller, &from.any, length);
        length = sizeof from;
    }
}

int listener_drain(struct listener *listener, int timeout_s) {
    const struct timespec look = {.tv_nsec = DRAIN_LOOK_MS * 1000000L};
    int quiet = 0;
    atomic_store(&listener->stopping, true);
    /* The listening socket is ours from now on: new callers are refused. */
    MHD_socket listening = MHD_quiesce_daemon(listener->daemon);
    if (listening != MHD_INVALID_SOCKET) {
        let_in_last(listener, listening);
        close(listening);
    }
    live_close(listener->live);
    /* What was sent has to be read before it is under way: so more than one look. */
    for (int looks = timeout_s * (1000 / DRAIN_LOOK_MS); looks > 0; looks--) {
        bool busy = atomic_load(&listener->under_way) > 0 ||
                    patience_unread(door_patience(listener->door)) > 0;
        quiet = busy ? 0 : quiet + 1;
        if (quiet == DRAIN_QUIET_LOOKS)
            break;
        nanosleep(&look, NULL);
    }
    return atomic_load(&listener->under_way);
}

void listener_free(struct listener *listener) {
    const struct timespec look = {.tv_nsec = DRAIN_LOOK_MS * 1000000L};
    if (listener == NULL)
        return;
    /* No daemon may be stopped while a connection of it is asleep. */
    atomic_store(&listener->closing, true);
    while (atomic_load(&listener->writing) > 0)
        nanosleep(&look, NULL);
    if (listener->live != NULL) {
        live_close(listener->live);
        writer_tell(listener->writer, NULL, NULL);
    }
    if (listener->daemon != NULL)
        MHD_stop_daemon(listener->daemon);
    live_free(listener->live);
    labourer_free(listener->labourer);
    door_free(listener->door);
    quota_free(listener->quota);
    metrics_free(listener->metrics);
    free(listener);
}
