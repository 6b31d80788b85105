/* SPDX-License-Identifier: MIT */
#include "server/http/live.h"

#include <pthread.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#include "server/api/live_event.h"
#include "server/http/clock.h"
#include "server/http/crowd.h"
#include "server/http/ring.h"
#include "server/rules/figures.h"
#include "server/rules/lookup.h"

#define RESULT_DAYS_MAX 64
#define RESULT_EVERY_US 1000000LL
#define RESULT_JSON_MAX ((size_t)64 << 20)
#define PIECE_MAX 4096      /* bytes put together for a listener at a time, and one event more */
#define EVENT_MAX 2048      /* bytes of one */
#define RETRY_LEAST_MS 2000 /* when to come back; spread, so that not all come at once */
#define RETRY_SPREAD_MS 3000
#define SEND_BUFFER (32 * 1024) /* bytes the kernel holds for one who does not read */

struct seat {
    struct live *live;
    int64_t day;
    char day_id[ID_MAX + 1];
    struct address address;
    struct MHD_Connection *connection;
    struct stay *stay;
    uint64_t next;   /* number of the first event not yet taken from the ring */
    struct text out; /* what is being sent */
    size_t sent;     /* of that */
    int64_t told_us; /* when something was last put there */
    int64_t end_us;  /* of the stream, 0 none */
    bool asleep;     /* its connection is suspended */
    bool beat;       /* a comment line is due */
    struct seat *previous, *following;
};

struct live {
    pthread_mutex_t lock; /* of all below, and of the seats */
    pthread_cond_t stir;
    pthread_t thread;
    struct pool *pool;
    struct book *book;
    struct patience *patience;
    struct crowd *crowd;
    long seats_max;
    bool idle;    /* the thread waits for something to happen */
    bool closing; /* every stream ends */
    bool quitting;
    bool deaf;      /* nobody listens, nor did lately: nothing is kept */
    uint32_t start; /* tells this process's numbers from another's */
    struct ring ring;
    struct notice *waiting; /* from begin on, in the order they came */
    size_t begin, waiting_count, room;
    int64_t result_day[RESULT_DAYS_MAX];
    size_t result_days;
    int64_t results_us; /* when they were last told */
    struct seat *first;
    int64_t left_us; /* when the last listener left */
    struct live_counts counts;
};

/* ---- what the writer says ---- */

/* All who listen are to look again. */
static void give_up_waiting(struct live *live) {
    live->begin = live->waiting_count = 0;
    ring_forget(&live->ring);
}

static void put_down(struct live *live, const struct notice *notice) {
    if (live->waiting_count == LIVE_WAITING_MAX) {
        give_up_waiting(live);
        return;
    }
    if (live->begin > 0 && live->begin + live->waiting_count == live->room) {
        memmove(live->waiting, live->waiting + live->begin,
                live->waiting_count * sizeof *live->waiting);
        live->begin = 0;
    }
    if (live->waiting_count == live->room) {
        size_t room = live->room == 0 ? 64 : 2 * live->room;
        struct notice *grown = realloc(live->waiting, room * sizeof *grown);
        if (grown == NULL) {
            give_up_waiting(live);
            return;
        }
        live->waiting = grown;
        live->room = room;
    }
    live->waiting[live->begin + live->waiting_count++] = *notice;
}

static void put_down_result(struct live *live, int64_t day) {
    for (size_t i = 0; i < live->result_days; i++)
        if (live->result_day[i] == day)
            return;
    if (live->result_days < RESULT_DAYS_MAX)
        live->result_day[live->result_days++] = day;
}

/* Whether anybody listens or may come back for what was missed. */
static bool has_ears(struct live *live) {
    if (live->first == NULL && !live->deaf &&
        clock_steady_us() - live->left_us > LIVE_KEEP_S * 1000000LL) {
        live->deaf = true;
        give_up_waiting(live);
        live->result_days = 0;
    }
    return !live->deaf;
}

void live_told(void *context, const struct change *change) {
    struct live *live = context;
    const struct notice *notices;
    const int64_t *touched;
    size_t said = change_notices(change, &notices), days = change_touched(change, &touched);
    if (said == 0 && days == 0)
        return;
    pthread_mutex_lock(&live->lock);
    if (has_ears(live)) {
        for (size_t i = 0; i < said; i++)
            put_down(live, &notices[i]);
        for (size_t i = 0; i < days; i++)
            put_down_result(live, touched[i]);
        if (live->idle)
            pthread_cond_signal(&live->stir);
    }
    pthread_mutex_unlock(&live->lock);
}

/* ---- from what was said to events ---- */

static void keep(struct live *live, int64_t day, struct text *event) {
    size_t length = event->length;
    char *bytes = text_take(event);
    if (bytes == NULL) {
        ring_forget(&live->ring);
        return;
    }
    ring_add(&live->ring, day, bytes, length);
    live->counts.events++;
}

static void tell_notices(struct live *live) {
    for (int i = 0; i < LIVE_TELL_MAX && live->waiting_count > 0; i++) {
        struct text event;
        text_init(&event, EVENT_MAX);
        const struct notice *notice = &live->waiting[live->begin];
        live_event_notice(notice, &event);
        keep(live, notice->day, &event);
        text_release(&event);
        live->begin++;
        live->waiting_count--;
    }
}

/* A result that cannot be made now is told with the next change. */
static bool compose_result(struct live *live, int64_t day, struct text *event) {
    struct err err = {0};
    struct figures *figures = NULL;
    const uint64_t moment = book_moment(live->book);
    struct db *db = pool_take(live->pool, &err);
    if (db == NULL)
        return false;
    const struct book_view view = {.book = live->book, .db = db, .moment = moment};
    bool made = figures_of_day_key(&view, day, clock_utc_s(), &figures, &err) == 0;
    pool_give(live->pool, db);
    if (made)
        live_event_result(&figures->headline, event);
    figures_release(figures);
    return made;
}

/* The lock is let go while the store is asked. */
static void tell_results(struct live *live, int64_t now_us) {
    int64_t day[RESULT_DAYS_MAX];
    size_t days = live->result_days;
    if (days == 0 || now_us - live->results_us < RESULT_EVERY_US)
        return;
    memcpy(day, live->result_day, days * sizeof day[0]);
    live->result_days = 0;
    live->results_us = now_us;
    for (size_t i = 0; i < days; i++) {
        struct text event;
        text_init(&event, EVENT_MAX);
        pthread_mutex_unlock(&live->lock);
        bool found = compose_result(live, day[i], &event);
        pthread_mutex_lock(&live->lock);
        if (found)
            keep(live, day[i], &event);
        text_release(&event);
    }
}

/* ---- waking ---- */

static void wake(struct seat *seat) {
    if (!seat->asleep)
        return;
    seat->asleep = false;
    MHD_resume_connection(seat->connection);
}

static bool has_news(struct seat *seat) {
    struct ring *ring = &seat->live->ring;
    if (!ring_has_after(ring, seat->next - 1))
        return true;
    return ring_find(ring, seat->day, seat->next, &seat->next) != NULL;
}

static void wake_due(struct live *live, int64_t now_us) {
    for (struct seat *seat = live->first; seat != NULL; seat = seat->following) {
        if (!seat->asleep)
            continue;
        seat->beat = now_us - seat->told_us >= LIVE_BEAT_S * 1000000LL;
        if (seat->beat || (seat->end_us != 0 && now_us >= seat->end_us) || has_news(seat))
            wake(seat);
    }
}

static bool nothing_to_do(const struct live *live) {
    return live->first == NULL && live->waiting_count == 0 && live->result_days == 0;
}

static void wait_a_while(struct live *live) {
    struct timespec until;
    live->idle = nothing_to_do(live);
    if (live->idle) {
        pthread_cond_wait(&live->stir, &live->lock);
    } else {
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += LIVE_TELL_MS * 1000000L;
        until.tv_sec += until.tv_nsec / 1000000000L;
        until.tv_nsec %= 1000000000L;
        pthread_cond_timedwait(&live->stir, &live->lock, &until);
    }
    live->idle = false;
}

static void *run(void *argument) {
    struct live *live = argument;
    pthread_mutex_lock(&live->lock);
    while (!live->quitting) {
        int64_t now_us = clock_steady_us();
        tell_notices(live);
        tell_results(live, now_us);
        wake_due(live, now_us);
        wait_a_while(live);
    }
    pthread_mutex_unlock(&live->lock);
    return NULL;
}

/* ---- a listener's stream ---- */

static void put_id(struct seat *seat, uint64_t number) {
    text_format(&seat->out, "id: %08x-%llu\n", (unsigned)seat->live->start,
                (unsigned long long)number);
}

static void greet(struct seat *seat, bool missed) {
    uint64_t heard = seat->next - 1;
    put_id(seat, heard);
    live_event_start(seat->day_id, missed,
                     RETRY_LEAST_MS + (int)randombytes_uniform(RETRY_SPREAD_MS), &seat->out);
}

/* "0123abcd-17" of this process: 17. */
static bool parse_heard(const struct live *live, const char *id, uint64_t *out) {
    char expected[16];
    char *end;
    snprintf(expected, sizeof expected, "%08x-", (unsigned)live->start);
    if (id == NULL || strncmp(id, expected, 9) != 0 || id[9] < '0' || id[9] > '9' ||
        strlen(id) > 9 + 18)
        return false;
    *out = strtoull(id + 9, &end, 10);
    return *end == '\0';
}

static void take_events(struct seat *seat) {
    struct ring *ring = &seat->live->ring;
    if (!ring_has_after(ring, seat->next - 1)) {
        seat->next = ring->next;
        seat->live->counts.fell_behind++;
        greet(seat, true);
        return;
    }
    while (seat->out.length < PIECE_MAX) {
        uint64_t number;
        const struct ring_event *event = ring_find(ring, seat->day, seat->next, &number);
        seat->next = event == NULL ? number : number + 1;
        if (event == NULL)
            return;
        put_id(seat, number);
        text_add(&seat->out, event->bytes, event->length);
        seat->live->counts.told++;
    }
}

/* Nothing left to send: puts the next piece together, if there is one. */
static void refill(struct seat *seat) {
    text_release(&seat->out);
    seat->sent = 0;
    take_events(seat);
    if (seat->out.length == 0 && seat->beat)
        text_put(&seat->out, ":\n\n");
    seat->beat = false;
    if (seat->out.length > 0)
        seat->told_us = clock_steady_us();
}

ssize_t live_read(void *argument, uint64_t position, char *buffer, size_t size) {
    struct seat *seat = argument;
    struct live *live = seat->live;
    ssize_t result;
    (void)position;
    pthread_mutex_lock(&live->lock);
    if (seat->sent == seat->out.length)
        refill(seat);
    size_t rest = seat->out.length - seat->sent;
    bool over = live->closing || (seat->end_us != 0 && clock_steady_us() >= seat->end_us);
    if (seat->out.failed || (rest == 0 && over)) {
        result = MHD_CONTENT_READER_END_OF_STREAM;
    } else if (rest == 0) {
        /* Asleep it may stay as long as it likes. */
        result = patience_work(seat->stay) ? 0 : MHD_CONTENT_READER_END_WITH_ERROR;
        if (result == 0) {
            seat->asleep = true;
            MHD_suspend_connection(seat->connection);
        }
    } else {
        result = (ssize_t)(rest < size ? rest : size);
        memcpy(buffer, seat->out.bytes + seat->sent, (size_t)result);
        seat->sent += (size_t)result;
        if (!patience_answer(live->patience, seat->stay, (size_t)result))
            result = MHD_CONTENT_READER_END_WITH_ERROR;
    }
    pthread_mutex_unlock(&live->lock);
    return result;
}

/* ---- coming and going ---- */

static int take_seat(struct live *live, struct seat *seat, const struct live_request *request,
                     struct err *err) {
    uint64_t heard = 0;
    if (live->closing || live->counts.listeners >= live->seats_max) {
        live->counts.turned_away++;
        return err_set(err, ERR_BUSY, NULL, "as many as can are listening; ask again later");
    }
    enum crowd_entry entry = crowd_enter(live->crowd, request->address);
    if (entry != CROWD_ENTERED) {
        live->counts.turned_away++;
        return entry == CROWD_FULL
                   ? err_set(err, ERR_TOO_MANY_REQUESTS, NULL,
                             "an address may listen on so many connections and no more")
                   : err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    bool kept =
        parse_heard(live, request->last_event_id, &heard) && ring_has_after(&live->ring, heard);
    seat->next = kept ? heard + 1 : live->ring.next;
    greet(seat, !kept);
    seat->following = live->first;
    if (seat->following != NULL)
        seat->following->previous = seat;
    live->first = seat;
    live->deaf = false;
    live->counts.listeners++;
    if (live->idle)
        pthread_cond_signal(&live->stir);
    return 0;
}

static int find_day(struct live *live, const char *day, struct day_row *out, struct err *err) {
    struct db *db = pool_take(live->pool, err);
    if (db == NULL)
        return -1;
    int result = lookup_day(db, day, out, err);
    pool_give(live->pool, db);
    return result;
}

/* Silence is no reason to close it: patience has an eye on those who do not read. And
 * little is held for them; what does not fit waits in the ring. */
static void prepare(struct MHD_Connection *connection) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    int size = SEND_BUFFER;
    (void)MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT, 0U);
    if (info != NULL)
        (void)setsockopt(info->connect_fd, SOL_SOCKET, SO_SNDBUF, &size, sizeof size);
}

int live_enter(struct live *live, const struct live_request *request, struct seat **out,
               struct err *err) {
    struct day_row day;
    if (find_day(live, request->day, &day, err) != 0)
        return -1;
    struct seat *seat = calloc(1, sizeof *seat);
    if (seat == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    int64_t now_us = clock_steady_us();
    *seat = (struct seat){
        .live = live,
        .day = day.id,
        .address = *request->address,
        .connection = request->connection,
        .stay = request->stay,
        .told_us = now_us,
        .end_us = request->for_s == 0 ? 0 : now_us + request->for_s * 1000000LL,
    };
    memcpy(seat->day_id, day.record.day, sizeof seat->day_id);
    text_init(&seat->out, PIECE_MAX + EVENT_MAX + 64);
    pthread_mutex_lock(&live->lock);
    int result = take_seat(live, seat, request, err);
    pthread_mutex_unlock(&live->lock);
    if (result != 0) {
        text_release(&seat->out);
        free(seat);
        return -1;
    }
    prepare(request->connection);
    *out = seat;
    return 0;
}

void live_leave(void *argument) {
    struct seat *seat = argument;
    struct live *live = seat->live;
    pthread_mutex_lock(&live->lock);
    if (seat->previous != NULL)
        seat->previous->following = seat->following;
    else
        live->first = seat->following;
    if (seat->following != NULL)
        seat->following->previous = seat->previous;
    live->left_us = clock_steady_us();
    live->counts.listeners--;
    pthread_mutex_unlock(&live->lock);
    crowd_leave(live->crowd, &seat->address);
    text_release(&seat->out);
    free(seat);
}

/* ---- all of it ---- */

int live_new(const struct listener_limits *limits, struct pool *pool, struct book *book,
             struct door *door, struct live **out, struct err *err) {
    pthread_condattr_t steady;
    struct live *live = calloc(1, sizeof *live);
    struct crowd *crowd = crowd_new(limits->address_live);
    if (live == NULL || crowd == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
        goto cleanup;
    }
    live->pool = pool;
    live->book = book;
    live->patience = door_patience(door);
    live->crowd = crowd;
    live->seats_max = limits->live;
    live->start = randombytes_random();
    live->deaf = true;
    ring_init(&live->ring);
    pthread_mutex_init(&live->lock, NULL);
    pthread_condattr_init(&steady);
    pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    pthread_cond_init(&live->stir, &steady);
    pthread_condattr_destroy(&steady);
    if (pthread_create(&live->thread, NULL, run, live) != 0) {
        pthread_cond_destroy(&live->stir);
        pthread_mutex_destroy(&live->lock);
        err_set(err, ERR_INTERNAL, NULL, "a thread could not be started");
        goto cleanup;
    }
    *out = live;
    return 0;
cleanup:
    crowd_free(crowd);
    free(live);
    return -1;
}

void live_close(struct live *live) {
    pthread_mutex_lock(&live->lock);
    live->closing = true;
    for (struct seat *seat = live->first; seat != NULL; seat = seat->following)
        wake(seat);
    pthread_mutex_unlock(&live->lock);
}

void live_free(struct live *live) {
    if (live == NULL)
        return;
    pthread_mutex_lock(&live->lock);
    live->quitting = true;
    pthread_cond_signal(&live->stir);
    pthread_mutex_unlock(&live->lock);
    pthread_join(live->thread, NULL);
    pthread_cond_destroy(&live->stir);
    pthread_mutex_destroy(&live->lock);
    ring_release(&live->ring);
    crowd_free(live->crowd);
    free(live->waiting);
    free(live);
}

struct live_counts live_counts(struct live *live) {
    pthread_mutex_lock(&live->lock);
    struct live_counts counts = live->counts;
    pthread_mutex_unlock(&live->lock);
    return counts;
}
