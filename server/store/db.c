/* SPDX-License-Identifier: MIT */
/* db on SQLite: write-ahead log, every commit on the disk before it is answered
 * (synchronous FULL), foreign keys held. Statements are compiled once and found
 * again by the address of their text. SQLite numbers $-placeholders by first
 * appearance, so each statement keeps a map from $n to SQLite's place. */
#include "server/store/db.h"

#include <assert.h>
#include <math.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/log.h"
#include "server/store/gather.h"
#include "server/store/recognise.h"
#include "server/store/sqlite_failed.h"

#define BUSY_TIMEOUT_MS 5000
#define PLACES_MAX 32
#define CACHE_SLOTS 512 /* a power of two, well above the number of questions */
#define LOG_LONG_PAGES 1000
#define KEPT_NUMBERS 32 /* more than there are numbered tables */

struct statement {
    struct db *db;
    const char *sql;
    sqlite3_stmt *handle;
    int place[PLACES_MAX + 1]; /* $n -> SQLite's number, 0 when not in the text */
    bool busy;
    bool bad; /* a bind failed: the next step says so */
};

struct db {
    sqlite3 *handle;
    enum db_mode mode;
    struct statement *cache[CACHE_SLOTS];
    int cached;
    struct {
        const char *sql;
        int64_t number;
    } kept[KEPT_NUMBERS];
    int kept_count;
    int log_pages, settled_pages; /* of the log, and of these as it was settled last */
    struct db_counts counts;
};

static int failed(struct db *db, const char *doing, int code, struct err *err) {
    return sqlite_failed(db->handle, doing, code, err);
}

int db_script(struct db *db, const char *sql, struct err *err) {
    int code = sqlite3_exec(db->handle, sql, NULL, NULL, NULL);
    return code == SQLITE_OK ? 0 : failed(db, "script", code, err);
}

void db_close(struct db *db) {
    if (!db)
        return;
    for (int i = 0; i < CACHE_SLOTS; i++) {
        if (!db->cache[i])
            continue;
        assert(!db->cache[i]->busy);
        sqlite3_finalize(db->cache[i]->handle);
        free(db->cache[i]);
    }
    sqlite3_close(db->handle); /* rolls back what is open */
    free(db);
}

static struct statement **slot_of(struct db *db, const char *sql) {
    size_t at = ((uintptr_t)sql * UINT64_C(0x9E3779B97F4A7C15)) >> (64 - 9);
    while (db->cache[at] && db->cache[at]->sql != sql)
        at = (at + 1) & (CACHE_SLOTS - 1);
    return &db->cache[at];
}

static struct statement *compile(struct db *db, const char *sql, struct err *err) {
    struct statement *statement = calloc(1, sizeof *statement);
    if (!statement) {
        err_set(err, ERR_STORAGE, NULL, "out of memory");
        return NULL;
    }
    statement->db = db;
    statement->sql = sql;
    int code = sqlite3_prepare_v3(db->handle, sql, -1, SQLITE_PREPARE_PERSISTENT,
                                  &statement->handle, NULL);
    if (code != SQLITE_OK) {
        failed(db, "prepare", code, err);
        free(statement);
        return NULL;
    }
    for (int n = 1; n <= PLACES_MAX; n++) {
        char name[16];
        snprintf(name, sizeof name, "$%d", n);
        statement->place[n] = sqlite3_bind_parameter_index(statement->handle, name);
    }
    return statement;
}

int db_prepare(struct db *db, const char *sql, struct statement **out, struct err *err) {
    struct statement **slot = slot_of(db, sql);
    if (!*slot) {
        assert(db->cached < CACHE_SLOTS / 2);
        *slot = compile(db, sql, err);
        if (!*slot)
            return -1;
        db->cached++;
    }
    assert(!(*slot)->busy);
    (*slot)->busy = true;
    (*slot)->bad = false;
    *out = *slot;
    return 0;
}

int64_t *db_kept_number(struct db *db, const char *sql) {
    assert(db_in_transaction(db));
    for (int i = 0; i < db->kept_count; i++)
        if (db->kept[i].sql == sql || strcmp(db->kept[i].sql, sql) == 0)
            return &db->kept[i].number;
    assert(db->kept_count < KEPT_NUMBERS);
    db->kept[db->kept_count].sql = sql;
    db->kept[db->kept_count].number = 0;
    return &db->kept[db->kept_count++].number;
}

static int place_of(const struct statement *statement, int place) {
    assert(place >= 1 && place <= PLACES_MAX && statement->place[place] > 0);
    return statement->place[place];
}

void bind_int(struct statement *statement, int place, int64_t value) {
    if (sqlite3_bind_int64(statement->handle, place_of(statement, place), value) != SQLITE_OK)
        statement->bad = true;
}

void bind_real(struct statement *statement, int place, double value) {
    int at = place_of(statement, place);
    int code = isnan(value) ? sqlite3_bind_null(statement->handle, at)
                            : sqlite3_bind_double(statement->handle, at, value);
    if (code != SQLITE_OK)
        statement->bad = true;
}

void bind_text(struct statement *statement, int place, const char *value) {
    bind_bytes(statement, place, value, value ? strlen(value) : 0);
}

void bind_bytes(struct statement *statement, int place, const char *value, size_t length) {
    int at = place_of(statement, place);
    int code = value ? sqlite3_bind_text64(statement->handle, at, value, length, SQLITE_STATIC,
                                           SQLITE_UTF8)
                     : sqlite3_bind_null(statement->handle, at);
    if (code != SQLITE_OK)
        statement->bad = true;
}

enum step statement_step(struct statement *statement, struct err *err) {
    struct db *db = statement->db;
    if (statement->bad) {
        failed(db, "bind", SQLITE_NOMEM, err);
        return STEP_FAILED;
    }
    db->counts.statements++;
    int code = sqlite3_step(statement->handle);
    if (code == SQLITE_ROW)
        return STEP_ROW;
    if (code == SQLITE_DONE)
        return STEP_DONE;
    failed(db, "step", code, err);
    return STEP_FAILED;
}

int64_t column_int(struct statement *statement, int place) {
    return sqlite3_column_int64(statement->handle, place);
}

double column_real(struct statement *statement, int place) {
    if (column_null(statement, place))
        return NAN;
    return sqlite3_column_double(statement->handle, place);
}

const char *column_text(struct statement *statement, int place, size_t *length_or_null) {
    const unsigned char *text = sqlite3_column_text(statement->handle, place);
    if (length_or_null)
        *length_or_null = text ? (size_t)sqlite3_column_bytes(statement->handle, place) : 0;
    return text ? (const char *)text : "";
}

bool column_null(struct statement *statement, int place) {
    return sqlite3_column_type(statement->handle, place) == SQLITE_NULL;
}

void column_copy(struct statement *statement, int place, char *out, size_t size) {
    size_t length;
    const char *text = column_text(statement, place, &length);
    if (length >= size)
        length = size - 1;
    memcpy(out, text, length);
    out[length] = '\0';
}

void statement_done(struct statement *statement) {
    if (!statement)
        return;
    sqlite3_reset(statement->handle);
    sqlite3_clear_bindings(statement->handle);
    statement->busy = false;
}

int statement_run(struct statement *statement, struct err *err) {
    enum step step = statement_step(statement, err);
    assert(step != STEP_ROW);
    statement_done(statement);
    return step == STEP_DONE ? 0 : -1;
}

static int control(struct db *db, const char *sql, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    return statement_run(statement, err);
}

static const char sql_begin_write[] = "BEGIN IMMEDIATE";
static const char sql_begin_read[] = "BEGIN";
static const char sql_commit[] = "COMMIT";
static const char sql_rollback[] = "ROLLBACK";
static const char sql_savepoint[] = "SAVEPOINT job";
static const char sql_keep[] = "RELEASE job";
static const char sql_undo[] = "ROLLBACK TO job";

/* What undoes a failure must not need memory when the failure is a lack of it. */
static int compile_controls(struct db *db, struct err *err) {
    const char *const all[] = {sql_begin_write, sql_begin_read, sql_commit, sql_rollback,
                               sql_savepoint,   sql_keep,       sql_undo};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++) {
        struct statement *statement;
        if (db_prepare(db, all[i], &statement, err))
            return -1;
        statement_done(statement);
    }
    return 0;
}

/* Before anything else is written: a file with the mark of another program stays as
 * it is. */
static int mark_ours(struct db *db, struct err *err) {
    struct statement *statement;
    char sql[64];
    if (db_prepare(db, "PRAGMA application_id", &statement, err))
        return -1;
    bool read = statement_step(statement, err) == STEP_ROW;
    int64_t mark = read ? column_int(statement, 0) : 0;
    statement_done(statement);
    if (!read)
        return -1;
    if (mark == STORE_MARK)
        return 0;
    if (mark != 0)
        return failed(db, "open", SQLITE_NOTADB, err);
    snprintf(sql, sizeof sql, "PRAGMA application_id = %d", STORE_MARK);
    return db_script(db, sql, err);
}

/* SQLite's count of all its memory costs a lock at each request for some; nobody
 * asks for it. Too late is no harm: somebody else has begun with SQLite then. */
static void leave_memory_uncounted(void) {
    (void)sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
}

int db_open(const char *path, enum db_mode mode, struct db **out, struct err *err) {
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    struct db *db = calloc(1, sizeof *db);
    if (!db)
        return err_set(err, ERR_STORAGE, NULL, "out of memory");
    pthread_once(&once, leave_memory_uncounted);
    db->mode = mode;
    /* A reader is opened for writing too, because it may have to bring the shared
     * memory of the log into being; query_only then keeps it from writing. */
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX;
    if (mode == DB_WRITE)
        flags |= SQLITE_OPEN_CREATE;
    int code = sqlite3_open_v2(path, &db->handle, flags, mode == DB_WRITE ? gather_vfs() : NULL);
    if (code != SQLITE_OK) {
        failed(db, "open", code, err);
        goto cleanup;
    }
    /* SQLite opens what it may only read all the same. */
    if (mode == DB_WRITE && sqlite3_db_readonly(db->handle, "main") == 1) {
        failed(db, "open", SQLITE_READONLY, err);
        goto cleanup;
    }
    sqlite3_extended_result_codes(db->handle, 1);
    sqlite3_busy_timeout(db->handle, BUSY_TIMEOUT_MS);
    if (mode == DB_WRITE && mark_ours(db, err))
        goto cleanup;
    const char *set_up = mode == DB_WRITE ? "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
                                            "PRAGMA secure_delete = ON;" /* erased is erased */
                                            "PRAGMA foreign_keys = ON; PRAGMA temp_store = MEMORY;"
                                            "PRAGMA cache_size = -4000"
                                          : "PRAGMA query_only = ON; PRAGMA foreign_keys = ON;"
                                            "PRAGMA temp_store = MEMORY; PRAGMA cache_size = -1000";
    if (db_script(db, set_up, err) || compile_controls(db, err))
        goto cleanup;
    *out = db;
    return 0;
cleanup:
    db_close(db);
    return -1;
}

int db_begin(struct db *db, struct err *err) {
    assert(!db_in_transaction(db));
    db->kept_count = 0;
    return db->mode == DB_WRITE ? control(db, sql_begin_write, err)
                                : control(db, sql_begin_read, err);
}

int db_commit(struct db *db, struct err *err) {
    /* SQLite undoes the whole transaction by itself after the worst failures. */
    if (!db_in_transaction(db))
        return err_set(err, ERR_STORAGE, NULL, "the store undid the change; nothing was changed");
    if (control(db, sql_commit, err)) {
        db_rollback(db);
        return -1;
    }
    db->counts.commits++;
    return 0;
}

void db_rollback(struct db *db) {
    db->kept_count = 0;
    if (db_in_transaction(db) && control(db, sql_rollback, NULL))
        log_line(NOONARC_LOG_ERROR, "store: rollback failed");
    db->counts.rollbacks++;
}

int db_savepoint(struct db *db, struct err *err) {
    if (!db_in_transaction(db))
        return err_set(err, ERR_STORAGE, NULL, "the store undid the change; nothing was changed");
    return control(db, sql_savepoint, err);
}

int db_savepoint_keep(struct db *db, struct err *err) {
    if (!db_in_transaction(db))
        return err_set(err, ERR_STORAGE, NULL, "the store undid the change; nothing was changed");
    return control(db, sql_keep, err);
}

void db_savepoint_undo(struct db *db) {
    db->kept_count = 0;
    if (!db_in_transaction(db))
        return;
    if (control(db, sql_undo, NULL) || control(db, sql_keep, NULL))
        db_rollback(db);
}

bool db_in_transaction(const struct db *db) {
    return sqlite3_get_autocommit(db->handle) == 0;
}

int64_t db_changes(const struct db *db) {
    return sqlite3_total_changes64(db->handle);
}

int db_hold_references(struct db *db, bool held, struct err *err) {
    assert(!db_in_transaction(db));
    return db_script(db, held ? "PRAGMA foreign_keys = ON" : "PRAGMA foreign_keys = OFF", err);
}

/* A question that finds nothing, or "ok". */
static int ask_for_damage(struct db *db, const char *question, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, question, &statement, err))
        return -1;
    enum step step = statement_step(statement, err);
    bool wrong = step == STEP_ROW && strcmp(column_text(statement, 0, NULL), "ok") != 0;
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    if (wrong) {
        log_line(NOONARC_LOG_ERROR, "store: %s found damage", question);
        return err_set(err, ERR_STORAGE, NULL, "the store is damaged (%s)", question + 7);
    }
    return 0;
}

int db_references_sound(struct db *db, struct err *err) {
    return ask_for_damage(db, "PRAGMA foreign_key_check", err);
}

int db_sound(struct db *db, struct err *err) {
    return ask_for_damage(db, "PRAGMA integrity_check(1)", err) || db_references_sound(db, err) ? -1
                                                                                                : 0;
}

static int note_log(void *context, sqlite3 *handle, const char *name, int pages) {
    struct db *db = context;
    (void)handle, (void)name;
    if (pages < db->log_pages) /* it has started over */
        db->settled_pages = 0;
    db->log_pages = pages;
    return SQLITE_OK;
}

void db_mind_log(struct db *db) {
    assert(db->mode == DB_WRITE);
    sqlite3_wal_hook(db->handle, note_log, db); /* in place of SQLite's own */
}

bool db_log_is_long(const struct db *db) {
    return db->log_pages - db->settled_pages >= LOG_LONG_PAGES;
}

void db_settle_log(struct db *db) {
    assert(!db_in_transaction(db));
    db->settled_pages = db->log_pages; /* also when it fails: not at each commit */
    int code = sqlite3_wal_checkpoint_v2(db->handle, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
    if (code != SQLITE_OK && code != SQLITE_BUSY)
        failed(db, "settle the log", code, NULL);
}

struct db_counts db_counts(const struct db *db) {
    return db->counts;
}
