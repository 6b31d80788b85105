/* SPDX-License-Identifier: MIT */
/* store_fixture: the store is looked into by a connection of its own, so that
 * the tests do not see it through the layer they test. */
#include "tests/support/store_fixture.h"

#include <math.h>
#include <setjmp.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/rules/days.h"
#include "server/rules/figures.h"
#include "server/store/migrate.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"
#include "tests/support/simulate.h"

static void open_store(struct fixture *fixture) {
    int applied;
    assert_int_equal(db_open(fixture->path, DB_WRITE, &fixture->db, &fixture->err), 0);
    assert_int_equal(migrate_apply(fixture->db, migrations, migrations_count, FIXTURE_NOW_UTC_S,
                                   &applied, &fixture->err),
                     0);
    fixture->book = book_new();
    assert_non_null(fixture->book);
    fixture->change = change_new(fixture->db, fixture->almanac, fixture->book);
    assert_non_null(fixture->change);
}

void fixture_open(struct fixture *fixture) {
    *fixture = (struct fixture){0};
    const char *base = getenv("TMPDIR");
    snprintf(fixture->folder, sizeof fixture->folder, "%.40s/noonarc-XXXXXX", base ? base : "/tmp");
    assert_non_null(mkdtemp(fixture->folder));
    snprintf(fixture->path, sizeof fixture->path, "%s/store", fixture->folder);
    fixture->almanac = almanac_new();
    assert_non_null(fixture->almanac);
    open_store(fixture);
    struct err *err = fixture_begin(fixture);
    assert_int_equal(
        fixture_end(fixture, caller_add_organiser(fixture->change, "Organisers", FIXTURE_NOW_UTC_S,
                                                  fixture->organiser_key, err)),
        0);
    fixture->organiser = fixture_caller(fixture, fixture->organiser_key);
}

void fixture_reopen(struct fixture *fixture) {
    change_free(fixture->change);
    book_free(fixture->book);
    db_close(fixture->db);
    open_store(fixture);
}

void fixture_close(struct fixture *fixture) {
    static const char *const endings[] = {"", "-wal", "-shm"};
    change_free(fixture->change);
    book_free(fixture->book);
    db_close(fixture->db);
    almanac_free(fixture->almanac);
    for (size_t i = 0; i < 3; i++) {
        char path[128];
        snprintf(path, sizeof path, "%s%s", fixture->path, endings[i]);
        unlink(path);
    }
    rmdir(fixture->folder);
}

static struct book_view view_of(struct fixture *fixture) {
    return (struct book_view){
        .book = fixture->book, .db = fixture->db, .moment = book_moment(fixture->book)};
}

static struct err *begin(struct fixture *fixture, bool runs_alone) {
    err_clear(&fixture->err);
    assert_int_equal(db_begin(fixture->db, &fixture->err), 0);
    change_begins(fixture->change, runs_alone);
    return &fixture->err;
}

struct err *fixture_begin(struct fixture *fixture) {
    return begin(fixture, false);
}

struct err *fixture_begin_run(struct fixture *fixture) {
    return begin(fixture, true);
}

int fixture_prepare(struct fixture *fixture, const struct submission *submission,
                    struct prepared *out, struct err *err) {
    const struct book_view view = view_of(fixture);
    return accept_prepare(&view, fixture->almanac, submission, out, err);
}

int fixture_end(struct fixture *fixture, int result) {
    if (result == 0) {
        assert_int_equal(change_commit(fixture->change, &fixture->err), 0);
    } else {
        assert_int_not_equal(fixture->err.code, ERR_NONE);
        change_rollback(fixture->change);
    }
    change_forget(fixture->change);
    return result;
}

struct site_record fixture_site_record(const char *site, double lat_deg, double lon_deg) {
    struct site_record record;
    site_record_init(&record);
    snprintf(record.site, sizeof record.site, "%s", site);
    snprintf(record.name, sizeof record.name, "School %s", site);
    record.place = (struct place){.lat_deg = lat_deg, .lon_deg = lon_deg, .elevation_m = 200.0};
    record.gnomon_mm = 1000.0;
    return record;
}

struct site_secrets fixture_site(struct fixture *fixture, const char *site, double lat_deg,
                                 double lon_deg) {
    struct site_record record = fixture_site_record(site, lat_deg, lon_deg), kept;
    struct site_secrets secrets;
    struct err *err = fixture_begin(fixture);
    assert_int_equal(fixture_end(fixture, site_register(fixture->change, &record, FIXTURE_NOW_UTC_S,
                                                        &kept, &secrets, err)),
                     0);
    return secrets;
}

void fixture_day(struct fixture *fixture, const char *day, const char *date) {
    struct day_record record, kept;
    day_record_init(&record);
    snprintf(record.day, sizeof record.day, "%s", day);
    assert_true(date_parse(date, &record.date));
    struct err *err = fixture_begin(fixture);
    assert_int_equal(fixture_end(fixture, day_open(fixture->change, &fixture->organiser, &record,
                                                   FIXTURE_NOW_UTC_S, &kept, err)),
                     0);
}

void fixture_join(struct fixture *fixture, const char *day, const char *site) {
    enum stand stand;
    struct warnings warnings = {.count = 0};
    struct err *err = fixture_begin(fixture);
    assert_int_equal(fixture_end(fixture, day_join(fixture->change, &fixture->organiser, day, site,
                                                   FIXTURE_NOW_UTC_S, &stand, &warnings, err)),
                     0);
    assert_int_equal(stand, STAND_TAKEN);
}

struct caller fixture_caller(struct fixture *fixture, const char *secret) {
    struct caller caller;
    assert_int_equal(caller_resolve(fixture->db, secret, FIXTURE_NOW_UTC_S, &caller, &fixture->err),
                     0);
    return caller;
}

void fixture_body_read(struct fixture_body *body) {
    struct run_record run;
    struct err err = {0};
    if (record_read_run(body->text.bytes, body->text.length, &run, &err))
        fail_msg("%s: %s", err.field, err.text);
    memcpy(run.site, body->run.site, sizeof run.site);
    memcpy(run.day, body->run.day, sizeof run.day);
    body->run = run;
}

void fixture_body(struct fixture_body *body, const char *site, const char *day,
                  const struct place *place, const char *date, uint64_t seed, int64_t supersedes) {
    static const struct errors errors = {.height_m = 0.0005,
                                         .tilt_deg = 0.02,
                                         .edge_deg = 0.01,
                                         .clock_s = 3.0,
                                         .mark_m = 0.001,
                                         .fuzzy_share = 0.05};
    static const struct session session = {.readings = 11, .start_s = -1800.0, .step_s = 360.0};
    struct chance chance = chance_seeded(seed);
    struct sun_day sun;
    int32_t number;
    struct json_writer json;
    assert_true(date_parse(date, &number));
    assert_true(sun_day_build(number, &sun));
    run_record_init(&body->run);
    body->run.run = simulate_run_of(1.0, EDGE_UMBRA);
    simulate_readings(&chance, place, &sun, &errors, &session, &body->run.run);
    body->run.supersedes = supersedes;
    text_init(&body->text, 1u << 18);
    json_write_init(&json, &body->text);
    record_write_run_request(&json, NULL, &body->run);
    assert_false(body->text.failed);
    snprintf(body->run.site, sizeof body->run.site, "%s", site);
    snprintf(body->run.day, sizeof body->run.day, "%s", day);
    fixture_body_read(body);
}

void fixture_body_release(struct fixture_body *body) {
    text_release(&body->text);
}

static int write_answer(const struct accepted *accepted, struct text *out, struct err *err) {
    (void)err;
    text_format(out, "run %lld of %s: %.17g +- %.17g;", (long long)accepted->run,
                accepted->sent->site, accepted->reduction->noon_angle_deg,
                accepted->reduction->sigma_deg);
    for (size_t i = 0; i < accepted->pairs_count; i++)
        text_format(out, " %s-%s", accepted->pairs[i].site1, accepted->pairs[i].site2);
    return 0;
}

int64_t fixture_send(struct fixture *fixture, const struct caller *caller,
                     const struct fixture_body *body, const char *key,
                     struct fixture_answer *answer) {
    const struct submission submission = {.caller = caller,
                                          .run = &body->run,
                                          .body = body->text.bytes,
                                          .body_length = body->text.length,
                                          .idempotency_key = key,
                                          .now_utc_s = FIXTURE_NOW_UTC_S + 50000.0};
    struct prepared prepared;
    struct text text;
    bool replayed = false;
    long long run = 0;
    err_clear(&fixture->err);
    if (fixture_prepare(fixture, &submission, &prepared, &fixture->err)) {
        assert_int_not_equal(fixture->err.code, ERR_NONE);
        return 0;
    }
    text_init(&text, ACCEPT_ANSWER_MAX);
    struct err *err = fixture_begin_run(fixture);
    int result = fixture_end(fixture, accept_run(fixture->change, &submission, &prepared,
                                                 write_answer, &text, &replayed, err));
    if (result == 0) {
        assert_int_equal(sscanf(text.bytes, "run %lld of", &run), 1);
        if (answer) {
            snprintf(answer->text, sizeof answer->text, "%s", text.bytes);
            answer->replayed = replayed;
        }
    }
    text_release(&text);
    return run;
}

int64_t fixture_run(struct fixture *fixture, const char *site, const char *day, uint64_t seed,
                    int64_t supersedes) {
    struct fixture_body body;
    struct site_record record;
    char key[65];
    assert_int_equal(site_get(fixture->db, site, &record, &fixture->err), 0);
    fixture_body(&body, site, day, &record.place, FIXTURE_DATE, seed, supersedes);
    snprintf(key, sizeof key, "key-%.20s-%.20s-%llu", site, day, (unsigned long long)seed);
    int64_t run = fixture_send(fixture, &fixture->organiser, &body, key, NULL);
    fixture_body_release(&body);
    return run;
}

void fixture_dump(struct fixture *fixture, const char *sql, struct text *out) {
    sqlite3 *handle;
    sqlite3_stmt *statement;
    int code;
    assert_int_equal(sqlite3_open_v2(fixture->path, &handle, SQLITE_OPEN_READWRITE, NULL),
                     SQLITE_OK);
    if (sqlite3_prepare_v2(handle, sql, -1, &statement, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(handle));
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            if (sqlite3_column_type(statement, i) == SQLITE_FLOAT)
                text_format(out, "%a|", sqlite3_column_double(statement, i));
            else if (sqlite3_column_type(statement, i) == SQLITE_NULL)
                text_put(out, "null|");
            else
                text_format(out, "%s|", (const char *)sqlite3_column_text(statement, i));
        }
        text_put(out, "\n");
    }
    assert_int_equal(code, SQLITE_DONE);
    sqlite3_finalize(statement);
    sqlite3_close(handle);
    assert_false(out->failed);
}

void fixture_dump_derived(struct fixture *fixture, struct text *out) {
    fixture_dump(fixture, "SELECT * FROM reduction ORDER BY run", out);
    fixture_dump(fixture, "SELECT * FROM run_flag ORDER BY run, flag", out);
}

int64_t fixture_count(struct fixture *fixture, const char *sql) {
    struct text text;
    text_init(&text, 64);
    fixture_dump(fixture, sql, &text);
    int64_t count = strtoll(text.bytes, NULL, 10);
    text_release(&text);
    return count;
}

int fixture_result(struct fixture *fixture, const char *day, char **json) {
    const struct book_view view = view_of(fixture);
    struct figures *figures;
    if (figures_of_day(&view, day, FIXTURE_NOW_UTC_S, &figures, &fixture->err))
        return -1;
    *json = strdup(figures->result->bytes);
    assert_non_null(*json);
    figures_release(figures);
    return 0;
}

static size_t cut(size_t count, size_t limit) {
    return count < limit ? count : limit;
}

static void *copy(const void *rows, size_t count, size_t size) {
    void *out = calloc(count + 1, size);
    assert_non_null(out);
    if (count > 0)
        memcpy(out, rows, count * size);
    return out;
}

int fixture_board(struct fixture *fixture, const char *day, size_t limit, struct board *out,
                  struct left_out_counts *left_out) {
    const struct book_view view = view_of(fixture);
    struct figures *figures;
    if (figures_of_day(&view, day, FIXTURE_NOW_UTC_S, &figures, &fixture->err))
        return -1;
    struct board board = figures->board;
    board.pairs_count = cut(board.pairs_count, limit);
    board.sites_count = cut(board.sites_count, limit);
    board.honesty_count = cut(board.honesty_count, limit);
    board.pairs = copy(board.pairs, board.pairs_count, sizeof *board.pairs);
    board.sites = copy(board.sites, board.sites_count, sizeof *board.sites);
    board.honesty = copy(board.honesty, board.honesty_count, sizeof *board.honesty);
    *out = board;
    *left_out = figures->left_out;
    figures_release(figures);
    return 0;
}

int fixture_pairs(struct fixture *fixture, const char *day, const char *after, size_t limit,
                  struct pair_page *out) {
    const struct book_view view = view_of(fixture);
    return pair_list(&view, day, after, limit, out, &fixture->err);
}

int fixture_pairs_of_site(struct fixture *fixture, const char *day, const char *site, size_t limit,
                          struct pair_page *out) {
    const struct book_view view = view_of(fixture);
    return pair_list_of_site(&view, day, site, limit, out, &fixture->err);
}
