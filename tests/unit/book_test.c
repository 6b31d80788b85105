/* SPDX-License-Identifier: MIT */
/* book: a day is read by one of those who need it, and what is committed meanwhile is not
 * lost; figures that are watched are made anew by whoever tends the book. */
#include <dlfcn.h>
#include <pthread.h>
#include <setjmp.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

#include "server/rules/book.h"
#include "server/rules/figures.h"
#include "tests/support/store_fixture.h"

#define SITES 5

struct stage {
    struct fixture fixture;
    struct book *book; /* which has read nothing yet */
    struct day_row day;
    struct day_noon noon; /* of site 1 */
};

/* In place of SQLite's own: what happens at the first step of a reading, and how many steps
 * there were. */
static struct {
    void (*happens)(struct stage *);
    struct stage *stage;
    bool fails;
} first_step;
static atomic_int steps;

typedef int step(sqlite3_stmt *);
int sqlite3_step(sqlite3_stmt *statement) {
    step *usual;
    *(void **)&usual = dlsym(RTLD_NEXT, "sqlite3_step");
    void (*happens)(struct stage *) = first_step.happens;
    const bool fails = first_step.fails;
    atomic_fetch_add(&steps, 1);
    first_step.happens = NULL;
    first_step.fails = false;
    if (happens)
        happens(first_step.stage);
    return fails ? SQLITE_NOMEM : usual(statement);
}

static struct book_view view_of(struct stage *stage) {
    return (struct book_view){
        .book = stage->book, .db = stage->fixture.db, .moment = book_moment(stage->book)};
}

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);
    assert_non_null(stage);
    fixture_open(&stage->fixture);
    fixture_day(&stage->fixture, "spring", FIXTURE_DATE);
    for (int i = 0; i < SITES; i++) {
        char site[8];
        snprintf(site, sizeof site, "s%d", i);
        fixture_site(&stage->fixture, site, 36.0 + 2.0 * i, 3.0);
        fixture_join(&stage->fixture, "spring", site);
        assert_true(fixture_run(&stage->fixture, site, "spring", 40u + (uint64_t)i, 0) > 0);
    }
    struct book *first = stage->book = book_new();
    bool found;
    assert_non_null(first);
    assert_int_equal(day_rows_find(stage->fixture.db, "spring", &stage->day, &stage->fixture.err),
                     FOUND_ONE);
    const struct book_view view = view_of(stage);
    assert_int_equal(book_noon_of(&view, &stage->day, 1, &stage->noon, &found, &stage->fixture.err),
                     0);
    assert_true(found);
    book_free(first);
    stage->book = book_new();
    assert_non_null(stage->book);
    *state = stage;
    return 0;
}

static int tear_down(void **state) {
    struct stage *stage = *state;
    book_free(stage->book);
    fixture_close(&stage->fixture);
    free(stage);
    return 0;
}

static bool has(struct stage *stage, int64_t site) {
    const struct book_view view = view_of(stage);
    struct day_noon noon;
    bool found;
    assert_int_equal(book_noon_of(&view, &stage->day, site, &noon, &found, &stage->fixture.err), 0);
    return found;
}

/* As above, and something happens while the day is read; how many steps that took. */
static int steps_to_ask(struct stage *stage, void (*happens)(struct stage *), int64_t site,
                        bool expected) {
    first_step.happens = happens;
    first_step.stage = stage;
    atomic_store(&steps, 0);
    assert_int_equal(has(stage, site), expected);
    assert_null(first_step.happens);
    return atomic_load(&steps);
}

/* ---- reading a day ---- */

static void commit(struct stage *stage, int64_t site, bool counts) {
    struct book_entry entry = {stage->day.id, site, counts, stage->noon};
    entry.noon.noon.key = site;
    if (site > SITES)
        snprintf(entry.noon.site, sizeof entry.noon.site, "new%d", (int)site);
    book_commit(stage->book, NULL, 0, &entry, 1);
}

static void one_goes_and_two_come(struct stage *stage) {
    commit(stage, 1, false);
    for (int64_t site = 100; site < 300; site++)
        commit(stage, site, true);
}

static void what_is_committed_while_a_day_is_read_is_in_it(void **state) {
    struct stage *stage = *state;
    assert_true(steps_to_ask(stage, one_goes_and_two_come, 1, false) > 0);
    atomic_store(&steps, 0);
    assert_true(has(stage, 2));
    assert_true(has(stage, 100));
    assert_true(has(stage, 299));
    assert_false(has(stage, 300));
    assert_int_equal(atomic_load(&steps), 0); /* it is kept */
}

static void all_is_touched(struct stage *stage) {
    book_commit(stage->book, &stage->day.id, 1, NULL, 0);
}

static void a_day_touched_while_it_is_read_is_read_again(void **state) {
    struct stage *stage = *state;
    assert_true(steps_to_ask(stage, all_is_touched, 1, true) > 0);
    assert_true(steps_to_ask(stage, NULL, 1, true) > 0);
    assert_int_equal(steps_to_ask(stage, NULL, 1, true), 0);
}

static void other_days_push_it_out(struct stage *stage) {
    for (int64_t day = 1000; day < 1040; day++)
        book_commit(stage->book, &day, 1, NULL, 0);
}

static void a_day_pushed_out_while_it_is_read_is_read_again(void **state) {
    struct stage *stage = *state;
    assert_true(steps_to_ask(stage, other_days_push_it_out, 1, true) > 0);
    assert_true(steps_to_ask(stage, NULL, 1, true) > 0);
    assert_int_equal(steps_to_ask(stage, NULL, 1, true), 0);
}

static void a_day_that_cannot_be_read_is_read_by_the_next(void **state) {
    struct stage *stage = *state;
    const struct book_view view = view_of(stage);
    struct day_noon noon;
    bool found;
    first_step.fails = true;
    assert_int_equal(book_noon_of(&view, &stage->day, 1, &noon, &found, &stage->fixture.err), -1);
    assert_int_not_equal(stage->fixture.err.code, ERR_NONE);
    err_clear(&stage->fixture.err);
    assert_true(has(stage, 1));
}

static void *ask(void *argument) {
    return has(argument, 2) ? argument : NULL;
}

#define OTHERS 4
static pthread_t other[OTHERS];
static void others_ask(struct stage *stage) {
    for (int i = 0; i < OTHERS; i++)
        assert_int_equal(pthread_create(&other[i], NULL, ask, stage), 0);
    usleep(20000); /* long enough for one to read it too, were that done */
}

static void one_reads_and_the_others_wait(void **state) {
    struct stage *stage = *state;
    const int alone = steps_to_ask(stage, NULL, 1, true);
    book_free(stage->book);
    stage->book = book_new();
    assert_non_null(stage->book);
    assert_int_equal(steps_to_ask(stage, others_ask, 1, true), alone);
    for (int i = 0; i < OTHERS; i++) {
        void *found;
        assert_int_equal(pthread_join(other[i], &found), 0);
        assert_ptr_equal(found, stage);
    }
    assert_int_equal(atomic_load(&steps), alone);
}

/* ---- figures that are watched ---- */

#define NOW_UTC_S FIXTURE_NOW_UTC_S

static struct figures *keep_figures(struct stage *stage) {
    struct figures *figures = calloc(1, sizeof *figures);
    assert_non_null(figures);
    atomic_init(&figures->holders, 1);
    snprintf(figures->day, sizeof figures->day, "spring");
    book_keep(stage->book, stage->day.id, figures, book_moment(stage->book));
    figures_release(figures); /* the book holds it */
    return figures;
}

static enum book_kept how_kept(struct stage *stage, double now_utc_s) {
    enum book_kept how;
    struct figures *figures = book_kept(stage->book, "spring", now_utc_s, &how);
    assert_non_null(figures);
    figures_release(figures);
    return how;
}

static bool claims_watched(struct stage *stage, double now_utc_s, bool expected_watched) {
    int64_t day = 0;
    bool is_watched;
    const bool claimed = book_claim_watched(stage->book, now_utc_s, &day, &is_watched);
    assert_int_equal(is_watched, expected_watched);
    assert_true(!claimed || day == stage->day.id);
    return claimed;
}

static void who_tends_the_book_makes_anew_what_is_watched(void **state) {
    struct stage *stage = *state;
    enum book_kept how;
    figures_release(book_claim(stage->book, stage->day.id, NOW_UTC_S, &how));
    assert_int_equal(how, BOOK_BEHIND);
    struct figures *figures = keep_figures(stage);
    assert_int_equal(how_kept(stage, NOW_UTC_S), BOOK_CURRENT);
    book_tend(stage->book, true);
    commit(stage, 1, true);
    assert_int_equal(how_kept(stage, NOW_UTC_S), BOOK_BEHIND);
    assert_false(claims_watched(stage, NOW_UTC_S, false));

    book_watch(stage->book, figures, NOW_UTC_S);
    assert_int_equal(how_kept(stage, NOW_UTC_S), BOOK_IN_MAKING);
    assert_int_equal(how_kept(stage, NOW_UTC_S + BOOK_WATCH_S), BOOK_BEHIND);
    assert_int_equal(how_kept(stage, NOW_UTC_S - 1.0), BOOK_BEHIND); /* a clock set back */
    assert_false(claims_watched(stage, NOW_UTC_S + BOOK_WATCH_S, false));
    assert_true(claims_watched(stage, NOW_UTC_S + 1.0, true));
    assert_false(claims_watched(stage, NOW_UTC_S + 1.0, true)); /* it is being made */
    assert_int_equal(how_kept(stage, NOW_UTC_S + BOOK_WATCH_S), BOOK_IN_MAKING);

    figures = keep_figures(stage);
    assert_int_equal(how_kept(stage, NOW_UTC_S + 1.0), BOOK_CURRENT);
    assert_false(claims_watched(stage, NOW_UTC_S + 1.0, true)); /* it is not behind */

    commit(stage, 2, true);
    book_tend(stage->book, false); /* nobody does any more: whoever asks has to */
    assert_int_equal(how_kept(stage, NOW_UTC_S + 1.0), BOOK_BEHIND);
    figures_release(book_claim(stage->book, stage->day.id, NOW_UTC_S + 1.0, &how));
    assert_int_equal(how, BOOK_BEHIND);
    book_keep(stage->book, stage->day.id, NULL, 0);
}

int main(void) {
#define BOOK_TEST(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        BOOK_TEST(what_is_committed_while_a_day_is_read_is_in_it),
        BOOK_TEST(a_day_touched_while_it_is_read_is_read_again),
        BOOK_TEST(a_day_pushed_out_while_it_is_read_is_read_again),
        BOOK_TEST(a_day_that_cannot_be_read_is_read_by_the_next),
        BOOK_TEST(one_reads_and_the_others_wait),
        BOOK_TEST(who_tends_the_book_makes_anew_what_is_watched),
    };
    return cmocka_run_group_tests_name("book", tests, NULL, NULL);
}
