/* SPDX-License-Identifier: MIT */
#include "tests/support/desk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <fcntl.h>
#include <ftw.h>
#include <math.h>
#include <spawn.h>
#include <stdbool.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/kill_at.h"
#include "tests/support/misfortune.h"

#define WORDS_MAX 96
#define PATHS 64

void desk_init(struct desk *desk) {
    *desk = (struct desk){.zone = "UTC"};
    const char *scratch = getenv("TMPDIR");
    snprintf(desk->home, sizeof desk->home, "%s/desk-XXXXXX", scratch == NULL ? "/tmp" : scratch);
    assert_non_null(mkdtemp(desk->home));
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *walk) {
    (void)status;
    (void)kind;
    (void)walk;
    return remove(path);
}

void desk_release(struct desk *desk) {
    assert_int_equal(nftw(desk->home, remove_one, 16, FTW_DEPTH | FTW_PHYS), 0);
}

const char *desk_path(struct desk *desk, const char *name) {
    static char paths[PATHS][512];
    static int next;
    char *path = paths[next++ % PATHS];
    snprintf(path, sizeof paths[0], "%s/%s", desk->home, name);
    return path;
}

const char *desk_file(struct desk *desk, const char *content) {
    char name[32];
    snprintf(name, sizeof name, "file-%d", desk->files++);
    const char *path = desk_path(desk, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_int_equal(fwrite(content, 1, strlen(content), file), strlen(content));
    assert_int_equal(fclose(file), 0);
    return path;
}

static void program_of(char *out, size_t size) {
    const char *build = getenv("BUILD");
    int length = snprintf(out, size, "%s/noonarc", build == NULL ? "build" : build);
    assert_true(length > 0 && (size_t)length < size);
}

#define VARIABLES 11
struct environment {
    char text[VARIABLES][512];
    char *all[VARIABLES + 1];
};

/* Nothing of the tester's own environment but what sanitizers are told. */
static void fill_environment(const struct desk *desk, struct environment *environment) {
    static const char *const handed_on[] = {"LD_PRELOAD", MISFORTUNE_VARIABLE};
    const char *asan = getenv("ASAN_OPTIONS");
    char(*text)[512] = environment->text;
    int count = 0;
    snprintf(text[count++], 512, "PATH=/usr/bin:/bin");
    snprintf(text[count++], 512, "LC_ALL=C.UTF-8");
    snprintf(text[count++], 512, "HOME=%s", desk->home);
    snprintf(text[count++], 512, "XDG_CONFIG_HOME=%s/config", desk->home);
    snprintf(text[count++], 512, "XDG_STATE_HOME=%s/state", desk->home);
    snprintf(text[count++], 512, "TZ=%s", desk->zone);
    if (desk->server[0] != '\0')
        snprintf(text[count++], 512, "NOONARC_SERVER=%s", desk->server);
    if (desk->key[0] != '\0')
        snprintf(text[count++], 512, "NOONARC_KEY=%s", desk->key);
    if (asan != NULL)
        snprintf(text[count++], 512, "ASAN_OPTIONS=%s", asan);
    /* And what tests/support/misfortune.h is about. */
    for (size_t i = 0; i < sizeof handed_on / sizeof handed_on[0]; i++)
        if (getenv(handed_on[i]) != NULL)
            snprintf(text[count++], 512, "%s=%s", handed_on[i], getenv(handed_on[i]));
    for (int i = 0; i < count; i++)
        environment->all[i] = text[i];
    environment->all[count] = NULL;
}

static pid_t spawn(const struct desk *desk, const char *in, const char *out, const char *err,
                   const char *const *words) {
    char program[512];
    char *arguments[WORDS_MAX + 2] = {program};
    struct environment environment;
    posix_spawn_file_actions_t actions;
    pid_t pid;
    int count = 1;
    program_of(program, sizeof program);
    for (; words[count - 1] != NULL; count++) {
        assert_true(count <= WORDS_MAX);
        arguments[count] = (char *)words[count - 1];
    }
    arguments[count] = NULL;
    fill_environment(desk, &environment);
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, 0, in, O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&actions, 1, out, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    posix_spawn_file_actions_addopen(&actions, 2, err, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_int_equal(posix_spawn(&pid, program, &actions, NULL, arguments, environment.all), 0);
    posix_spawn_file_actions_destroy(&actions);
    return pid;
}

static char *read_whole(const char *path) {
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    long size = ftell(file);
    rewind(file);
    char *bytes = malloc((size_t)size + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, (size_t)size, file), size);
    bytes[size] = '\0';
    fclose(file);
    return bytes;
}

void desk_run_words(struct desk *desk, const char *input, struct outcome *outcome,
                    const char *const *words) {
    int status = 0;
    const char *in = desk_file(desk, input);
    const char *out = desk_path(desk, "out");
    const char *err = desk_path(desk, "err");
    pid_t pid = spawn(desk, in, out, err, words);
    assert_int_equal(waitpid(pid, &status, 0), pid);
    outcome->code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    outcome->out = read_whole(out);
    outcome->err = read_whole(err);
    outcome->json = json_loads(outcome->out, JSON_REJECT_DUPLICATES, NULL);
}

void desk_run(struct desk *desk, const char *input, struct outcome *outcome, ...) {
    const char *words[WORDS_MAX + 1];
    int count = 0;
    va_list args;
    va_start(args, outcome);
    while (count < WORDS_MAX && (words[count] = va_arg(args, const char *)) != NULL)
        count++;
    va_end(args);
    words[count] = NULL;
    desk_run_words(desk, input, outcome, words);
}

pid_t desk_start(struct desk *desk, const char *const *words) {
    return spawn(desk, "/dev/null", "/dev/null", "/dev/null", words);
}

long desk_kill_at(struct desk *desk, const char *const *words, long call) {
    char program[512];
    char *arguments[WORDS_MAX + 2] = {program};
    struct environment environment;
    int count = 1;
    program_of(program, sizeof program);
    for (; words[count - 1] != NULL; count++) {
        assert_true(count <= WORDS_MAX);
        arguments[count] = (char *)words[count - 1];
    }
    arguments[count] = NULL;
    fill_environment(desk, &environment);
    return kill_at(program, arguments, environment.all, call);
}

void outcome_release(struct outcome *outcome) {
    free(outcome->out);
    free(outcome->err);
    json_decref(outcome->json);
    *outcome = (struct outcome){0};
}

const json_t *outcome_at(const struct outcome *outcome, const char *path) {
    const json_t *value = outcome->json;
    while (value != NULL && *path != '\0') {
        char key[64];
        size_t length = strcspn(path, "/");
        snprintf(key, sizeof key, "%.*s", (int)length, path);
        value = json_is_array(value) ? json_array_get(value, (size_t)strtoul(key, NULL, 10))
                                     : json_object_get(value, key);
        path += length + (path[length] == '/');
    }
    return value;
}

double outcome_number(const struct outcome *outcome, const char *path) {
    const json_t *value = outcome_at(outcome, path);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

const char *outcome_text(const struct outcome *outcome, const char *path) {
    const char *text = json_string_value(outcome_at(outcome, path));
    return text != NULL ? text : "";
}

void outcome_assert_code(const struct outcome *outcome, int code) {
    if (outcome->code != code)
        print_error("exit status %d, not %d\n--- output\n%s--- errors\n%s", outcome->code, code,
                    outcome->out, outcome->err);
    assert_int_equal(outcome->code, code);
}

void outcome_assert_near(const char *what, double value, double expected, double tolerance) {
    if (!(fabs(value - expected) <= tolerance)) {
        print_error("%s: %.9g, not %.9g within %g\n", what, value, expected, tolerance);
        fail();
    }
}
