/* SPDX-License-Identifier: MIT */
/* known_days: a few rows, each with the moment it was seen at. */
#include "server/rules/known_days.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/lookup.h"
#include "server/rules/moved.h"

#define DAYS 8

struct known_days {
    pthread_mutex_t lock;
    struct {
        struct day_row row; /* id 0: none */
        uint64_t moment;
    } day[DAYS];
    int next; /* to be overwritten */
};

struct known_days *known_days_new(void) {
    struct known_days *known = calloc(1, sizeof *known);
    if (known)
        pthread_mutex_init(&known->lock, NULL);
    return known;
}

void known_days_free(struct known_days *known) {
    if (!known)
        return;
    pthread_mutex_destroy(&known->lock);
    free(known);
}

/* Where a day stands, or belongs; with the lock held. */
static int place_of(struct known_days *known, const char *day) {
    for (int i = 0; i < DAYS; i++)
        if (known->day[i].row.id && strcmp(known->day[i].row.record.day, day) == 0)
            return i;
    known->next = (known->next + 1) % DAYS;
    return known->next;
}

static bool recall(struct known_days *known, const struct moved *moved, const char *day,
                   struct day_row *out) {
    bool good = false;
    pthread_mutex_lock(&known->lock);
    for (int i = 0; i < DAYS && !good; i++) {
        good = known->day[i].row.id && strcmp(known->day[i].row.record.day, day) == 0 &&
               !moved_since(moved, known->day[i].moment);
        if (good)
            *out = known->day[i].row;
    }
    pthread_mutex_unlock(&known->lock);
    return good;
}

static void remember(struct known_days *known, const struct day_row *row, uint64_t moment) {
    pthread_mutex_lock(&known->lock);
    int at = place_of(known, row->record.day);
    known->day[at].row = *row;
    known->day[at].moment = moment;
    pthread_mutex_unlock(&known->lock);
}

int known_day(const struct book_view *view, const char *day, struct day_row *out, struct err *err) {
    if (!view->book)
        return lookup_day(view->db, day, out, err);
    struct known_days *known = book_days(view->book);
    const struct moved *moved = book_moved(view->book);
    if (recall(known, moved, day, out))
        return 0;
    if (lookup_day(view->db, day, out, err))
        return -1;
    if (!moved_since(moved, view->moment))
        remember(known, out, view->moment);
    return 0;
}
