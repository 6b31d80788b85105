/* SPDX-License-Identifier: MIT */
/* change: the touched days are few; a plain list does. */
#include "server/rules/change.h"

#include <stdlib.h>

#include "server/rules/moved.h"
#include "server/store/array.h"

struct change {
    struct db *db;
    struct almanac *almanac;
    struct book *book; /* NULL: nobody keeps one */
    int64_t *touched;  /* days that moved */
    size_t touched_count;
    int64_t *torn; /* of these, the ones to be read again */
    size_t torn_count;
    struct book_entry *entry;
    size_t entries;
    struct notice *notice;
    size_t notices;
    bool short_of_memory;
};

struct change *change_new(struct db *write, struct almanac *almanac, struct book *book) {
    struct change *change = calloc(1, sizeof *change);
    if (change) {
        change->db = write;
        change->almanac = almanac;
        change->book = book;
    }
    return change;
}

void change_free(struct change *change) {
    if (!change)
        return;
    change_forget(change);
    free(change);
}

struct db *change_db(struct change *change) {
    return change->db;
}

struct almanac *change_almanac(struct change *change) {
    return change->almanac;
}

struct book_view change_view(struct change *change) {
    return (struct book_view){
        .book = change->book,
        .db = change->db,
        .moment = change->book ? book_moment(change->book) : 0,
    };
}

/* Of the commit that the open transaction ends in. */
static uint64_t next_moment(const struct change *change) {
    return book_moment(change->book) + 1;
}

void change_begins(struct change *change, bool runs_alone) {
    if (change->book && !runs_alone)
        moved_enter(book_moved(change->book), next_moment(change));
}

bool change_holds(const struct change *change, uint64_t moment) {
    return change->book && !moved_since(book_moved(change->book), moment);
}

/* Adds a day to a list that has it once. */
static void list_day(struct change *change, int64_t **days, size_t *count, int64_t day) {
    for (size_t i = 0; i < *count; i++)
        if ((*days)[i] == day)
            return;
    int64_t *grown = array_room(*days, *count, sizeof **days, NULL);
    if (!grown) {
        change->short_of_memory = true;
        return;
    }
    *days = grown;
    grown[(*count)++] = day;
}

void change_touch(struct change *change, int64_t day) {
    list_day(change, &change->touched, &change->touched_count, day);
    list_day(change, &change->torn, &change->torn_count, day);
}

void change_noon(struct change *change, int64_t day, int64_t site, const struct day_noon *noon) {
    list_day(change, &change->touched, &change->touched_count, day);
    struct book_entry *grown =
        array_room(change->entry, change->entries, sizeof *change->entry, NULL);
    if (!grown) {
        change->short_of_memory = true;
        return;
    }
    change->entry = grown;
    struct book_entry *entry = &grown[change->entries++];
    *entry = (struct book_entry){.day = day, .site = site, .counts = noon != NULL};
    if (noon)
        entry->noon = *noon;
}

void change_notice(struct change *change, const struct notice *notice) {
    struct notice *grown = array_room(change->notice, change->notices, sizeof *notice, NULL);
    if (!grown)
        return;
    change->notice = grown;
    change->notice[change->notices++] = *notice;
}

size_t change_notices(const struct change *change, const struct notice **out) {
    *out = change->notice;
    return change->notices;
}

struct change_noted change_noted(const struct change *change) {
    return (struct change_noted){change->notices, change->entries};
}

/* The room stays as it was made for more: array_room makes it anew, as large. */
void change_unsay(struct change *change, struct change_noted noted) {
    change->notices = noted.notices;
    change->entries = noted.entries;
}

size_t change_touched(const struct change *change, const int64_t **out) {
    *out = change->touched;
    return change->touched_count;
}

int change_commit(struct change *change, struct err *err) {
    if (change->short_of_memory)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    if (db_commit(change->db, err))
        return -1;
    if (change->book)
        book_commit(change->book, change->torn, change->torn_count, change->entry, change->entries);
    return 0;
}

void change_rollback(struct change *change) {
    db_rollback(change->db);
    if (change->book)
        book_commit(change->book, change->touched, change->touched_count, NULL, 0);
}

void change_forget(struct change *change) {
    free(change->touched);
    change->touched = NULL;
    change->touched_count = 0;
    free(change->torn);
    change->torn = NULL;
    change->torn_count = 0;
    free(change->entry);
    change->entry = NULL;
    change->entries = 0;
    free(change->notice);
    change->notice = NULL;
    change->notices = 0;
    change->short_of_memory = false;
}

int change_alone(struct change *change, change_work work, void *context, struct err *err) {
    int result = -1;
    if (db_begin(change->db, err))
        return -1;
    change_begins(change, false);
    if (work(change, context) || change_commit(change, err))
        change_rollback(change);
    else
        result = 0;
    change_forget(change);
    return result;
}
