/* SPDX-License-Identifier: MIT */
#include "tests/support/misfortune.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>
#include <fcntl.h>
#include <limits.h>
#include <sys/mman.h>
#include <unistd.h>

static char page_path[PATH_MAX];

struct misfortune *misfortune_new(void) {
    const char *scratch = getenv("TMPDIR"), *build = getenv("BUILD");
    const char *options = getenv("ASAN_OPTIONS");
    char name[PATH_MAX], shim[PATH_MAX], sanitizer[256];
    snprintf(page_path, sizeof page_path, "%s/misfortune-XXXXXX",
             scratch == NULL ? "/tmp" : scratch);
    int file = mkstemp(page_path);
    assert_true(file >= 0);
    assert_int_equal(ftruncate(file, sizeof(struct misfortune)), 0);
    struct misfortune *page = mmap(NULL, sizeof *page, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    assert_ptr_not_equal(page, MAP_FAILED);
    close(file);
    *page = (struct misfortune){.malloc_fuse = -1};
    snprintf(name, sizeof name, "%.900s/tests/faults/shim.so", build == NULL ? "build" : build);
    assert_non_null(realpath(name, shim));
    /* The sanitizer's library wants to be the first, and need not be. */
    snprintf(sanitizer, sizeof sanitizer, "%s%sverify_asan_link_order=0",
             options == NULL ? "" : options, options == NULL ? "" : ":");
    setenv("ASAN_OPTIONS", sanitizer, 1);
    setenv(MISFORTUNE_VARIABLE, page_path, 1);
    setenv("LD_PRELOAD", shim, 1);
    return page;
}

void misfortune_free(struct misfortune *page) {
    unsetenv("LD_PRELOAD");
    unsetenv(MISFORTUNE_VARIABLE);
    munmap(page, sizeof *page);
    unlink(page_path);
}

long misfortune_over(struct misfortune *page) {
    long struck = page->struck;
    *page = (struct misfortune){.malloc_fuse = -1};
    return struck;
}
