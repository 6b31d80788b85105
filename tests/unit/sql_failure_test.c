/* SPDX-License-Identifier: MIT */
/* sql failure: while something is written, the database fails at the first, the
 * second, ... step of a statement, or at its first, second, ... dealing with its
 * file, once or from then on, until the whole of it goes through. Every time the
 * caller is told, every table is as it was, and the connection is good for the
 * next try. The steps are caught by standing before the library's own function,
 * the file by standing before its file system. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <dlfcn.h>
#include <sqlite3.h>
#include <unistd.h>

#include "server/base/instant.h"
#include "server/rules/days.h"
#include "server/rules/rebuild.h"
#include "server/store/migrate.h"
#include "tests/support/store_fixture.h"

/* -1 holds; n: the (n+1)-th strikes, once or for good. */
struct fuse {
    long left;
    bool for_good;
    int code; /* what it strikes with */
    long struck;
};
static struct fuse steps = {.left = -1}, files = {.left = -1};

static bool strikes(struct fuse *fuse) {
    if (fuse->left < 0)
        return false;
    if (fuse->left > 0) {
        fuse->left--;
        return false;
    }
    if (!fuse->for_good)
        fuse->left = -1;
    fuse->struck++;
    return true;
}

static void arm(struct fuse *fuse, long n, bool for_good, int code) {
    *fuse = (struct fuse){.left = n, .for_good = for_good, .code = code};
}

/* Whether it struck since it was armed. */
static bool disarm(struct fuse *fuse) {
    fuse->left = -1;
    return fuse->struck > 0;
}

/* The library calls itself too, and then takes a failure that cannot be. */
static bool is_library(void *caller) {
    Dl_info info;
    return dladdr(caller, &info) != 0 && strstr(info.dli_fname, "libsqlite3") != NULL;
}

/* A ROLLBACK is always carried out, whatever fails beneath it. */
int sqlite3_step(sqlite3_stmt *statement) {
    static int (*real)(sqlite3_stmt *);
    if (real == NULL)
        *(void **)&real = dlsym(RTLD_NEXT, "sqlite3_step");
    const char *sql = sqlite3_sql(statement);
    bool always = is_library(__builtin_return_address(0)) ||
                  (sql != NULL && strncmp(sql, "ROLLBACK", 8) == 0);
    return !always && strikes(&steps) ? steps.code : real(statement);
}

int sqlite3_exec(sqlite3 *db, const char *sql, sqlite3_callback row, void *context, char **said) {
    static int (*real)(sqlite3 *, const char *, sqlite3_callback, void *, char **);
    if (real == NULL)
        *(void **)&real = dlsym(RTLD_NEXT, "sqlite3_exec");
    bool always = is_library(__builtin_return_address(0));
    return !always && strikes(&steps) ? steps.code : real(db, sql, row, context, said);
}

/* A file of ours is the library's own file and, before it, where to find it. */
struct faulty_file {
    sqlite3_file base;
    sqlite3_file *real; /* behind this struct, in the same memory */
};
static sqlite3_vfs *real_vfs;
static sqlite3_io_methods faulty_methods;

static sqlite3_file *real_of(sqlite3_file *file) {
    return ((struct faulty_file *)file)->real;
}
#define FORWARD(file, call, ...) real_of(file)->pMethods->call(real_of(file), ##__VA_ARGS__)
#define FAIL_OR(file, call, ...)                                                                   \
    return strikes(&files) ? files.code : FORWARD(file, call, ##__VA_ARGS__)

static int faulty_close(sqlite3_file *file) {
    return FORWARD(file, xClose);
}
static int faulty_read(sqlite3_file *file, void *out, int count, sqlite3_int64 at) {
    if (strikes(&files))
        return files.code == SQLITE_FULL ? SQLITE_IOERR_READ : files.code;
    return FORWARD(file, xRead, out, count, at);
}
static int faulty_write(sqlite3_file *file, const void *bytes, int count, sqlite3_int64 at) {
    FAIL_OR(file, xWrite, bytes, count, at);
}
static int faulty_truncate(sqlite3_file *file, sqlite3_int64 size) {
    FAIL_OR(file, xTruncate, size);
}
static int faulty_sync(sqlite3_file *file, int flags) {
    FAIL_OR(file, xSync, flags);
}
static int faulty_size(sqlite3_file *file, sqlite3_int64 *size) {
    FAIL_OR(file, xFileSize, size);
}
static int faulty_lock(sqlite3_file *file, int level) {
    return FORWARD(file, xLock, level);
}
static int faulty_unlock(sqlite3_file *file, int level) {
    return FORWARD(file, xUnlock, level);
}
static int faulty_reserved(sqlite3_file *file, int *reserved) {
    return FORWARD(file, xCheckReservedLock, reserved);
}
static int faulty_control(sqlite3_file *file, int what, void *argument) {
    return FORWARD(file, xFileControl, what, argument);
}
static int faulty_sector(sqlite3_file *file) {
    return FORWARD(file, xSectorSize);
}
static int faulty_characteristics(sqlite3_file *file) {
    return FORWARD(file, xDeviceCharacteristics);
}
static int faulty_map(sqlite3_file *file, int page, int size, int extend, void volatile **out) {
    FAIL_OR(file, xShmMap, page, size, extend, out);
}
static int faulty_shm_lock(sqlite3_file *file, int offset, int n, int flags) {
    return FORWARD(file, xShmLock, offset, n, flags);
}
static void faulty_barrier(sqlite3_file *file) {
    FORWARD(file, xShmBarrier);
}
static int faulty_unmap(sqlite3_file *file, int remove) {
    return FORWARD(file, xShmUnmap, remove);
}

static sqlite3_io_methods faulty_methods = {
    .iVersion = 2,
    .xClose = faulty_close,
    .xRead = faulty_read,
    .xWrite = faulty_write,
    .xTruncate = faulty_truncate,
    .xSync = faulty_sync,
    .xFileSize = faulty_size,
    .xLock = faulty_lock,
    .xUnlock = faulty_unlock,
    .xCheckReservedLock = faulty_reserved,
    .xFileControl = faulty_control,
    .xSectorSize = faulty_sector,
    .xDeviceCharacteristics = faulty_characteristics,
    .xShmMap = faulty_map,
    .xShmLock = faulty_shm_lock,
    .xShmBarrier = faulty_barrier,
    .xShmUnmap = faulty_unmap,
};

static int faulty_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags,
                       int *out) {
    struct faulty_file *faulty = (struct faulty_file *)file;
    (void)vfs;
    faulty->base.pMethods = NULL;
    faulty->real = (sqlite3_file *)(faulty + 1);
    if (strikes(&files))
        return SQLITE_CANTOPEN;
    int code = real_vfs->xOpen(real_vfs, name, faulty->real, flags, out);
    if (faulty->real->pMethods != NULL)
        faulty->base.pMethods = &faulty_methods;
    return code;
}

static int faulty_delete(sqlite3_vfs *vfs, const char *name, int sync_folder) {
    (void)vfs;
    return strikes(&files) ? SQLITE_IOERR_DELETE : real_vfs->xDelete(real_vfs, name, sync_folder);
}

static int stand_before_files(void **state) {
    static sqlite3_vfs faulty;
    (void)state;
    if (sqlite3_initialize() != SQLITE_OK)
        return -1;
    real_vfs = sqlite3_vfs_find(NULL);
    faulty = *real_vfs;
    faulty.zName = "faulty";
    faulty.szOsFile = (int)sizeof(struct faulty_file) + real_vfs->szOsFile;
    faulty.xOpen = faulty_open;
    faulty.xDelete = faulty_delete;
    return sqlite3_vfs_register(&faulty, 1) == SQLITE_OK ? 0 : -1;
}

/* Every row of every table, as another connection sees it. */
static void dump_store(const char *path, struct text *out) {
    sqlite3 *db;
    sqlite3_stmt *tables, *rows;
    out->length = 0;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db,
                                        "SELECT name FROM sqlite_master WHERE type = 'table' "
                                        "ORDER BY name",
                                        -1, &tables, NULL),
                     SQLITE_OK);
    while (sqlite3_step(tables) == SQLITE_ROW) {
        char sql[200];
        snprintf(sql, sizeof sql, "SELECT * FROM \"%s\" ORDER BY 1, 2, 3",
                 (const char *)sqlite3_column_text(tables, 0));
        if (sqlite3_prepare_v2(db, sql, -1, &rows, NULL) != SQLITE_OK) {
            *strstr(sql, " ORDER") = '\0';
            assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &rows, NULL), SQLITE_OK);
        }
        text_format(out, "%s\n", sql);
        while (sqlite3_step(rows) == SQLITE_ROW) {
            for (int i = 0; i < sqlite3_column_count(rows); i++) {
                const unsigned char *text = sqlite3_column_text(rows, i);
                text_format(out, "%s|", text == NULL ? (const unsigned char *)"-" : text);
            }
            text_put(out, "\n");
        }
        sqlite3_finalize(rows);
    }
    sqlite3_finalize(tables);
    sqlite3_close(db);
    assert_false(out->failed);
}

static const struct place dale = {.lat_deg = 44.0, .lon_deg = 3.0, .elevation_m = 200.0};

static void set_scene(struct fixture *f) {
    fixture_open(f);
    fixture_site(f, "hill", 40.0, 3.0);
    fixture_site(f, "dale", dale.lat_deg, dale.lon_deg);
    fixture_day(f, "spring", FIXTURE_DATE);
    fixture_join(f, "spring", "hill");
    fixture_join(f, "spring", "dale");
    fixture_run(f, "hill", "spring", 1, 0);
}

/* A deed writes in a transaction; variant tells it from the ones done before. */
typedef int deed(struct fixture *f, int variant, struct err *err);

static int write_answer(const struct accepted *accepted, struct text *out, struct err *err) {
    (void)err;
    text_format(out, "run %lld", (long long)accepted->run);
    return 0;
}

static int64_t newest;

static int hand_in(struct fixture *f, int variant, struct err *err) {
    static struct prepared prepared;
    struct fixture_body body;
    struct text answer;
    char key[32];
    bool replayed;
    text_init(&answer, ACCEPT_ANSWER_MAX);
    fixture_body(&body, "dale", "spring", &dale, FIXTURE_DATE, (uint64_t)variant, newest);
    snprintf(key, sizeof key, "run-%d-of-dale", variant);
    const struct submission submission = {.caller = &f->organiser,
                                          .run = &body.run,
                                          .body = body.text.bytes,
                                          .body_length = body.text.length,
                                          .idempotency_key = key,
                                          .now_utc_s = FIXTURE_NOW_UTC_S};
    int result =
        fixture_prepare(f, &submission, &prepared, err) ||
                accept_run(f->change, &submission, &prepared, write_answer, &answer, &replayed, err)
            ? -1
            : 0;
    fixture_body_release(&body);
    text_release(&answer);
    return result;
}

static int register_site(struct fixture *f, int variant, struct err *err) {
    char name[32];
    struct site_secrets secrets;
    snprintf(name, sizeof name, "site-%d", variant);
    struct site_record site = fixture_site_record(name, 30.0, 3.0), kept;
    return site_register(f->change, &site, FIXTURE_NOW_UTC_S, &kept, &secrets, err);
}

static int import_sites(struct fixture *f, int variant, struct err *err) {
    char name[2][32];
    struct site_record site[2];
    struct site_import import = {0};
    for (int i = 0; i < 2; i++) {
        snprintf(name[i], sizeof name[i], "import-%d-%d", variant, i);
        site[i] = fixture_site_record(name[i], 20.0 + i, 3.0);
    }
    int result = site_import(f->change, &f->organiser, site, 2, FIXTURE_NOW_UTC_S, &import, err);
    if (result == 0)
        site_import_release(&import);
    return result;
}

static int open_day(struct fixture *f, int variant, struct err *err) {
    struct day_record day, kept;
    day_record_init(&day);
    snprintf(day.day, sizeof day.day, "day-%d", variant);
    assert_true(date_parse(FIXTURE_DATE, &day.date));
    return day_open(f->change, &f->organiser, &day, FIXTURE_NOW_UTC_S, &kept, err);
}

static int appoint(struct fixture *f, int variant, struct err *err) {
    char name[32], secret[SECRET_MAX];
    snprintf(name, sizeof name, "Office %d", variant);
    return caller_add_organiser(f->change, name, FIXTURE_NOW_UTC_S, secret, err);
}

static int make_anew(struct fixture *f, int variant, struct err *err) {
    struct rebuild_counts counts;
    (void)variant;
    return rebuild_all(f->change, &counts, err);
}

static int carry_out(struct fixture *f, deed *does, int variant, struct err *err) {
    if (db_begin(f->db, err))
        return -1;
    int result = does(f, variant, err) || change_commit(f->change, err);
    if (result)
        db_rollback(f->db);
    change_forget(f->change);
    return result ? -1 : 0;
}

static const struct {
    const char *name;
    deed *does;
} deeds[] = {{"hand in a run", hand_in},        {"register a site", register_site},
             {"import sites", import_sites},    {"open a day", open_day},
             {"appoint an organiser", appoint}, {"make everything anew", make_anew}};

static long failures, harmless;

static void fail_in_turn(struct fuse *fuse, bool for_good, int code, bool anew) {
    static struct fixture fixture;
    struct fixture *f = &fixture;
    struct text before, after;
    text_init(&before, 1u << 22);
    text_init(&after, 1u << 22);
    newest = 0;
    set_scene(f);
    for (size_t i = 0; i < sizeof deeds / sizeof deeds[0]; i++) {
        int variant = 0;
        bool struck = true;
        for (long n = 0; struck; n++) {
            struct err err = {0};
            dump_store(f->path, &before);
            if (anew)
                fixture_reopen(f); /* nothing of the file is in memory */
            arm(fuse, n, for_good, code);
            int result = carry_out(f, deeds[i].does, variant, &err);
            struck = disarm(fuse);
            assert_false(db_in_transaction(f->db));
            dump_store(f->path, &after);
            if (result != 0) {
                failures++;
                if (err.code != ERR_STORAGE && err.code != ERR_INTERNAL)
                    fail_msg("%s, %ld: %s %s", deeds[i].name, n, err_name(err.code), err.text);
                if (strcmp(before.bytes, after.bytes) != 0)
                    fail_msg("%s, %ld: told that it failed, but something was done", deeds[i].name,
                             n);
                continue;
            }
            harmless += struck;
            if (deeds[i].does != make_anew && strcmp(before.bytes, after.bytes) == 0)
                fail_msg("%s, %ld: told that it was done, but it was not", deeds[i].name, n);
            if (deeds[i].does == hand_in)
                newest = fixture_count(f, "SELECT MAX(id) FROM run");
            variant++;
        }
    }
    struct rebuild_counts counts;
    size_t differences = 1;
    struct err err = {0};
    assert_int_equal(rebuild_check(f->change, &counts, &differences, &err), 0);
    assert_int_equal(differences, 0);
    fixture_close(f);
    text_release(&before);
    text_release(&after);
}

static void a_step_fails(void **state) {
    (void)state;
    failures = harmless = 0;
    fail_in_turn(&steps, false, SQLITE_IOERR, false);
    fail_in_turn(&steps, true, SQLITE_FULL, false);
    print_message("survived %ld statements that failed\n", failures);
    assert_true(failures > 140);
    assert_int_equal(harmless, 0);
}

static void the_file_fails(void **state) {
    (void)state;
    failures = harmless = 0;
    fail_in_turn(&files, false, SQLITE_IOERR, true);
    fail_in_turn(&files, true, SQLITE_FULL, true);
    print_message("survived %ld dealings with the file that failed, and %ld that did no harm\n",
                  failures, harmless);
    assert_true(failures > 100);
}

/* What was committed stays, is seen, and goes into the file the next time. */
static void the_log_is_settled_at_last(void **state) {
    static struct fixture fixture;
    long struck = 0;
    (void)state;
    fixture_open(&fixture);
    db_mind_log(fixture.db);
    assert_int_equal(db_script(fixture.db, "CREATE TABLE heap (bytes TEXT)", &fixture.err), 0);
    for (int for_good = 0; for_good < 2; for_good++) {
        long pieces = fixture_count(&fixture, "SELECT COUNT(*) FROM heap");
        /* Every page is two dealings: not each gets its turn. */
        for (long n = 0, before = -1; struck > before; n += n < 6 ? 1 : n) {
            before = struck;
            for (int i = 0; i < 3; i++, pieces++)
                assert_int_equal(db_script(fixture.db,
                                           "INSERT INTO heap VALUES (hex(randomblob(1000000)))",
                                           &fixture.err),
                                 0);
            assert_true(db_log_is_long(fixture.db));
            arm(&files, n, for_good == 1, SQLITE_IOERR);
            db_settle_log(fixture.db);
            struck += disarm(&files);
            assert_true(fixture_count(&fixture, "SELECT COUNT(*) FROM heap") == pieces);
        }
        assert_int_equal(db_sound(fixture.db, &fixture.err), 0);
    }
    print_message("survived %ld failures to settle the log\n", struck);
    assert_true(struck > 20);
    fixture_close(&fixture);
}

static void remove_store(const char *path) {
    static const char *const endings[] = {"", "-wal", "-shm", "-journal"};
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
        char name[160];
        snprintf(name, sizeof name, "%s%s", path, endings[i]);
        unlink(name);
    }
}

/* From no file to a whole store, going on with whatever the failure left. */
static void a_store_is_made_at_last(void **state) {
    struct fuse *const fuse[] = {&steps, &files};
    (void)state;
    failures = 0;
    for (int i = 0; i < 4; i++) {
        static struct fixture fixture;
        char path[128];
        bool struck = true;
        fixture_open(&fixture);
        snprintf(path, sizeof path, "%s/new", fixture.folder);
        for (long n = 0; struck; n++) {
            struct db *db = NULL;
            struct err err = {0};
            int applied = 0;
            arm(fuse[i % 2], n, i >= 2, SQLITE_IOERR);
            int result =
                db_open(path, DB_WRITE, &db, &err) ||
                migrate_apply(db, migrations, migrations_count, FIXTURE_NOW_UTC_S, &applied, &err);
            struck = disarm(fuse[i % 2]);
            failures += result != 0;
            if (result == 0)
                assert_int_equal(migrate_verify(db, migrations, migrations_count, &err), 0);
            db_close(db);
            /* Every other time from the beginning, so that each step gets its turn. */
            if (n % 2 == 0 && struck)
                remove_store(path);
        }
        remove_store(path);
        fixture_close(&fixture);
    }
    print_message("survived %ld failures amid the making of a store\n", failures);
    assert_true(failures > 50);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_step_fails),
        cmocka_unit_test(the_file_fails),
        cmocka_unit_test(the_log_is_settled_at_last),
        cmocka_unit_test(a_store_is_made_at_last),
    };
    return cmocka_run_group_tests_name("sql_failure", tests, stand_before_files, NULL);
}
