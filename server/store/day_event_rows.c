/* SPDX-License-Identifier: MIT */
/* day_event_rows: questions about day_event. */
#include "server/store/day_event_rows.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

int day_event_rows_add(struct db *db, int64_t day, const struct day_event_record *event, int64_t by,
                       struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("day_event"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO day_event (id, day, event, state, date, blind, reason, "
                   "recorded_utc_s, recorded_by) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, day);
    bind_text(statement, 3, day_event_name(event->kind));
    bind_text(statement, 4, event->kind == DAY_EVENT_STATE ? day_state_name(event->state) : NULL);
    if (event->kind == DAY_EVENT_MOVE)
        bind_int(statement, 5, event->date);
    if (event->kind == DAY_EVENT_BLIND)
        bind_int(statement, 6, event->blind);
    bind_text(statement, 7, event->reason);
    bind_real(statement, 8, event->at_utc_s);
    bind_id_or_null(statement, 9, by);
    return statement_run(statement, err);
}

static void read_event(struct statement *statement, struct day_event_record *out) {
    *out = (struct day_event_record){.kind = DAY_EVENT_OPEN};
    for (int kind = DAY_EVENT_OPEN; kind <= DAY_EVENT_BLIND; kind++)
        if (strcmp(column_text(statement, 0, NULL), day_event_name((enum day_event_kind)kind)) == 0)
            out->kind = (enum day_event_kind)kind;
    day_state_parse(column_text(statement, 1, NULL), &out->state);
    out->date = (int32_t)column_int(statement, 2);
    out->blind = column_int(statement, 3) != 0;
    column_copy(statement, 4, out->reason, sizeof out->reason);
    out->at_utc_s = column_real(statement, 5);
}

int day_event_rows_list(struct db *db, int64_t day, struct day_event_record **out, size_t *count,
                        struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT 'open', NULL, d.date, NULL, '', d.opened_utc_s, 0 AS n FROM day d "
                   "WHERE d.id = $1 UNION ALL "
                   "SELECT e.event, e.state, e.date, e.blind, e.reason, e.recorded_utc_s, e.id "
                   "FROM day_event e WHERE e.day = $1 ORDER BY n",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    struct day_event_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct day_event_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_event(statement, &items[n++]);
    }
    statement_done(statement);
    if (step != STEP_DONE) {
        free(items);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}
