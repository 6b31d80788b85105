/* SPDX-License-Identifier: MIT */
/* remaker: figures that somebody looked at are made anew without anybody asking. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "server/http/clock.h"
#include "server/http/remaker.h"
#include "server/rules/figures.h"
#include "tests/support/store_fixture.h"

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

static void take_part(struct fixture *f, int number) {
    char site[8];
    snprintf(site, sizeof site, "s%d", number);
    fixture_site(f, site, 36.0 + 2.0 * number, 3.0);
    fixture_join(f, "spring", site);
    assert_true(fixture_run(f, site, "spring", 40u + (uint64_t)number, 0) > 0);
}

static struct figures *ask(struct fixture *f) {
    const struct book_view view = {.book = f->book, .db = f->db, .moment = book_moment(f->book)};
    struct figures *figures;
    assert_int_equal(figures_of_day(&view, "spring", clock_utc_s(), &figures, &f->err), 0);
    return figures;
}

/* What is kept, once it is current; NULL when it does not come to be, in some time. */
static struct figures *await_current(struct fixture *f, int most_ms) {
    for (int ms = 0; ms < most_ms; ms++) {
        enum book_kept how;
        struct figures *figures = book_kept(f->book, "spring", clock_utc_s(), &how);
        if (figures && how == BOOK_CURRENT)
            return figures;
        figures_release(figures);
        usleep(1000);
    }
    return NULL;
}

static void what_is_watched_is_made_anew(void **state) {
    struct fixture *f = *state;
    struct pool *pool;
    struct remaker *remaker;
    take_part(f, 0);
    take_part(f, 1);
    assert_int_equal(pool_new(f->path, 1, &pool, &f->err), 0);
    assert_int_equal(remaker_new(pool, f->book, &remaker, &f->err), 0);
    struct figures *before = ask(f);
    take_part(f, 2);
    assert_null(await_current(f, 300)); /* nobody watches a day as small as this one */
    book_watch(f->book, before, clock_utc_s());
    struct figures *after = await_current(f, 10000);
    assert_non_null(after);
    assert_string_not_equal(after->result->bytes, before->result->bytes);
    remaker_free(remaker);
    pool_free(pool);

    /* The same as whoever reads the store anew is told. */
    struct book *kept = f->book;
    f->book = book_new();
    assert_non_null(f->book);
    struct figures *anew = ask(f);
    assert_string_equal(after->result->bytes, anew->result->bytes);
    figures_release(anew);
    book_free(f->book);
    f->book = kept;
    figures_release(before);
    figures_release(after);
}

static void it_ends_whatever_is_watched(void **state) {
    struct fixture *f = *state;
    struct pool *pool;
    struct remaker *remaker;
    enum book_kept how;
    take_part(f, 0);
    assert_int_equal(pool_new(f->path, 1, &pool, &f->err), 0);
    assert_int_equal(remaker_new(pool, f->book, &remaker, &f->err), 0);
    figures_release(ask(f));
    remaker_free(remaker);
    pool_free(pool);
    remaker_free(NULL);
    take_part(f, 1);
    struct figures *figures = book_kept(f->book, "spring", clock_utc_s(), &how);
    book_watch(f->book, figures, clock_utc_s());
    figures_release(figures);
    figures_release(book_kept(f->book, "spring", clock_utc_s(), &how));
    assert_int_equal(how, BOOK_BEHIND); /* whoever asks makes them */
}

int main(void) {
#define REMAKER_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        REMAKER_TEST(what_is_watched_is_made_anew),
        REMAKER_TEST(it_ends_whatever_is_watched),
    };
    return cmocka_run_group_tests_name("remaker", tests, NULL, NULL);
}
