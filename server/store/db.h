/* SPDX-License-Identifier: MIT */
/* db: a connection to the store and its prepared statements. The only way from
 * the questions in this folder to the database, and the only header that knows
 * one is there: nothing of SQLite shows. SQL is portable (placeholders $1, $2 ...,
 * types BIGINT, DOUBLE PRECISION, TEXT), so that another database can stand
 * behind the same header.
 *
 * NAN and NULL are the same thing: binding NAN writes NULL, reading NULL gives NAN.
 * A connection belongs to one thread at a time. Failures fill err with
 * ERR_STORAGE, a sentence without inner details, and write one log line. */
#ifndef NOONARC_DB_H
#define NOONARC_DB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"

struct db;
struct statement;

enum db_mode {
    DB_WRITE, /* creates the store when it is missing; at most one at a time is used */
    DB_READ   /* sees the last committed state; refuses writes */
};

/* Opens path (":memory:" for a private store in memory, DB_WRITE only). The
 * caller frees it with db_close. Returns 0, or -1 with err and nothing opened. */
int db_open(const char *path, enum db_mode mode, struct db **out, struct err *err)
    __attribute__((warn_unused_result));

/* Closes; a transaction still open is rolled back. NULL is fine. */
void db_close(struct db *db);

/* Transactions. A savepoint sits inside a transaction and may be undone alone;
 * savepoints do not nest. Rolling back never fails: the connection is usable
 * afterwards. db_begin on a write connection takes the write lock at once; on a
 * read connection it holds one state of the store still until db_commit. */
int db_begin(struct db *db, struct err *err) __attribute__((warn_unused_result));
int db_commit(struct db *db, struct err *err) __attribute__((warn_unused_result));
void db_rollback(struct db *db);
int db_savepoint(struct db *db, struct err *err) __attribute__((warn_unused_result));
int db_savepoint_keep(struct db *db, struct err *err) __attribute__((warn_unused_result));
void db_savepoint_undo(struct db *db);
bool db_in_transaction(const struct db *db);

/* Grows with every row that the connection adds, changes or removes. */
int64_t db_changes(const struct db *db);

/* Runs statements without parameters or answers, separated by semicolons. For
 * migrations. */
int db_script(struct db *db, const char *sql, struct err *err) __attribute__((warn_unused_result));

/* A statement, compiled once per connection and SQL text. sql must outlive the
 * connection (a string literal). The connection owns it. Must be handed back by
 * statement_done before the same text is asked for again. */
int db_prepare(struct db *db, const char *sql, struct statement **out, struct err *err)
    __attribute__((warn_unused_result));

/* A number that a write connection keeps for a question until its transaction ends or
 * a savepoint is undone: 0 at first. */
int64_t *db_kept_number(struct db *db, const char *sql);

/* Parameters count from 1. Texts are borrowed until statement_done or statement_run; a
 * NULL text is NULL. */
void bind_int(struct statement *statement, int place, int64_t value);
void bind_real(struct statement *statement, int place, double value);
void bind_text(struct statement *statement, int place, const char *value);
void bind_bytes(struct statement *statement, int place, const char *value, size_t length);

enum step { STEP_FAILED = -1, STEP_DONE, STEP_ROW };

/* The next row. After STEP_DONE and STEP_FAILED only statement_done is useful. */
enum step statement_step(struct statement *statement, struct err *err)
    __attribute__((warn_unused_result));

/* Columns of the row, counting from 0. The text ("" for NULL) is borrowed until
 * the next step. */
int64_t column_int(struct statement *statement, int place);
double column_real(struct statement *statement, int place);
const char *column_text(struct statement *statement, int place, size_t *length_or_null);
bool column_null(struct statement *statement, int place);

/* Copies a text column into a fixed array, always terminated. A text that does
 * not fit was not written by us and is cut. */
void column_copy(struct statement *statement, int place, char *out, size_t size);

/* Forgets row and parameters; the statement may be asked for again. NULL is fine. */
void statement_done(struct statement *statement);

/* Steps a statement that answers nothing and hands it back. */
int statement_run(struct statement *statement, struct err *err) __attribute__((warn_unused_result));

/* What a question for one thing answers. */
enum found { FOUND_FAILED = -1, FOUND_NONE, FOUND_ONE };

/* Whether references between tables are held, as they are at first. For migrations,
 * which make tables anew; outside of transactions. */
int db_hold_references(struct db *db, bool held, struct err *err)
    __attribute__((warn_unused_result));

/* Whether all references lead somewhere. */
int db_references_sound(struct db *db, struct err *err) __attribute__((warn_unused_result));

/* Has the database look through its own pages and references. Returns 0 when it
 * finds nothing wrong. */
int db_sound(struct db *db, struct err *err) __attribute__((warn_unused_result));

/* What a write connection commits goes into a log beside the store's file first. It brings
 * the log into the file by itself when it has become long, within a commit; after
 * db_mind_log the caller does so between commits: db_settle_log, when db_log_is_long. A
 * state that a reader holds still keeps back what is newer, and the log from starting over:
 * the next time does it. When it fails there is a line in the log of the server, nothing is
 * lost, and the next time does it too. */
void db_mind_log(struct db *db);
bool db_log_is_long(const struct db *db);
void db_settle_log(struct db *db);

/* Copies one committed state of the store at from, which others may be writing
 * to meanwhile, into the empty file at to. On return the copy is on the disk, whole
 * and in one file. When it fails, what is at to is worth nothing. */
int db_copy(const char *from, const char *to, struct err *err) __attribute__((warn_unused_result));

/* Counts of what this connection did since it was opened. */
struct db_counts {
    int64_t commits;
    int64_t rollbacks;
    int64_t statements; /* steps begun */
};
struct db_counts db_counts(const struct db *db);

#endif
