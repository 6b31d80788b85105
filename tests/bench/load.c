/* SPDX-License-Identifier: MIT */
/* load: sends prepared HTTP/1.1 requests over kept connections of the loopback
 * interface, one under way on each, and tells what came of it in one line:
 *
 *   rate_per_s p50_ms p99_ms cpu_us rss_mb count failed body_bytes stale_ms pairs_ms
 *
 * cpu_us is the processor time of the watched processes per answered request,
 * rss_mb the most memory they ever had resident; the last two see --watch, and are "-"
 * when nothing could be told. All others but rss_mb are 0 when nothing was answered in
 * time. It stops by itself: when all requests were answered, or after --seconds.
 *
 *   load --port N --requests FILE [options]
 *     --connections N   [64]
 *     --warm N          answers before measuring begins [0]
 *     --seconds S       most time measured [10]
 *     --rate N          requests a second at most [as many as are answered]
 *     --expect STATUS   any other status counts as failed [201]
 *     --pid N           watch a process; may be given again
 *     --watch PATH      meanwhile GET the day's result from PATH again and again, and
 *                       tell how long it took at most from a run's acknowledgement until
 *                       an answer was here that has it; and the same of the pairs of its
 *                       site, for a few of them */
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <math.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define CONNECTIONS_MAX 1024
#define PIDS_MAX 8
#define ANSWER_ROOM ((size_t)256 * 1024)
#define WATCH_PAUSE_S 0.02
#define WATCH_SETTLED_S 3.0
#define WATCH_PATIENCE_S 20.0 /* for what was acknowledged last to show */
#define WARM_PATIENCE 4.0     /* of --seconds: most time warming up */

struct request {
    const char *bytes;
    size_t length;
};

struct connection {
    int fd;
    bool waiting;                  /* for an answer */
    const struct request *request; /* the last */
    double sent_s;
    size_t length, whole; /* bytes here; bytes of the whole answer, 0 unknown */
    int status;
    size_t body;
    char *answer; /* ANSWER_ROOM bytes */
};

struct load {
    int port, connections, expect;
    size_t warm;
    double seconds, rate;
    int pid[PIDS_MAX], pids;
    const char *watch;

    struct request *request;
    size_t requests, sent, answered, failed;
    double *took_s; /* of each answer, in the order they came */
    size_t body_bytes;
    double begin_s, begin_cpu_s, end_s, end_cpu_s; /* of measuring */
    int epoll;
    struct connection *connection; /* the watching ones behind the others */
    struct connection *idle[CONNECTIONS_MAX];
    int idles;

    double watch_due_s;
    double *acknowledged_s; /* runs, in the order they were */
    size_t acknowledged;
    size_t looks, before, shown;   /* at the result; runs that the first saw, and since */
    double stale_s, pairs_stale_s; /* the longest; NAN: nothing was told yet */
    char pairs[256]; /* path of the pairs that a run should show in; empty: none is looked at */
    double pairs_since_s; /* its acknowledgement */
};

static void die(const char *what) {
    fprintf(stderr, "load: %s: %s\n", what, errno ? strerror(errno) : "wrong");
    exit(EXIT_FAILURE);
}

static void *room(size_t count, size_t size) {
    void *bytes = calloc(count + 1, size);
    if (!bytes)
        die("memory");
    return bytes;
}

static double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* User and system time of the watched processes so far. */
static double cpu_s(const struct load *load) {
    double ticks = 0.0;
    for (int i = 0; i < load->pids; i++) {
        char path[64], line[1024];
        snprintf(path, sizeof path, "/proc/%d/stat", load->pid[i]);
        FILE *file = fopen(path, "r");
        if (!file || !fgets(line, sizeof line, file))
            die(path);
        fclose(file);
        const char *at = strrchr(line, ')'); /* the name may hold anything */
        unsigned long user = 0, system = 0;
        if (!at || sscanf(at + 1, " %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user,
                          &system) != 2)
            die(path);
        ticks += (double)(user + system);
    }
    return ticks / (double)sysconf(_SC_CLK_TCK);
}

static double rss_mb(const struct load *load) {
    double kb = 0.0;
    for (int i = 0; i < load->pids; i++) {
        char path[64], line[256];
        snprintf(path, sizeof path, "/proc/%d/status", load->pid[i]);
        FILE *file = fopen(path, "r");
        if (!file)
            die(path);
        while (fgets(line, sizeof line, file))
            if (strncmp(line, "VmHWM:", 6) == 0)
                kb += strtod(line + 6, NULL);
        fclose(file);
    }
    return kb / 1024.0;
}

/* The value of a header of the head of length bytes, NULL none. */
static const char *header(const char *head, size_t length, const char *name) {
    size_t name_length = strlen(name);
    const char *end = head + length, *at = head;
    while ((at = memchr(at, '\n', (size_t)(end - at))) != NULL) {
        at++;
        if ((size_t)(end - at) > name_length && strncasecmp(at, name, name_length) == 0 &&
            at[name_length] == ':')
            return at + name_length + 1;
    }
    return NULL;
}

/* Bytes of the message that begins here; 0 when its head is not complete. */
static size_t message_length(const char *bytes, size_t length, size_t *body) {
    const char *end = memmem(bytes, length, "\r\n\r\n", 4);
    if (!end)
        return 0;
    size_t head = (size_t)(end - bytes) + 4;
    const char *value = header(bytes, head, "Content-Length");
    *body = value ? strtoul(value, NULL, 10) : 0;
    return head + *body;
}

static void read_requests(struct load *load, const char *path) {
    struct stat status;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0 || fstat(fd, &status) != 0)
        die(path);
    size_t size = (size_t)status.st_size, body, allocated = 0;
    const char *bytes = mmap(NULL, size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, fd, 0);
    if (bytes == MAP_FAILED)
        die(path);
    close(fd);
    for (size_t at = 0; at < size;) {
        size_t length = message_length(bytes + at, size - at, &body);
        if (length == 0 || length > size - at)
            die("a request is cut off");
        if (load->requests == allocated) {
            allocated = 2 * allocated + 1024;
            load->request = realloc(load->request, allocated * sizeof *load->request);
            if (!load->request)
                die("memory");
        }
        load->request[load->requests++] = (struct request){bytes + at, length};
        at += length;
    }
}

static void watch_fd(struct load *load, struct connection *connection) {
    struct epoll_event event = {.events = EPOLLIN, .data.ptr = connection};
    if (epoll_ctl(load->epoll, EPOLL_CTL_ADD, connection->fd, &event) != 0)
        die("epoll");
}

static void connect_to(struct load *load, struct connection *connection) {
    const int on = 1;
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)load->port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    connection->fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (connection->fd < 0 ||
        connect(connection->fd, (struct sockaddr *)&address, sizeof address) != 0)
        die("connect");
    setsockopt(connection->fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    connection->waiting = false;
    connection->length = connection->whole = 0;
    watch_fd(load, connection);
}

static void send_all(struct connection *connection, const char *bytes, size_t length) {
    connection->sent_s = clock_s();
    connection->waiting = true;
    while (length > 0) {
        ssize_t n = send(connection->fd, bytes, length, MSG_NOSIGNAL);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return; /* reading finds the connection closed, and counts it */
        bytes += n;
        length -= (size_t)n;
    }
}

/* Sends the next request, or lays the connection by until one is due. */
static void go_on(struct load *load, struct connection *connection, double now_s) {
    bool due = load->rate <= 0.0 || load->begin_s <= 0.0 ||
               (double)(load->sent - load->warm) < (now_s - load->begin_s) * load->rate;
    if (load->sent < load->requests && due) {
        connection->request = &load->request[load->sent++];
        send_all(connection, connection->request->bytes, connection->request->length);
    } else {
        load->idle[load->idles++] = connection;
    }
}

static void begin_measuring(struct load *load, double now_s) {
    load->begin_s = now_s;
    load->begin_cpu_s = cpu_s(load);
}

/* How many sites a result tells of: those on the line and those left out. */
static size_t sites_in(const char *answer, size_t length) {
    const char *at = memmem(answer, length, "\"sites\":", 8), *end = answer + length;
    size_t sites = at ? strtoul(at + 8, NULL, 10) : 0;
    for (at = answer; (at = memmem(at, (size_t)(end - at), "off_the_line", 12)) != NULL; at += 12)
        sites++;
    return sites;
}

/* A run that made pairs: its site's are looked at next. */
static void follow(struct load *load, const struct connection *connection, double now_s) {
    const char *path = connection->request->bytes + strlen("POST ");
    const char *end = memmem(path, connection->request->length - strlen("POST "), "/runs ", 6);
    if (load->pairs[0] != '\0' || !end || (size_t)(end - path) + 8 > sizeof load->pairs ||
        !memmem(connection->answer, connection->whole, "\"site1\"", 7))
        return;
    snprintf(load->pairs, sizeof load->pairs, "%.*s/pairs", (int)(end - path), path);
    load->pairs_since_s = now_s;
}

/* The runs that a look at the result is the first to show: the oldest of them. */
static void show(struct load *load, size_t sites, double now_s) {
    if (load->looks++ == 0)
        load->before = sites;
    if (sites <= load->before + load->shown)
        return;
    if (load->shown < load->acknowledged)
        load->stale_s = fmax(load->stale_s, now_s - load->acknowledged_s[load->shown]);
    load->shown = sites - load->before;
}

/* Those that look at the result and at pairs. */
static struct connection *result_watcher(const struct load *load) {
    return &load->connection[load->connections];
}

static struct connection *pairs_watcher(const struct load *load) {
    return &load->connection[load->connections + 1];
}

static bool is_watching(const struct load *load, const struct connection *connection) {
    return connection >= result_watcher(load);
}

static void looked(struct load *load, struct connection *connection, double now_s) {
    if (connection == result_watcher(load)) {
        show(load, sites_in(connection->answer, connection->whole), now_s);
        load->watch_due_s = now_s + WATCH_PAUSE_S;
    } else if (memmem(connection->answer, connection->whole, "\"site1\"", 7)) {
        load->pairs_stale_s = fmax(load->pairs_stale_s, now_s - load->pairs_since_s);
        load->pairs[0] = '\0';
    }
}

static void answered(struct load *load, struct connection *connection) {
    double now_s = clock_s();
    connection->waiting = false;
    if (is_watching(load, connection)) {
        looked(load, connection, now_s);
    } else {
        load->took_s[load->answered++] = now_s - connection->sent_s;
        if (connection->status == load->expect)
            load->acknowledged_s[load->acknowledged++] = now_s;
        else
            load->failed++;
        load->body_bytes = connection->body;
        if (load->watch)
            follow(load, connection, now_s);
        if (load->answered == load->warm)
            begin_measuring(load, now_s);
    }
    connection->length = connection->whole = 0;
    if (!is_watching(load, connection))
        go_on(load, connection, now_s);
}

static void closed(struct load *load, struct connection *connection) {
    close(connection->fd);
    if (connection->waiting && !is_watching(load, connection)) {
        load->failed++;
        if (load->failed > 1000)
            die("too many connections were closed");
    }
    connect_to(load, connection);
    if (!is_watching(load, connection))
        go_on(load, connection, clock_s());
}

static void receive(struct load *load, struct connection *connection) {
    ssize_t n = recv(connection->fd, connection->answer + connection->length,
                     ANSWER_ROOM - connection->length, MSG_DONTWAIT);
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return;
    if (n <= 0) {
        closed(load, connection);
        return;
    }
    connection->length += (size_t)n;
    if (connection->whole == 0) {
        connection->whole =
            message_length(connection->answer, connection->length, &connection->body);
        if (connection->whole > ANSWER_ROOM)
            die("an answer is too long");
        if (connection->whole > 0)
            connection->status = (int)strtol(connection->answer + strlen("HTTP/1.1 "), NULL, 10);
        if (connection->status == 304 && connection->whole > 0) {
            connection->whole -= connection->body; /* a length, but no body */
            connection->body = 0;
        }
    }
    if (connection->whole > 0 && connection->length >= connection->whole)
        answered(load, connection);
}

/* The next look of a watching connection at a path. */
static void look_at(struct connection *watching, const char *path) {
    char text[512];
    if (watching->waiting)
        return;
    int length = snprintf(text, sizeof text, "GET %s HTTP/1.1\r\nHost: bench\r\n\r\n", path);
    send_all(watching, text, (size_t)length);
}

static void send_due(struct load *load, double now_s) {
    int idles = load->idles;
    load->idles = 0;
    for (int i = 0; i < idles; i++) /* those not due lie down again, in place */
        go_on(load, load->idle[i], now_s);
    if (load->watch && now_s >= load->watch_due_s)
        look_at(result_watcher(load), load->watch);
    if (load->pairs[0] != '\0')
        look_at(pairs_watcher(load), load->pairs);
}

static bool going(const struct load *load, double now_s, double start_s) {
    bool measuring = load->begin_s > 0.0;
    double since_s = now_s - (measuring ? load->begin_s : start_s);
    return load->answered + load->failed < load->requests &&
           since_s < (measuring ? load->seconds : WARM_PATIENCE * load->seconds);
}

static void run(struct load *load) {
    struct epoll_event events[CONNECTIONS_MAX];
    double now_s = clock_s(), start_s = now_s;
    if (load->warm == 0)
        begin_measuring(load, now_s);
    for (int i = 0; i < load->connections; i++)
        go_on(load, &load->connection[i], now_s);
    while (going(load, now_s, start_s)) {
        int wait_ms = load->rate > 0.0 || load->watch ? 1 : 100;
        int count = epoll_wait(load->epoll, events, CONNECTIONS_MAX, wait_ms);
        for (int i = 0; i < count; i++)
            receive(load, events[i].data.ptr);
        now_s = clock_s();
        send_due(load, now_s);
    }
    load->end_s = clock_s();
    load->end_cpu_s = cpu_s(load);
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

/* One look at the result, with nothing else under way. */
static void look(struct load *load) {
    struct connection *watching = result_watcher(load);
    const size_t before = load->looks;
    while (load->looks == before) {
        struct pollfd here = {.fd = watching->fd, .events = POLLIN};
        look_at(watching, load->watch);
        if (poll(&here, 1, 1000) > 0)
            receive(load, watching);
    }
}

/* What is there before the load: the result has told the same for some time, so that no run
 * of before is taken for one of the load. */
static void look_first(struct load *load) {
    double since_s = clock_s();
    while (clock_s() - since_s < WATCH_SETTLED_S) {
        look(load);
        if (load->shown > 0) {
            load->before += load->shown;
            load->shown = 0;
            since_s = clock_s();
        }
        usleep((useconds_t)(1e6 * WATCH_PAUSE_S));
    }
}

/* Until the last acknowledged run shows. What does not is told by how long it was missing. */
static void look_out(struct load *load) {
    const double until_s = clock_s() + WATCH_PATIENCE_S;
    while (load->shown < load->acknowledged && clock_s() < until_s) {
        look(load);
        usleep((useconds_t)(1e6 * WATCH_PAUSE_S));
    }
    if (load->shown < load->acknowledged) {
        fprintf(stderr, "load: %zu acknowledged runs do not show in %s\n",
                load->acknowledged - load->shown, load->watch);
        load->stale_s = fmax(load->stale_s, clock_s() - load->acknowledged_s[load->shown]);
    }
    if (load->pairs[0] != '\0')
        load->pairs_stale_s = fmax(load->pairs_stale_s, load->end_s - load->pairs_since_s);
}

static void print_ms(double stale_s) {
    if (isnan(stale_s))
        printf(" -");
    else
        printf(" %.1f", 1e3 * stale_s);
}

static void report(struct load *load) {
    if (load->answered <= load->warm || load->begin_s <= 0.0) {
        printf("0 0 0 0 %.1f 0 %zu 0 - -\n", rss_mb(load), load->failed);
        return;
    }
    size_t count = load->answered - load->warm;
    qsort(load->took_s + load->warm, count, sizeof *load->took_s, ascending);
    const double *took_s = load->took_s + load->warm;
    printf("%.0f %.3f %.3f %.2f %.1f %zu %zu %zu", (double)count / (load->end_s - load->begin_s),
           1e3 * took_s[count / 2], 1e3 * took_s[count * 99 / 100],
           1e6 * (load->end_cpu_s - load->begin_cpu_s) / (double)count, rss_mb(load), count,
           load->failed, load->body_bytes);
    print_ms(load->stale_s);
    print_ms(load->pairs_stale_s);
    putchar('\n');
}

static const struct option options[] = {
    {"port", required_argument, NULL, 'p'},        {"requests", required_argument, NULL, 'f'},
    {"connections", required_argument, NULL, 'c'}, {"warm", required_argument, NULL, 'w'},
    {"seconds", required_argument, NULL, 's'},     {"rate", required_argument, NULL, 'r'},
    {"expect", required_argument, NULL, 'e'},      {"pid", required_argument, NULL, 'i'},
    {"watch", required_argument, NULL, 'l'},       {NULL, 0, NULL, 0},
};

static void take(struct load *load, int option) {
    switch (option) {
    case 'p':
        load->port = (int)strtol(optarg, NULL, 10);
        break;
    case 'f':
        read_requests(load, optarg);
        break;
    case 'c':
        load->connections = (int)strtol(optarg, NULL, 10);
        break;
    case 'w':
        load->warm = strtoul(optarg, NULL, 10);
        break;
    case 's':
        load->seconds = strtod(optarg, NULL);
        break;
    case 'r':
        load->rate = strtod(optarg, NULL);
        break;
    case 'e':
        load->expect = (int)strtol(optarg, NULL, 10);
        break;
    case 'i':
        if (load->pids < PIDS_MAX)
            load->pid[load->pids++] = (int)strtol(optarg, NULL, 10);
        break;
    case 'l':
        load->watch = optarg;
        break;
    default:
        exit(2);
    }
}

int main(int argc, char **argv) {
    struct load load = {
        .connections = 64, .expect = 201, .seconds = 10.0, .stale_s = NAN, .pairs_stale_s = NAN};
    int option;
    while ((option = getopt_long(argc, argv, "", options, NULL)) != -1)
        take(&load, option);
    if (load.requests == 0 || load.port <= 0 || load.connections < 1 ||
        load.connections + 2 > CONNECTIONS_MAX || load.warm >= load.requests)
        die("usage: load --port N --requests FILE [options]");
    load.took_s = room(load.requests, sizeof *load.took_s);
    load.acknowledged_s = room(load.requests, sizeof *load.acknowledged_s);
    load.connection = room((size_t)load.connections + 2, sizeof *load.connection);
    load.epoll = epoll_create1(EPOLL_CLOEXEC);
    for (int i = 0; i < load.connections + (load.watch ? 2 : 0); i++) {
        load.connection[i].answer = room(ANSWER_ROOM, 1);
        connect_to(&load, &load.connection[i]);
    }
    if (load.watch)
        look_first(&load);
    run(&load);
    if (load.watch)
        look_out(&load);
    report(&load);
    return load.failed == 0 && load.answered > load.warm ? EXIT_SUCCESS : 3;
}
