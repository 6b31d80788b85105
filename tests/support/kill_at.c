/* SPDX-License-Identifier: MIT */
#include "tests/support/kill_at.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/ptrace.h>
#include <sys/wait.h>
#include <unistd.h>

static void exec_traced(const char *program, char *const *arguments, char *const *environment) {
    int null = open("/dev/null", O_RDWR);
    dup2(null, STDIN_FILENO);
    dup2(null, STDOUT_FILENO);
    dup2(null, STDERR_FILENO);
    ptrace(PTRACE_TRACEME, 0, NULL, NULL);
    raise(SIGSTOP);
    execve(program, arguments, environment);
    _exit(127);
}

long kill_at(const char *program, char *const *arguments, char *const *environment, long call) {
    int status = 0;
    long stops = 0;
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0)
        exec_traced(program, arguments, environment);
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_true(WIFSTOPPED(status));
    assert_int_equal(
        ptrace(PTRACE_SETOPTIONS, pid, NULL, PTRACE_O_EXITKILL | PTRACE_O_TRACESYSGOOD), 0);
    while (WIFSTOPPED(status)) {
        bool at_call = WSTOPSIG(status) == (SIGTRAP | 0x80);
        int passed_on = at_call || WSTOPSIG(status) == SIGTRAP || WSTOPSIG(status) == SIGSTOP
                            ? 0
                            : WSTOPSIG(status);
        /* A call stops the client twice, before and after. */
        if (at_call && stops++ == 2 * call)
            kill(pid, SIGKILL);
        else
            ptrace(PTRACE_SYSCALL, pid, NULL, passed_on);
        assert_int_equal(waitpid(pid, &status, 0), pid);
    }
    return WIFSIGNALED(status) ? call : stops / 2;
}
