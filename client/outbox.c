/* SPDX-License-Identifier: MIT */
/* outbox: three small tables, every change its own durable transaction. */
#include "client/outbox.h"

#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/stat.h>

#include "client/files.h"

#define OUTBOX_VERSION 2
#define OUTBOX_WAIT_MS 10000 /* for another client's write */

static const char schema[] =
    "CREATE TABLE outbox ("
    " number INTEGER PRIMARY KEY AUTOINCREMENT,"
    " server TEXT NOT NULL, site TEXT NOT NULL, day TEXT NOT NULL,"
    " idempotency_key TEXT NOT NULL UNIQUE,"
    " body TEXT NOT NULL,"          /* run document as sent */
    " key_kind INTEGER NOT NULL,"   /* enum key_kind */
    " state INTEGER NOT NULL,"      /* enum outbox_state */
    " created_utc_s REAL NOT NULL," /* seconds since 1970-01-01 UTC */
    " tries INTEGER NOT NULL DEFAULT 0,"
    " code TEXT NOT NULL DEFAULT '', reason TEXT NOT NULL DEFAULT '',"
    " run INTEGER NOT NULL DEFAULT 0);" /* the server's number, 0 none */
    "CREATE TABLE draft (server TEXT NOT NULL, site TEXT NOT NULL, day TEXT NOT NULL,"
    " body TEXT NOT NULL, PRIMARY KEY (server, site, day));"
    "CREATE TABLE known_site (server TEXT NOT NULL, site TEXT NOT NULL, body TEXT NOT NULL,"
    " PRIMARY KEY (server, site));"
    "PRAGMA user_version = 1;";

/* What is newer than the tables above, by version. */
static const char *const later[] = {
    /* 2 */ "CREATE TABLE registering (server TEXT NOT NULL, body TEXT NOT NULL,"
            " idempotency_key TEXT NOT NULL, PRIMARY KEY (server, body));"
            "PRAGMA user_version = 2;",
};

#define COLUMNS                                                                                    \
    "number, server, site, day, idempotency_key, body, key_kind, state, created_utc_s, tries,"     \
    " code, reason, run"

struct outbox {
    sqlite3 *db;
    char path[FILES_PATH_MAX];
};

const char *outbox_state_name(enum outbox_state state) {
    static const char *const names[] = {
        [OUTBOX_WAITING] = "waiting", [OUTBOX_DONE] = "done", [OUTBOX_REFUSED] = "refused"};
    return names[state];
}

void outbox_item_release(struct outbox_item *item) {
    free(item->body);
    item->body = NULL;
}

static int trouble(struct outbox *outbox, struct err *err) {
    return err_set(err, ERR_STORAGE, outbox->path, "the outbox %s failed: %s", outbox->path,
                   sqlite3_errmsg(outbox->db));
}

static int execute(struct outbox *outbox, const char *sql, struct err *err) {
    return sqlite3_exec(outbox->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : trouble(outbox, err);
}

/* Prepares and binds: one letter of kinds per value, t text, i int64_t, d double. */
static sqlite3_stmt *ask(struct outbox *outbox, struct err *err, const char *sql, const char *kinds,
                         ...) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(outbox->db, sql, -1, &statement, NULL);
    va_list values;
    va_start(values, kinds);
    for (int at = 1; code == SQLITE_OK && kinds[at - 1] != '\0'; at++) {
        if (kinds[at - 1] == 't')
            code = sqlite3_bind_text(statement, at, va_arg(values, const char *), -1,
                                     SQLITE_TRANSIENT);
        else if (kinds[at - 1] == 'i')
            code = sqlite3_bind_int64(statement, at, va_arg(values, int64_t));
        else
            code = sqlite3_bind_double(statement, at, va_arg(values, double));
    }
    va_end(values);
    if (code != SQLITE_OK) {
        trouble(outbox, err);
        sqlite3_finalize(statement);
        statement = NULL;
    }
    return statement;
}

/* Runs a change to its end. NULL (a failed ask) is passed on. */
static int finish(struct outbox *outbox, sqlite3_stmt *statement, struct err *err) {
    if (statement == NULL)
        return -1;
    int code = sqlite3_step(statement);
    int result = code == SQLITE_DONE || code == SQLITE_ROW ? 0 : trouble(outbox, err);
    sqlite3_finalize(statement);
    return result;
}

static int user_version(struct outbox *outbox, int *version, struct err *err) {
    sqlite3_stmt *statement = ask(outbox, err, "PRAGMA user_version", "");
    if (statement == NULL)
        return -1;
    int result = 0;
    if (sqlite3_step(statement) == SQLITE_ROW)
        *version = sqlite3_column_int(statement, 0);
    else
        result = trouble(outbox, err);
    sqlite3_finalize(statement);
    return result;
}

/* Makes the tables that are not there yet; two clients may get here together. */
static int prepare(struct outbox *outbox, struct err *err) {
    int version = 0;
    if (execute(outbox, "PRAGMA synchronous = FULL; BEGIN IMMEDIATE", err) != 0)
        return -1;
    if (user_version(outbox, &version, err) != 0)
        goto fail;
    if (version > OUTBOX_VERSION) {
        err_set(err, ERR_STORAGE, outbox->path, "the outbox %s is of a newer noonarc",
                outbox->path);
        goto fail;
    }
    if (version == 0 && execute(outbox, schema, err) != 0)
        goto fail;
    for (int next = version == 0 ? 2 : version + 1; next <= OUTBOX_VERSION; next++)
        if (execute(outbox, later[next - 2], err) != 0)
            goto fail;
    return execute(outbox, "COMMIT", err);
fail:
    sqlite3_exec(outbox->db, "ROLLBACK", NULL, NULL, NULL);
    return -1;
}

int outbox_open(struct outbox **out, struct err *err) {
    struct outbox *outbox = calloc(1, sizeof *outbox);
    if (outbox == NULL)
        return err_set(err, ERR_STORAGE, "", "out of memory");
    mode_t mask = umask(077); /* readings are the school's own until they are sent */
    int result = files_state_path("outbox.sqlite", outbox->path, err);
    if (result == 0 && sqlite3_open(outbox->path, &outbox->db) != SQLITE_OK)
        result = trouble(outbox, err);
    if (result == 0) {
        sqlite3_busy_timeout(outbox->db, OUTBOX_WAIT_MS);
        result = prepare(outbox, err);
    }
    umask(mask);
    if (result == 0)
        *out = outbox;
    else
        outbox_close(outbox);
    return result;
}

void outbox_close(struct outbox *outbox) {
    if (outbox == NULL)
        return;
    sqlite3_close(outbox->db);
    free(outbox);
}

static int fresh_key(char out[OUTBOX_KEY_MAX], struct err *err) {
    unsigned char bytes[(OUTBOX_KEY_MAX - 1) / 2];
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes)
        return err_set(err, ERR_STORAGE, "", "no random numbers from the system");
    for (size_t i = 0; i < sizeof bytes; i++)
        snprintf(out + 2 * i, 3, "%02x", bytes[i]);
    return 0;
}

int outbox_add(struct outbox *outbox, struct outbox_item *item, struct err *err) {
    if (fresh_key(item->idempotency_key, err) != 0 || execute(outbox, "BEGIN IMMEDIATE", err) != 0)
        return -1;
    sqlite3_stmt *add =
        ask(outbox, err,
            "INSERT INTO outbox (server, site, day, idempotency_key, body, key_kind, state,"
            " created_utc_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            "tttttiid", item->server, item->site, item->day, item->idempotency_key, item->body,
            (int64_t)item->key_kind, (int64_t)OUTBOX_WAITING, item->created_utc_s);
    if (finish(outbox, add, err) != 0)
        goto fail;
    item->number = sqlite3_last_insert_rowid(outbox->db);
    item->state = OUTBOX_WAITING;
    if (item->from_draft &&
        outbox_draft_drop(outbox, item->server, item->site, item->day, err) != 0)
        goto fail;
    if (execute(outbox, "COMMIT", err) != 0)
        goto fail;
    return 0;
fail:
    sqlite3_exec(outbox->db, "ROLLBACK", NULL, NULL, NULL);
    return -1;
}

static void copy_text(char *out, size_t size, sqlite3_stmt *row, int column) {
    snprintf(out, size, "%s", (const char *)sqlite3_column_text(row, column));
}

/* Takes one row of COLUMNS, or none, and finalizes. */
static int take_item(struct outbox *outbox, sqlite3_stmt *row, struct outbox_item *item,
                     struct err *err) {
    if (row == NULL)
        return -1;
    int result = 0;
    int code = sqlite3_step(row);
    if (code == SQLITE_ROW) {
        result = 1;
        *item = (struct outbox_item){
            .number = sqlite3_column_int64(row, 0),
            .body = strdup((const char *)sqlite3_column_text(row, 5)),
            .key_kind = (enum key_kind)sqlite3_column_int(row, 6),
            .state = (enum outbox_state)sqlite3_column_int(row, 7),
            .created_utc_s = sqlite3_column_double(row, 8),
            .tries = sqlite3_column_int(row, 9),
            .run = sqlite3_column_int64(row, 12),
        };
        copy_text(item->server, sizeof item->server, row, 1);
        copy_text(item->site, sizeof item->site, row, 2);
        copy_text(item->day, sizeof item->day, row, 3);
        copy_text(item->idempotency_key, sizeof item->idempotency_key, row, 4);
        copy_text(item->code, sizeof item->code, row, 10);
        copy_text(item->reason, sizeof item->reason, row, 11);
        if (item->body == NULL)
            result = err_set(err, ERR_STORAGE, "", "out of memory");
    } else if (code != SQLITE_DONE) {
        result = trouble(outbox, err);
    }
    sqlite3_finalize(row);
    return result;
}

int outbox_next(struct outbox *outbox, int64_t after, struct outbox_item *item, struct err *err) {
    return take_item(outbox,
                     ask(outbox, err,
                         "SELECT " COLUMNS " FROM outbox WHERE number > ? ORDER BY number LIMIT 1",
                         "i", after),
                     item, err);
}

int outbox_find(struct outbox *outbox, int64_t number, struct outbox_item *item, struct err *err) {
    return take_item(
        outbox, ask(outbox, err, "SELECT " COLUMNS " FROM outbox WHERE number = ?", "i", number),
        item, err);
}

int outbox_mark(struct outbox *outbox, int64_t number, enum outbox_state state, const char *code,
                const char *reason, int64_t run, struct err *err) {
    return finish(outbox,
                  ask(outbox, err,
                      "UPDATE outbox SET state = ?, code = ?, reason = ?, run = ?,"
                      " tries = tries + 1 WHERE number = ? AND state = 0",
                      "ittii", (int64_t)state, code, reason, run, number),
                  err);
}

int outbox_retry(struct outbox *outbox, int64_t number, struct err *err) {
    return finish(
        outbox,
        ask(outbox, err, "UPDATE outbox SET state = 0 WHERE number = ? AND state = 2", "i", number),
        err);
}

int outbox_drop(struct outbox *outbox, int64_t number, struct err *err) {
    int result =
        finish(outbox, ask(outbox, err, "DELETE FROM outbox WHERE number = ?", "i", number), err);
    return result == 0 ? sqlite3_changes(outbox->db) : result;
}

int outbox_drop_done(struct outbox *outbox, int *dropped, struct err *err) {
    int result = execute(outbox, "DELETE FROM outbox WHERE state = 1", err);
    if (result == 0)
        *dropped = sqlite3_changes(outbox->db);
    return result;
}

/* Takes one text column, or none, and finalizes. */
static int take_text(struct outbox *outbox, sqlite3_stmt *row, char **out, struct err *err) {
    if (row == NULL)
        return -1;
    int result = 0;
    int code = sqlite3_step(row);
    if (code == SQLITE_ROW) {
        *out = strdup((const char *)sqlite3_column_text(row, 0));
        result = *out != NULL ? 1 : err_set(err, ERR_STORAGE, "", "out of memory");
    } else if (code != SQLITE_DONE) {
        result = trouble(outbox, err);
    }
    sqlite3_finalize(row);
    return result;
}

int outbox_draft_keep(struct outbox *outbox, const char *server, const char *site, const char *day,
                      const char *body, struct err *err) {
    return finish(outbox,
                  ask(outbox, err, "INSERT OR REPLACE INTO draft VALUES (?, ?, ?, ?)", "tttt",
                      server, site, day, body),
                  err);
}

int outbox_draft_find(struct outbox *outbox, const char *server, const char *site, const char *day,
                      char **body, struct err *err) {
    return take_text(outbox,
                     ask(outbox, err,
                         "SELECT body FROM draft WHERE server = ? AND site = ? AND day = ?", "ttt",
                         server, site, day),
                     body, err);
}

int outbox_draft_drop(struct outbox *outbox, const char *server, const char *site, const char *day,
                      struct err *err) {
    return finish(outbox,
                  ask(outbox, err, "DELETE FROM draft WHERE server = ? AND site = ? AND day = ?",
                      "ttt", server, site, day),
                  err);
}

int outbox_site_keep(struct outbox *outbox, const char *server, const char *site, const char *body,
                     struct err *err) {
    return finish(outbox,
                  ask(outbox, err, "INSERT OR REPLACE INTO known_site VALUES (?, ?, ?)", "ttt",
                      server, site, body),
                  err);
}

int outbox_site_next(struct outbox *outbox, const char *server, char site[OUTBOX_WORD_MAX],
                     char **body, struct err *err) {
    sqlite3_stmt *row = ask(outbox, err,
                            "SELECT body, site FROM known_site WHERE server = ? AND site > ?"
                            " ORDER BY site LIMIT 1",
                            "tt", server, site);
    if (row == NULL)
        return -1;
    int result = 0;
    int code = sqlite3_step(row);
    if (code == SQLITE_ROW) {
        copy_text(site, OUTBOX_WORD_MAX, row, 1);
        *body = strdup((const char *)sqlite3_column_text(row, 0));
        result = *body != NULL ? 1 : err_set(err, ERR_STORAGE, "", "out of memory");
    } else if (code != SQLITE_DONE) {
        result = trouble(outbox, err);
    }
    sqlite3_finalize(row);
    return result;
}

int outbox_site_find(struct outbox *outbox, const char *server, const char *site, char **body,
                     struct err *err) {
    return take_text(outbox,
                     ask(outbox, err, "SELECT body FROM known_site WHERE server = ? AND site = ?",
                         "tt", server, site),
                     body, err);
}

int outbox_registering(struct outbox *outbox, const char *server, const char *body,
                       char key[OUTBOX_KEY_MAX], struct err *err) {
    char fresh[OUTBOX_KEY_MAX], *kept = NULL;
    if (fresh_key(fresh, err) != 0 ||
        finish(outbox,
               ask(outbox, err, "INSERT OR IGNORE INTO registering VALUES (?, ?, ?)", "ttt", server,
                   body, fresh),
               err) != 0 ||
        take_text(outbox,
                  ask(outbox, err,
                      "SELECT idempotency_key FROM registering WHERE server = ? AND body = ?", "tt",
                      server, body),
                  &kept, err) != 1)
        return -1;
    snprintf(key, OUTBOX_KEY_MAX, "%s", kept);
    free(kept);
    return 0;
}

int outbox_registered(struct outbox *outbox, const char *server, const char *body,
                      struct err *err) {
    return finish(outbox,
                  ask(outbox, err, "DELETE FROM registering WHERE server = ? AND body = ?", "tt",
                      server, body),
                  err);
}
