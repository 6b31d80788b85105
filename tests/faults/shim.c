/* SPDX-License-Identifier: MIT */
/* shim: stands between a program and the C library (LD_PRELOAD) and lets calls
 * fail as tests/support/misfortune.h says. Below it is the kernel itself, so
 * that nothing needs to be looked up. Without a page it changes nothing. */
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#include "tests/support/misfortune.h"

static struct misfortune *page;

__attribute__((constructor)) static void look_for_page(void) {
    const char *path = getenv(MISFORTUNE_VARIABLE);
    int file = path == NULL ? -1 : (int)syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC);
    if (file < 0)
        return;
    void *shared = mmap(NULL, sizeof *page, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    syscall(SYS_close, file);
    if (shared != MAP_FAILED)
        __atomic_store_n(&page, shared, __ATOMIC_RELEASE);
}

static void strike(void) {
    __atomic_add_fetch(&page->struck, 1, __ATOMIC_RELAXED);
}

/* Files only: neither sockets nor what is printed and logged. */
static bool strikes_file(int file, const int *wanted) {
    struct stat status;
    int error = page == NULL ? 0 : __atomic_load_n(wanted, __ATOMIC_RELAXED);
    if (error == 0 || file <= STDERR_FILENO || syscall(SYS_fstat, file, &status) != 0 ||
        !S_ISREG(status.st_mode))
        return false;
    strike();
    errno = error;
    return true;
}

#define STRIKES_WRITE(file) strikes_file(file, page == NULL ? NULL : &page->write_errno)
#define STRIKES_SYNC(file) strikes_file(file, page == NULL ? NULL : &page->sync_errno)

ssize_t write(int file, const void *bytes, size_t length) {
    return STRIKES_WRITE(file) ? -1 : syscall(SYS_write, file, bytes, length);
}
ssize_t pwrite(int file, const void *bytes, size_t length, off_t at) {
    return STRIKES_WRITE(file) ? -1 : syscall(SYS_pwrite64, file, bytes, length, at);
}
ssize_t pwrite64(int file, const void *bytes, size_t length, off64_t at) {
    return STRIKES_WRITE(file) ? -1 : syscall(SYS_pwrite64, file, bytes, length, at);
}
int ftruncate(int file, off_t length) {
    return STRIKES_WRITE(file) ? -1 : (int)syscall(SYS_ftruncate, file, length);
}
int ftruncate64(int file, off64_t length) {
    return STRIKES_WRITE(file) ? -1 : (int)syscall(SYS_ftruncate, file, length);
}
int fsync(int file) {
    return STRIKES_SYNC(file) ? -1 : (int)syscall(SYS_fsync, file);
}
int fdatasync(int file) {
    return STRIKES_SYNC(file) ? -1 : (int)syscall(SYS_fdatasync, file);
}

static bool strikes_open(const char *path, int flags) {
    int error = page == NULL ? 0 : __atomic_load_n(&page->open_errno, __ATOMIC_RELAXED);
    size_t length = strlen(path), ending = error == 0 ? 0 : strlen(page->open_ending);
    if (error == 0 || (flags & (O_WRONLY | O_RDWR | O_CREAT)) == 0 || length < ending ||
        strcmp(path + length - ending, page->open_ending) != 0)
        return false;
    strike();
    errno = error;
    return true;
}

static int open_at(int folder, const char *path, int flags, mode_t mode) {
    return strikes_open(path, flags) ? -1 : (int)syscall(SYS_openat, folder, path, flags, mode);
}

#define MODE_OF(flags, mode)                                                                       \
    mode_t mode = 0;                                                                               \
    if (((flags) & (O_CREAT | O_TMPFILE)) != 0) {                                                  \
        va_list rest;                                                                              \
        va_start(rest, flags);                                                                     \
        mode = va_arg(rest, mode_t);                                                               \
        va_end(rest);                                                                              \
    }

int open(const char *path, int flags, ...) {
    MODE_OF(flags, mode)
    return open_at(AT_FDCWD, path, flags, mode);
}
int open64(const char *path, int flags, ...) {
    MODE_OF(flags, mode)
    return open_at(AT_FDCWD, path, flags, mode);
}

static long long offset_s(void) {
    return page == NULL ? 0 : __atomic_load_n(&page->clock_offset_s, __ATOMIC_RELAXED);
}

int clock_gettime(clockid_t clock, struct timespec *now) {
    int result = (int)syscall(SYS_clock_gettime, clock, now);
    if (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)
        now->tv_sec += offset_s();
    return result;
}
int gettimeofday(struct timeval *restrict now, void *restrict zone) {
    int result = (int)syscall(SYS_gettimeofday, now, zone);
    now->tv_sec += offset_s();
    return result;
}
time_t time(time_t *now) {
    struct timespec exact;
    clock_gettime(CLOCK_REALTIME, &exact);
    if (now != NULL)
        *now = exact.tv_sec;
    return exact.tv_sec;
}

/* A sanitizer's memory is its own: there the shim leaves it alone. */
#ifndef SHIM_WITHOUT_MEMORY
extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *old, size_t size);

static bool strikes_memory(void) {
    struct misfortune *shared = __atomic_load_n(&page, __ATOMIC_ACQUIRE);
    if (shared == NULL || __atomic_load_n(&shared->malloc_fuse, __ATOMIC_RELAXED) < 0 ||
        __atomic_fetch_sub(&shared->malloc_fuse, 1, __ATOMIC_RELAXED) != 0)
        return false;
    strike();
    errno = ENOMEM;
    return true;
}

void *malloc(size_t size) {
    return strikes_memory() ? NULL : __libc_malloc(size);
}
void *calloc(size_t count, size_t size) {
    return strikes_memory() ? NULL : __libc_calloc(count, size);
}
void *realloc(void *old, size_t size) {
    return strikes_memory() ? NULL : __libc_realloc(old, size);
}
#endif
