/* SPDX-License-Identifier: MIT */
/* change: the touched days are few; a plain list does. */
#include "server/rules/change.h"

#include <stdlib.h>

#include "server/rules/derive.h"
#include "server/store/array.h"

struct change {
    struct db *db;
    struct almanac *almanac;
    int64_t *touched;
    size_t touched_count;
    struct notice *notice;
    size_t notices;
    bool short_of_memory;
};

struct change *change_new(struct db *write, struct almanac *almanac) {
    struct change *change = calloc(1, sizeof *change);
    if (change) {
        change->db = write;
        change->almanac = almanac;
    }
    return change;
}

void change_free(struct change *change) {
    if (!change)
        return;
    free(change->touched);
    free(change->notice);
    free(change);
}

struct db *change_db(struct change *change) {
    return change->db;
}

struct almanac *change_almanac(struct change *change) {
    return change->almanac;
}

void change_touch(struct change *change, int64_t day) {
    for (size_t i = 0; i < change->touched_count; i++)
        if (change->touched[i] == day)
            return;
    int64_t *grown =
        array_room(change->touched, change->touched_count, sizeof *change->touched, NULL);
    if (!grown) {
        change->short_of_memory = true;
        return;
    }
    change->touched = grown;
    change->touched[change->touched_count++] = day;
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

/* The room stays as it was made for more: to cut it would confuse array_room. */
void change_unsay(struct change *change, size_t count) {
    change->notices = count;
}

size_t change_touched(const struct change *change, const int64_t **out) {
    *out = change->touched;
    return change->touched_count;
}

int change_settle(struct change *change, struct err *err) {
    if (change->short_of_memory)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < change->touched_count; i++)
        if (derive_result(change->db, change->touched[i], err))
            return -1;
    return 0;
}

void change_forget(struct change *change) {
    free(change->touched);
    change->touched = NULL;
    change->touched_count = 0;
    free(change->notice);
    change->notice = NULL;
    change->notices = 0;
    change->short_of_memory = false;
}

int change_alone(struct change *change, change_work work, void *context, struct err *err) {
    int result = -1;
    if (db_begin(change->db, err))
        return -1;
    if (work(change, context) || change_settle(change, err) || db_commit(change->db, err))
        db_rollback(change->db);
    else
        result = 0;
    change_forget(change);
    return result;
}
