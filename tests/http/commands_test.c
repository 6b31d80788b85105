/* SPDX-License-Identifier: MIT */
/* noonarcd from the command line: its settings, and its store looked after. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <signal.h>
#include <sys/wait.h>

#include "server/base/version.h"
#include "tests/support/http.h"
#include "tests/support/served.h"

static struct served served;

/* Exit status of noonarcd with these words; what it printed goes to out. */
static int run(const char *words, char *out, size_t size) {
    char command[1024];
    const char *build = getenv("BUILD");
    snprintf(command, sizeof command, "%s/noonarcd %s 2>&1", build == NULL ? "build" : build,
             words);
    FILE *pipe_of = popen(command, "r");
    assert_non_null(pipe_of);
    size_t length = fread(out, 1, size - 1, pipe_of);
    out[length] = '\0';
    return WEXITSTATUS(pclose(pipe_of));
}

static void wrong_words(void **state) {
    static const struct {
        const char *words, *says;
    } rows[] = {
        {"", "no command was given"},
        {"dance", "there is no command \"dance\""},
        {"serve twice", "serve takes no word after it, not \"twice\""},
        {"organiser", "organiser takes a word after it: organiser NAME"},
        {"organiser A B", "one word too many"},
        {"--colour red serve", "no option --colour"},
        {"--store", "--store takes a value"},
        {"--listen 127.0.0.1 serve", "--listen takes an address and a port"},
        {"--listen 127.0.0.1:70000 serve", "--listen takes an address and a port"},
        {"--connections 1e3 serve", "whole number from 16 to 20000"},
        {"--timeout=0 serve", "whole number from 1 to 600 s"},
        {"--address-writes=-1 serve", "whole number from 0 to 1000000 a second"},
        {"--queue 4097 serve", "whole number from 1 to 4096"},
    };
    static char out[8192];
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int status = run(rows[i].words, out, sizeof out);
        if (status != 2 || strstr(out, rows[i].says) == NULL || strstr(out, "usage:") == NULL)
            fail_msg("noonarcd %s: %d: %s", rows[i].words, status, out);
    }
}

static void help_names_every_setting(void **state) {
    static const char *const words[] = {"serve",         "migrate",        "rebuild",      "check",
                                        "organiser",     "--listen",       "--store",      "--web",
                                        "--connections", "NOONARC_LISTEN", "NOONARC_STORE"};
    static char out[8192];
    (void)state;
    assert_int_equal(run("--help", out, sizeof out), 0);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        assert_non_null(strstr(out, words[i]));
}

static void says_its_version(void **state) {
    char out[4096];
    (void)state;
    assert_int_equal(run("--version", out, sizeof out), 0);
    assert_string_equal(out, "noonarcd " NOONARC_VERSION "\n");
}

static void what_cannot_be_served(void **state) {
    char out[4096], words[1024];
    (void)state;
    snprintf(words, sizeof words,
             "--store %s/other.sqlite --web /nowhere --listen 127.0.0.1:0 serve", served.folder);
    assert_int_equal(run(words, out, sizeof out), 1);
    assert_non_null(strstr(out, "there is no index.html in /nowhere"));
    assert_int_equal(run("--store /nowhere/at/all.sqlite migrate", out, sizeof out), 1);
    snprintf(words, sizeof words, "--store %s/other.sqlite --listen nowhere:1 serve",
             served.folder);
    assert_int_equal(run(words, out, sizeof out), 1);
    assert_non_null(strstr(out, "not a numeric address"));
    snprintf(words, sizeof words, "--store %s/other.sqlite --proxy nowhere serve", served.folder);
    assert_int_equal(run(words, out, sizeof out), 1);
    assert_non_null(strstr(out, "not a numeric address"));
    /* An address that is taken already. */
    snprintf(words, sizeof words, "--store %s/other.sqlite --listen %s serve", served.folder,
             served.base + strlen("http://"));
    assert_int_equal(run(words, out, sizeof out), 1);
    assert_non_null(strstr(out, "cannot listen"));
    snprintf(words, sizeof words, "%s/other.sqlite", served.folder);
    remove(words);
}

static void a_store_is_migrated_once(void **state) {
    char line[400], words[600], out[4096];
    (void)state;
    assert_int_equal(served_command(&served, "migrate", NULL, line, sizeof line), 0);
    assert_non_null(strstr(line, ": 0 of "));
    snprintf(words, sizeof words, "--store %s/fresh.sqlite migrate", served.folder);
    assert_int_equal(run(words, out, sizeof out), 0);
    assert_null(strstr(out, ": 0 of "));
    snprintf(words, sizeof words, "%s/fresh.sqlite", served.folder);
    remove(words);
}

/* The key of an organiser made while the service runs opens a day at once. */
static void an_organiser_more(void **state) {
    char key[200];
    (void)state;
    assert_int_equal(served_command(&served, "organiser", "Second Office", key, sizeof key), 0);
    json_decref(
        http_send(served.base, "POST", "/api/v1/days", key, "{\"date\":\"2027-06-21\"}", 201));
    assert_int_not_equal(served_command(&served, "organiser", "=Office", key, sizeof key), 0);
}

static int give_password(const char *name, const char *password, char *out, size_t size) {
    char path[400], words[1200];
    snprintf(path, sizeof path, "%s/password", served.folder);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fprintf(file, "%s\n", password);
    fclose(file);
    snprintf(words, sizeof words, "--store %s --password organiser \"%s\" < %s", served.store, name,
             path);
    int status = run(words, out, size);
    remove(path);
    assert_true(strcmp(name, password) == 0 || strstr(out, password) == NULL);
    return status;
}

/* A password set at the machine, and set anew where it was forgotten. */
static void an_organiser_with_a_password(void **state) {
    static const char path[] = "/api/v1/session";
    static const char first[] = "{\"name\":\"maro\",\"password\":\"long shadows at noon\"}";
    static const char second[] = "{\"name\":\"maro\",\"password\":\"longer yet at dusk\"}";
    char out[4096];
    (void)state;
    assert_int_equal(give_password("maro", "long shadows at noon", out, sizeof out), 0);
    json_decref(http_send(served.base, "POST", path, NULL, first, 201));
    assert_int_equal(give_password("maro", "longer yet at dusk", out, sizeof out), 0);
    json_decref(http_send(served.base, "POST", path, NULL, first, 401));
    json_decref(http_send(served.base, "POST", path, NULL, second, 201));
    assert_int_equal(give_password("maro", "tooshort", out, sizeof out), 1);
    assert_non_null(strstr(out, "12 characters at least"));
    assert_int_equal(give_password("Maro of Salta", "long shadows at noon", out, sizeof out), 1);
    assert_int_equal(give_password("maro-of-the-puna", "maro-of-the-puna", out, sizeof out), 1);
    json_decref(http_send(served.base, "POST", path, NULL, second, 201));
}

/* It says what it would do before it does it, beside a server at work. */
static void a_purge_is_looked_at_first(void **state) {
    char words[600], out[4096];
    (void)state;
    snprintf(words, sizeof words, "--store %s purge", served.store);
    assert_int_equal(run(words, out, sizeof out), 0);
    assert_non_null(strstr(out, "kept for 1095 days; with --apply this would be done:"));
    assert_non_null(strstr(out, "0 schools not heard of"));
    snprintf(words, sizeof words, "--store %s --keep-days 365 --apply purge", served.store);
    assert_int_equal(run(words, out, sizeof out), 0);
    assert_non_null(strstr(out, "kept for 365 days; this was done:"));
    snprintf(words, sizeof words, "--store %s --keep-days 7 purge", served.store);
    assert_int_equal(run(words, out, sizeof out), 2);
}

static void an_interrupt_ends_it_well(void **state) {
    (void)state;
    assert_int_equal(served_stop(&served, SIGINT), 0);
    served_start(&served);
    json_decref(http_get(served.base, "/api/v1/days/2027-06-21", 200));
}

static int start(void **state) {
    (void)state;
    served_init(&served);
    return 0;
}

static int stop(void **state) {
    (void)state;
    served_release(&served);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wrong_words),
        cmocka_unit_test(help_names_every_setting),
        cmocka_unit_test(says_its_version),
        cmocka_unit_test(what_cannot_be_served),
        cmocka_unit_test(a_store_is_migrated_once),
        cmocka_unit_test(an_organiser_with_a_password),
        cmocka_unit_test(a_purge_is_looked_at_first),
        cmocka_unit_test(an_organiser_more),
        cmocka_unit_test(an_interrupt_ends_it_well),
    };
    return cmocka_run_group_tests_name("noonarcd commands", tests, start, stop);
}
