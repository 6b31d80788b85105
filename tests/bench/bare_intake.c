/* SPDX-License-Identifier: MIT */
/* bare_intake: the yardstick of the intake bench: the least C that takes runs in
 * as durably as noonarcd. libmicrohttpd with two threads, jansson, one writer
 * that commits whatever has queued into SQLite (write-ahead log, synchronous
 * FULL): a row for the run, a row for each reading. No checks, no science, no
 * keys, no routes: whatever is posted is a run, and every GET is answered with
 * FILE, from memory: what libmicrohttpd itself costs.
 *
 *   bare_intake STORE [FILE]
 *   prints "listening on http://127.0.0.1:PORT", ends on SIGTERM */
#include <arpa/inet.h>
#include <jansson.h>
#include <microhttpd.h>
#include <pthread.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BODY_MAX 16384
#define READINGS_MAX 240
#define THREADS 2u

struct visit {
    struct MHD_Connection *connection;
    struct visit *next;
    const char *path, *idempotency_key;
    json_t *json; /* owns the texts below */
    double gnomon_mm;
    const char *edge;
    int readings;
    const char *time[READINGS_MAX];
    double shadow_mm[READINGS_MAX];
    long long run; /* 0 until it is on the disk */
    bool refused, written;
    size_t length;
    char body[BODY_MAX];
};

static struct {
    pthread_mutex_t lock;
    pthread_cond_t more;
    struct visit *first, *last;
    bool closing;
    sqlite3 *db;
    sqlite3_stmt *begin, *commit, *add_run, *add_reading;
} store = {.lock = PTHREAD_MUTEX_INITIALIZER, .more = PTHREAD_COND_INITIALIZER};

static struct MHD_Response *page; /* what a GET gets */

static void must(bool right, const char *what) {
    if (right)
        return;
    fprintf(stderr, "bare_intake: %s: %s\n", what, store.db ? sqlite3_errmsg(store.db) : "failed");
    exit(EXIT_FAILURE);
}

static sqlite3_stmt *prepare(const char *sql) {
    sqlite3_stmt *statement;
    must(sqlite3_prepare_v3(store.db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL) ==
             SQLITE_OK,
         sql);
    return statement;
}

static void step(sqlite3_stmt *statement) {
    must(sqlite3_step(statement) == SQLITE_DONE, "step");
    sqlite3_reset(statement);
}

static void open_store(const char *path) {
    must(sqlite3_open_v2(path, &store.db,
                         SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX,
                         NULL) == SQLITE_OK,
         path);
    must(
        sqlite3_exec(store.db,
                     "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
                     "CREATE TABLE run (id INTEGER PRIMARY KEY, site TEXT NOT NULL,"
                     " idempotency_key TEXT NOT NULL, gnomon_mm REAL NOT NULL, edge TEXT NOT NULL);"
                     "CREATE TABLE reading (run INTEGER NOT NULL, place INTEGER NOT NULL,"
                     " time TEXT NOT NULL, shadow_mm REAL NOT NULL, PRIMARY KEY (run, place))"
                     " WITHOUT ROWID",
                     NULL, NULL, NULL) == SQLITE_OK,
        "tables");
    store.begin = prepare("BEGIN IMMEDIATE");
    store.commit = prepare("COMMIT");
    store.add_run =
        prepare("INSERT INTO run (site, idempotency_key, gnomon_mm, edge) VALUES (?, ?, ?, ?)");
    store.add_reading =
        prepare("INSERT INTO reading (run, place, time, shadow_mm) VALUES (?, ?, ?, ?)");
}

static void write_run(struct visit *visit) {
    sqlite3_bind_text(store.add_run, 1, visit->path, -1, SQLITE_STATIC);
    sqlite3_bind_text(store.add_run, 2, visit->idempotency_key, -1, SQLITE_STATIC);
    sqlite3_bind_double(store.add_run, 3, visit->gnomon_mm);
    sqlite3_bind_text(store.add_run, 4, visit->edge, -1, SQLITE_STATIC);
    step(store.add_run);
    visit->run = sqlite3_last_insert_rowid(store.db);
    for (int i = 0; i < visit->readings; i++) {
        sqlite3_bind_int64(store.add_reading, 1, visit->run);
        sqlite3_bind_int(store.add_reading, 2, i);
        sqlite3_bind_text(store.add_reading, 3, visit->time[i], -1, SQLITE_STATIC);
        sqlite3_bind_double(store.add_reading, 4, visit->shadow_mm[i]);
        step(store.add_reading);
    }
}

static struct visit *take(void) {
    pthread_mutex_lock(&store.lock);
    while (!store.first && !store.closing)
        pthread_cond_wait(&store.more, &store.lock);
    struct visit *batch = store.first;
    store.first = store.last = NULL;
    pthread_mutex_unlock(&store.lock);
    return batch;
}

static void *write_all(void *unused) {
    struct visit *batch;
    (void)unused;
    while ((batch = take()) != NULL) {
        step(store.begin);
        for (struct visit *visit = batch; visit; visit = visit->next)
            write_run(visit);
        step(store.commit);
        while (batch) {
            struct visit *next = batch->next; /* the visit may end at once */
            batch->written = true;
            MHD_resume_connection(batch->connection);
            batch = next;
        }
    }
    return NULL;
}

static void hand_over(struct visit *visit) {
    pthread_mutex_lock(&store.lock);
    if (store.last)
        store.last->next = visit;
    else
        store.first = visit;
    store.last = visit;
    pthread_cond_signal(&store.more);
    pthread_mutex_unlock(&store.lock);
}

static bool parse(struct visit *visit) {
    json_t *parts, *readings, *item;
    size_t i;
    visit->json = json_loadb(visit->body, visit->length, JSON_REJECT_DUPLICATES, NULL);
    if (json_unpack(visit->json, "{s:{s:o, s:s}, s:o}", "gnomon", "parts", &parts, "edge",
                    &visit->edge, "readings", &readings) != 0 ||
        json_array_size(readings) > READINGS_MAX)
        return false;
    json_array_foreach(parts, i, item) visit->gnomon_mm +=
        json_number_value(json_object_get(item, "length_mm"));
    json_array_foreach(readings, i, item) {
        visit->time[i] = json_string_value(json_object_get(item, "time"));
        visit->shadow_mm[i] = json_number_value(json_object_get(item, "shadow_mm"));
        if (!visit->time[i])
            return false;
    }
    visit->readings = (int)json_array_size(readings);
    return visit->idempotency_key != NULL;
}

static enum MHD_Result answer(struct visit *visit) {
    char text[48];
    int length = visit->refused ? snprintf(text, sizeof text, "{\"error\": \"no run\"}")
                                : snprintf(text, sizeof text, "{\"run\": %lld}", visit->run);
    struct MHD_Response *response =
        MHD_create_response_from_buffer((size_t)length, text, MHD_RESPMEM_MUST_COPY);
    MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, "application/json");
    enum MHD_Result result =
        MHD_queue_response(visit->connection, visit->refused ? 400 : 201, response);
    MHD_destroy_response(response);
    return result;
}

static enum MHD_Result visit_continue(void *cls, struct MHD_Connection *connection, const char *url,
                                      const char *method, const char *version, const char *upload,
                                      size_t *upload_size, void **slot) {
    struct visit *visit = *slot;
    (void)cls, (void)version;
    if (!visit) {
        *slot = visit = malloc(sizeof *visit);
        if (!visit)
            return MHD_NO;
        memset(visit, 0, offsetof(struct visit, body));
        visit->connection = connection;
        return MHD_YES;
    }
    if (*upload_size > 0) {
        if (*upload_size > BODY_MAX - visit->length)
            return MHD_NO;
        memcpy(visit->body + visit->length, upload, *upload_size);
        visit->length += *upload_size;
        *upload_size = 0;
        return MHD_YES;
    }
    if (strcmp(method, MHD_HTTP_METHOD_GET) == 0)
        return MHD_queue_response(connection, MHD_HTTP_OK, page);
    if (visit->written)
        return answer(visit);
    visit->path = url;
    visit->idempotency_key =
        MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Idempotency-Key");
    visit->refused = !parse(visit);
    if (visit->refused)
        return answer(visit);
    MHD_suspend_connection(connection);
    hand_over(visit);
    return MHD_YES;
}

static void visit_end(void *cls, struct MHD_Connection *connection, void **slot,
                      enum MHD_RequestTerminationCode why) {
    struct visit *visit = *slot;
    (void)cls, (void)connection, (void)why;
    if (visit)
        json_decref(visit->json);
    free(visit);
    *slot = NULL;
}

static struct MHD_Response *read_page(const char *path) {
    static char bytes[1 << 20];
    FILE *file = path ? fopen(path, "rb") : NULL;
    must(!path || file, "the file");
    size_t length = file ? fread(bytes, 1, sizeof bytes, file) : 0;
    if (file)
        fclose(file);
    return MHD_create_response_from_buffer(length, bytes, MHD_RESPMEM_PERSISTENT);
}

int main(int argc, char **argv) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    pthread_t writer;
    sigset_t signals;
    int received;
    if (argc != 2 && argc != 3) {
        fprintf(stderr, "usage: bare_intake STORE [FILE]\n");
        return 2;
    }
    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    sigprocmask(SIG_BLOCK, &signals, NULL);
    open_store(argv[1]);
    page = read_page(argv[2]);
    must(pthread_create(&writer, NULL, write_all, NULL) == 0, "thread");
    struct MHD_Daemon *daemon = MHD_start_daemon(
        MHD_USE_POLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL, visit_continue,
        NULL, MHD_OPTION_SOCK_ADDR, &address, MHD_OPTION_NOTIFY_COMPLETED, visit_end, NULL,
        MHD_OPTION_THREAD_POOL_SIZE, THREADS, MHD_OPTION_CONNECTION_LIMIT, 1000u,
        MHD_OPTION_LISTEN_BACKLOG_SIZE, 1024u, MHD_OPTION_END);
    must(daemon != NULL, "listen");
    printf("listening on http://127.0.0.1:%u\n",
           MHD_get_daemon_info(daemon, MHD_DAEMON_INFO_BIND_PORT)->port);
    fflush(stdout);
    sigwait(&signals, &received);
    /* The load has ended by now: nothing waits. */
    pthread_mutex_lock(&store.lock);
    store.closing = true;
    pthread_cond_signal(&store.more);
    pthread_mutex_unlock(&store.lock);
    pthread_join(writer, NULL);
    MHD_stop_daemon(daemon);
    MHD_destroy_response(page);
    return EXIT_SUCCESS;
}
