/* SPDX-License-Identifier: MIT */
#include "tests/support/served.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <ftw.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

static void program_of(char *out, size_t size) {
    const char *build = getenv("BUILD");
    int length = snprintf(out, size, "%s/noonarcd", build == NULL ? "build" : build);
    assert_true(length > 0 && (size_t)length < size);
}

/* Starts noonarcd with its standard output in a pipe. */
static pid_t launch(char *const arguments[], FILE **out) {
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        dup2(ends[1], STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        execv(arguments[0], arguments);
        _exit(127);
    }
    close(ends[1]);
    *out = fdopen(ends[0], "r");
    assert_non_null(*out);
    return pid;
}

static int wait_for(pid_t pid) {
    int status = 0;
    assert_int_equal(waitpid(pid, &status, 0), pid);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

int served_command(const struct served *served, const char *command, const char *operand,
                   char *line, size_t size) {
    char program[512];
    FILE *out;
    program_of(program, sizeof program);
    char *const arguments[] = {program,         "--store",       (char *)served->store,
                               (char *)command, (char *)operand, NULL};
    pid_t pid = launch(arguments, &out);
    if (fgets(line, (int)size, out) == NULL)
        line[0] = '\0';
    line[strcspn(line, "\n")] = '\0';
    fclose(out);
    return wait_for(pid);
}

void served_start(struct served *served) {
    char program[512], line[128];
    FILE *out;
    program_of(program, sizeof program);
    char *const arguments[] = {program,       "--store", served->store, "--listen",
                               "127.0.0.1:0", "serve",   NULL};
    served->pid = launch(arguments, &out);
    assert_non_null(fgets(line, sizeof line, out));
    fclose(out);
    assert_int_equal(sscanf(line, "listening on %63s", served->base), 1);
}

void served_init(struct served *served) {
    *served = (struct served){0};
    const char *scratch = getenv("TMPDIR");
    snprintf(served->folder, sizeof served->folder, "%s/noonarc-XXXXXX",
             scratch == NULL ? "/tmp" : scratch);
    assert_non_null(mkdtemp(served->folder));
    snprintf(served->store, sizeof served->store, "%s/store.sqlite", served->folder);
    assert_int_equal(served_command(served, "organiser", "Meridian Office", served->organiser,
                                    sizeof served->organiser),
                     0);
    assert_true(strlen(served->organiser) >= 26);
    served_start(served);
}

int served_stop(struct served *served, int signal_number) {
    kill(served->pid, signal_number);
    int status = wait_for(served->pid);
    served->pid = 0;
    return status;
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *walk) {
    (void)status;
    (void)kind;
    (void)walk;
    return remove(path);
}

void served_release(struct served *served) {
    if (served->pid != 0)
        assert_int_equal(served_stop(served, SIGTERM), 0);
    assert_int_equal(nftw(served->folder, remove_one, 16, FTW_DEPTH | FTW_PHYS), 0);
}
