/* SPDX-License-Identifier: MIT */
/* crew: everything on a list is worked on once, whatever threads there are. */
#include <assert.h>
#include <dlfcn.h>
#include <errno.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>

#include <cmocka.h>

#include "server/rules/crew.h"

/* In place of the C library's: threads that cannot be had. */
static int threads_left;
typedef int create(pthread_t *, const pthread_attr_t *, void *(*)(void *), void *);
int pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*start)(void *),
                   void *argument) {
    create *usual;
    *(void **)&usual = dlsym(RTLD_NEXT, "pthread_create");
    return threads_left-- > 0 ? usual(thread, attributes, start, argument) : EAGAIN;
}

#define THINGS 5000
static atomic_int worked[THINGS];
static char context;

static void work(void *given, void *thing) {
    assert(given == &context);
    atomic_fetch_add((atomic_int *)thing, 1);
}

/* Lists of many lengths, one after the other; with so many threads. */
static void all_is_done_once(int threads) {
    static void *thing[THINGS];
    static const size_t lengths[] = {0, 1, 2, 3, 17, 0, THINGS, 5};
    threads_left = threads;
    struct crew *crew = crew_new(work, &context);
    assert_non_null(crew);
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
        for (size_t k = 0; k < lengths[i]; k++) {
            atomic_store(&worked[k], 0);
            thing[k] = &worked[k];
        }
        crew_begin(crew, thing, lengths[i]);
        crew_finish(crew);
        for (size_t k = 0; k < lengths[i]; k++)
            assert_int_equal(atomic_load(&worked[k]), 1);
    }
    crew_free(crew);
}

static void with_all_threads(void **state) {
    (void)state;
    all_is_done_once(1000);
}

static void with_one_thread(void **state) {
    (void)state;
    all_is_done_once(1);
}

static void with_none_but_the_callers(void **state) {
    (void)state;
    all_is_done_once(0);
}

static void a_crew_that_never_worked_goes(void **state) {
    (void)state;
    threads_left = 1000;
    crew_free(crew_new(work, &context));
    crew_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(with_all_threads),
        cmocka_unit_test(with_one_thread),
        cmocka_unit_test(with_none_but_the_callers),
        cmocka_unit_test(a_crew_that_never_worked_goes),
    };
    return cmocka_run_group_tests_name("crew", tests, NULL, NULL);
}
