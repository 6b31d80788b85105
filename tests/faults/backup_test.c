/* SPDX-License-Identifier: MIT */
/* backup: copies made while runs come in are whole and come back; check finds what is
 * damaged or does not follow from the records, rebuild mends the latter; and no
 * command makes or touches a file that is no store of ours. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <dirent.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "server/base/text.h"
#include "tests/support/kill_at.h"
#include "tests/support/load.h"
#include "tests/support/served.h"

#define SEED 20270923u
#define BACKUPS 5
#define COPYING_KILLS 20 /* of a restore while it copies */
#define NAMING 40        /* its last calls, when names change */

static struct served served;
static struct load load;
static char said[4096];

/* Exit status of a shell command; what it printed is in said. */
static int shell(const char *format, ...) __attribute__((format(printf, 1, 2)));
static int shell(const char *format, ...) {
    char command[2048];
    va_list words;
    va_start(words, format);
    vsnprintf(command, sizeof command, format, words);
    va_end(words);
    FILE *pipe_of = popen(command, "r");
    assert_non_null(pipe_of);
    said[fread(said, 1, sizeof said - 1, pipe_of)] = '\0';
    int status = pclose(pipe_of);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

static const char *program(void) {
    static char path[512];
    const char *build = getenv("BUILD");
    snprintf(path, sizeof path, "%s/noonarcd", build == NULL ? "build" : build);
    return path;
}

/* Fails the test unless noonarcd with these words ends so and says that. */
static void assert_says(int wanted, const char *says, const char *store, const char *words) {
    int status = shell("%s --store %s %s 2>&1", program(), store, words);
    if (status != wanted || strstr(said, says) == NULL)
        fail_msg("noonarcd --store %s %s: %d: %s\nnot %d: %s", store, words, status, said, wanted,
                 says);
}

static void sql(const char *store, const char *text) {
    sqlite3 *db;
    assert_int_equal(sqlite3_open(store, &db), SQLITE_OK);
    if (sqlite3_exec(db, text, NULL, NULL, NULL) != SQLITE_OK)
        fail_msg("%s: %s", text, sqlite3_errmsg(db));
    sqlite3_close(db);
}

static long number(const char *store, const char *text) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open(store, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, text, -1, &row, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(row), SQLITE_ROW);
    long found = (long)sqlite3_column_int64(row, 0);
    sqlite3_finalize(row);
    sqlite3_close(db);
    return found;
}

static void write_bytes(const char *path, long at, const char *bytes, const char *mode) {
    FILE *file = fopen(path, mode);
    assert_non_null(file);
    assert_int_equal(fseek(file, at, SEEK_SET), 0);
    assert_int_equal(fwrite(bytes, 1, strlen(bytes), file), strlen(bytes));
    assert_int_equal(fclose(file), 0);
}

/* A path in the folder of the store. */
static const char *beside(const char *name) {
    static char path[8][400];
    static int next;
    char *out = path[next++ % 8];
    snprintf(out, sizeof path[0], "%s/%s", served.folder, name);
    return out;
}

static void copies_made_while_runs_come_in(void **state) {
    long restored = 0;
    (void)state;
    load_start(&load, &served);
    for (int i = 0; i < BACKUPS; i++) {
        char name[32], words[600];
        snprintf(name, sizeof name, "copy-%d", i);
        usleep(50000);
        size_t before = __atomic_load_n(&load.class[0].count, __ATOMIC_RELAXED);
        snprintf(words, sizeof words, "backup %s", beside(name));
        assert_says(0, name, served.store, words);
        /* The sum is what everybody's tool says. */
        char ours[80];
        snprintf(ours, sizeof ours, "%.64s", said);
        assert_int_equal(shell("b2sum -l 256 %s", beside(name)), 0);
        assert_memory_equal(said, ours, 64);
        assert_true(before > 0);
        assert_says(1, "overwrites nothing", served.store, words);
    }
    /* A check beside the server looks at a copy, and leaves none. */
    assert_says(0, ": 0 differences", served.store, "check");
    size_t answered_most = load_answered(&load);
    load_end(&load, true);
    answered_most = load_answered(&load) > answered_most ? load_answered(&load) : answered_most;
    long last = 0;
    for (int i = 0; i < BACKUPS; i++) {
        char name[32], words[600], fresh[400];
        snprintf(name, sizeof name, "copy-%d", i);
        snprintf(fresh, sizeof fresh, "%s.restored", beside(name));
        snprintf(words, sizeof words, "restore %s", beside(name));
        assert_says(0, name, fresh, words);
        assert_says(0, ": 0 differences", fresh, "check");
        long runs = number(fresh, "SELECT COUNT(*) FROM run");
        assert_true(runs >= last && (size_t)runs <= answered_most);
        last = runs;
        restored += runs;
        assert_says(1, "--replace", fresh, words);
        snprintf(words, sizeof words, "--replace restore %s", beside(name));
        assert_says(0, name, fresh, words);
        assert_int_equal(number(fresh, "SELECT COUNT(*) FROM run"), runs);
        strcat(fresh, ".old");
        assert_int_equal(number(fresh, "SELECT COUNT(*) FROM run"), runs);
    }
    /* The last copy, served: every answer given before is given again. */
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    char words[600];
    snprintf(words, sizeof words, "backup %s", beside("whole"));
    assert_says(0, "whole", served.store, words);
    snprintf(words, sizeof words, "--replace restore %s", beside("whole"));
    assert_says(0, "whole", served.store, words);
    served_start(&served);
    load_replay(&load, &served, NULL);
    print_message("survived %d backups under load, %ld runs restored from them\n", BACKUPS,
                  restored);
}

static void a_bad_copy_does_not_come_back(void **state) {
    char words[600];
    (void)state;
    assert_int_equal(shell("cp %s %s", beside("whole"), beside("bent")), 0);
    struct stat status;
    assert_int_equal(stat(beside("bent"), &status), 0);
    for (long at = 3 * 4096 + 8; at < status.st_size; at += 4096)
        write_bytes(beside("bent"), at, "shadows shadows shadows", "r+");
    snprintf(words, sizeof words, "restore %s", beside("bent"));
    assert_says(1, "damaged", beside("new"), words);
    assert_int_equal(shell("head -c 50000 %s > %s", beside("whole"), beside("short")), 0);
    snprintf(words, sizeof words, "restore %s", beside("short"));
    assert_says(1, "damaged", beside("new"), words);
    snprintf(words, sizeof words, "restore %s", beside("nothing"));
    assert_says(1, "there is no store at", beside("new"), words);
    assert_int_not_equal(access(beside("new"), F_OK), 0);
    snprintf(words, sizeof words, "restore %s", beside("whole"));
    assert_says(1, "another noonarcd", served.store, words); /* while it is served */
}

/* Runs in a store that is whole, -1 where there is none or it is not. */
static long whole_runs(const char *store) {
    if (access(store, F_OK) != 0 || number(store, "SELECT COUNT(*) FROM sqlite_master") == 0)
        return -1;
    return number(store, "SELECT integrity_check = 'ok' FROM pragma_integrity_check") == 1
               ? number(store, "SELECT COUNT(*) FROM run")
               : -1;
}

/* Restores that are killed, and how they left things. */
struct restores {
    char store[400], old[420], copy[400];
    long new_runs, old_runs;
    long calls; /* system calls of the newest that came to its end */
    long kills, old_left, new_there, aside;
};

static void put_old_store(const struct restores *restores) {
    assert_int_equal(
        shell("rm -f %s* && cp %s %s", restores->store, restores->copy, restores->store), 0);
    sql(restores->store, "PRAGMA journal_mode = WAL; PRAGMA foreign_keys = OFF;"
                         "DELETE FROM run WHERE id = (SELECT MAX(id) FROM run)");
}

/* Kills one at a system call, unless it has ended before. */
static void kill_restore(struct restores *restores, long at) {
    char *const arguments[] = {
        (char *)program(), "--store", restores->store, "--replace", "restore",
        restores->copy,    NULL};
    extern char **environ;
    char words[700];
    put_old_store(restores);
    long made = kill_at(program(), arguments, environ, at);
    restores->kills += made == at;
    if (made != at)
        restores->calls = made;
    if (access(restores->store, F_OK) != 0) {
        restores->aside++;
        assert_int_equal(whole_runs(restores->old), restores->old_runs);
        return;
    }
    long runs = whole_runs(restores->store);
    if (runs != restores->old_runs && runs != restores->new_runs)
        fail_msg("killed at call %ld: %ld runs", at, runs);
    restores->old_left += runs == restores->old_runs;
    restores->new_there += runs == restores->new_runs;
    if (runs == restores->new_runs)
        assert_int_equal(whole_runs(restores->old), restores->old_runs);
    /* Nothing is in the way of the next attempt. */
    snprintf(words, sizeof words, "--replace restore %s", restores->copy);
    if (runs == restores->old_runs)
        assert_says(0, "whole", restores->store, words);
}

/* At one system call after the other: the old store or the new one is there whole. How
 * many calls it takes differs from time to time, so the last ones, in which names change,
 * are looked for until each of the three ends was met. */
static void a_restore_is_killed(void **state) {
    struct restores restores = {0};
    (void)state;
    snprintf(restores.store, sizeof restores.store, "%s", beside("killed"));
    snprintf(restores.old, sizeof restores.old, "%s.old", restores.store);
    snprintf(restores.copy, sizeof restores.copy, "%s", beside("whole"));
    restores.new_runs = whole_runs(restores.copy);
    restores.old_runs = restores.new_runs - 1;
    setenv("ASAN_OPTIONS", "detect_leaks=0", 1); /* not while it is watched */
    kill_restore(&restores, 1000000);            /* first to its end */
    assert_int_equal(whole_runs(restores.store), restores.new_runs);
    const long calls = restores.calls;
    for (long i = 0; i < COPYING_KILLS; i++)
        kill_restore(&restores, calls / COPYING_KILLS * i + 1);
    for (int i = 0; i < NAMING || restores.new_there < 2 || restores.aside == 0; i++) {
        assert_true(i < 10 * NAMING);
        kill_restore(&restores, restores.calls - i % NAMING);
    }
    unsetenv("ASAN_OPTIONS");
    print_message(
        "survived %ld kills of a restore in about %ld system calls: %ld times the old "
        "store was there, %ld times the new, %ld times the old one under its other name\n",
        restores.kills, calls, restores.old_left, restores.new_there, restores.aside);
    assert_true(restores.kills > COPYING_KILLS && restores.old_left > 0);
}

static void check_finds_what_is_wrong(void **state) {
    (void)state;
    assert_int_equal(served_stop(&served, SIGTERM), 0);
    sql(served.store, "UPDATE reduction SET noon_angle_deg = noon_angle_deg + 0.001 WHERE run = "
                      "(SELECT MAX(run) FROM reduction)");
    assert_says(1, "differ", served.store, "check");
    sql(served.store, "DELETE FROM reduction WHERE run = 1");
    assert_says(1, "differ", served.store, "check");
    assert_says(0, "reduced anew", served.store, "rebuild");
    assert_says(0, ": 0 differences", served.store, "check");
    /* A run that points to a site that is not there. */
    assert_int_equal(shell("cp %s %s", served.store, beside("loose")), 0);
    sql(beside("loose"), "PRAGMA foreign_keys = OFF; UPDATE run SET site = 4711 WHERE id = 1");
    assert_says(1, "damaged (foreign_key_check)", beside("loose"), "check");
    assert_int_equal(shell("cp %s %s", beside("bent"), beside("wreck")), 0);
    assert_says(1, "noonarcd: ", beside("wreck"), "check");
    served_start(&served);
}

static void two_servers_on_one_store(void **state) {
    (void)state;
    char holder[64];
    snprintf(holder, sizeof holder, "process %d", (int)served.pid);
    assert_says(1, holder, served.store, "--listen 127.0.0.1:0 serve");
    assert_says(1, holder, served.store, "rebuild");
    assert_int_equal(symlink(served.store, beside("other-name")), 0);
    assert_says(1, holder, beside("other-name"), "--listen 127.0.0.1:0 serve");
    /* Once it is gone, even suddenly, the next one may. */
    assert_int_equal(served_stop(&served, SIGKILL), 128 + SIGKILL);
    served_start(&served);
}

static int by_name(const struct dirent **a, const struct dirent **b) {
    return strcmp((*a)->d_name, (*b)->d_name);
}

/* Names in a folder and the bytes of its files. */
static void look_at(const char *folder, struct text *out) {
    struct dirent **entry;
    out->length = 0;
    text_put(out, "");
    int count = scandir(folder, &entry, NULL, by_name);
    assert_true(count >= 0);
    for (int i = 0; i < count; i++) {
        char path[700], bytes[512];
        snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        FILE *file = entry[i]->d_name[0] == '.' ? NULL : fopen(path, "r");
        text_format(out, "%s:", entry[i]->d_name);
        for (size_t got; file != NULL && (got = fread(bytes, 1, sizeof bytes, file)) > 0;)
            text_add(out, bytes, got);
        if (file != NULL)
            fclose(file);
        free(entry[i]);
    }
    free(entry);
}

static void what_is_not_ours_stays_as_it_is(void **state) {
    static const char *const all[] = {"check",     "rebuild",      "backup away", "migrate",
                                      "organiser", "restore away", "serve"};
    char folder[300], store[4][400];
    struct text before, after;
    (void)state;
    text_init(&before, 1u << 22);
    text_init(&after, 1u << 22);
    snprintf(folder, sizeof folder, "%s/strange", served.folder);
    assert_int_equal(mkdir(folder, 0700), 0);
    for (int i = 0; i < 4; i++)
        snprintf(
            store[i], sizeof store[i], "%s/%s", folder,
            (const char *[]){"mistyped", "letter.txt", "music.sqlite", "marked#%20?.sqlite"}[i]);
    write_bytes(store[1], 0, "Dear all, the gnomon stands in the yard behind the school.\n", "w");
    sql(store[2], "PRAGMA journal_mode = WAL; CREATE TABLE song (name TEXT);"
                  "INSERT INTO song VALUES ('noon')");
    sql(store[3], "PRAGMA application_id = 77");
    look_at(folder, &before);
    for (size_t s = 0; s < 4; s++)
        for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
            char words[700], quoted[1700];
            bool makes = i >= 3; /* these may make a store, where there is nothing */
            if (s == 0 && makes)
                continue;
            snprintf(words, sizeof words, "%s%s%s", all[i],
                     strcmp(all[i], "organiser") == 0 ? " Office" : "",
                     strcmp(all[i], "serve") == 0 ? " --listen 127.0.0.1:0" : "");
            snprintf(quoted, sizeof quoted, "'%s'", store[s]);
            assert_says(1,
                        strcmp(all[i], "restore away") == 0 || s == 0 ? "there is no store"
                                                                      : "not a noonarc store",
                        quoted, words);
            look_at(folder, &after);
            if (before.length != after.length ||
                memcmp(before.bytes, after.bytes, before.length) != 0)
                fail_msg("%s changed something beside %s", all[i], store[s]);
        }
    text_release(&before);
    text_release(&after);
}

/* A store from before there was a mark is known by its table, and marked. */
static void a_store_without_the_mark(void **state) {
    char words[600];
    (void)state;
    snprintf(words, sizeof words, "restore %s", beside("whole"));
    assert_says(0, "whole", beside("old-form"), words);
    assert_int_equal(number(beside("old-form"), "PRAGMA application_id"), 0x6e6f6f6e);
    sql(beside("old-form"), "PRAGMA application_id = 0; PRAGMA wal_checkpoint(TRUNCATE)");
    snprintf(words, sizeof words, "backup %s", beside("old-copy"));
    assert_says(0, "old-copy", beside("old-form"), words);
    assert_says(0, ": 0 differences", beside("old-form"), "check");
    assert_int_equal(number(beside("old-form"), "PRAGMA application_id"), 0x6e6f6f6e);
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    load_init(&load, &served, SEED);
    return 0;
}

static int stop(void **state) {
    (void)state;
    load_release(&load);
    served_release(&served);
    return 0;
}

int main(void) {
    /* What is tested here is not the limits of one address. */
    setenv("NOONARC_ADDRESS_WRITES", "0", 1);
    setenv("NOONARC_KEY_WRITES", "0", 1);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(copies_made_while_runs_come_in),
        cmocka_unit_test(a_bad_copy_does_not_come_back),
        cmocka_unit_test(a_restore_is_killed),
        cmocka_unit_test(check_finds_what_is_wrong),
        cmocka_unit_test(two_servers_on_one_store),
        cmocka_unit_test(what_is_not_ours_stays_as_it_is),
        cmocka_unit_test(a_store_without_the_mark),
    };
    return cmocka_run_group_tests_name("faults: backup", tests, start, stop);
}
