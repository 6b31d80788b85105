/* SPDX-License-Identifier: MIT */
/* book: a few days, each with its sheet, the least lately asked for forgotten first. */
#include "server/rules/book.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/day_sheet.h"
#include "server/rules/figures.h"
#include "server/rules/known_days.h"
#include "server/rules/moved.h"

#define DAYS 16

struct page {
    int64_t day;             /* 0: unused */
    struct day_sheet *sheet; /* NULL: not in memory */
    char name[ID_MAX + 1];   /* of the day, once figures are kept */
    struct figures *figures; /* NULL: none are kept */
    uint64_t made;           /* moment they were made from */
    bool making;             /* somebody is making them anew */
    uint64_t changed;        /* moment of its newest change that we know of */
    uint64_t asked;          /* grows with every look at it */
};

struct book {
    pthread_mutex_t lock;
    struct moved *moved;
    struct known_days *days;
    uint64_t moment, asked;
    uint64_t forgotten; /* no day without a page changed after this */
    struct page page[DAYS];
};

struct book *book_new(void) {
    struct book *book = calloc(1, sizeof *book);
    struct moved *moved = moved_new();
    struct known_days *days = known_days_new();
    if (!book || !moved || !days) {
        free(book);
        moved_free(moved);
        known_days_free(days);
        return NULL;
    }
    book->moved = moved;
    book->days = days;
    pthread_mutex_init(&book->lock, NULL);
    return book;
}

struct moved *book_moved(struct book *book) {
    return book->moved;
}

struct known_days *book_days(struct book *book) {
    return book->days;
}

void book_free(struct book *book) {
    if (!book)
        return;
    for (int i = 0; i < DAYS; i++) {
        day_sheet_free(book->page[i].sheet);
        figures_release(book->page[i].figures);
    }
    pthread_mutex_destroy(&book->lock);
    moved_free(book->moved);
    known_days_free(book->days);
    free(book);
}

uint64_t book_moment(struct book *book) {
    pthread_mutex_lock(&book->lock);
    uint64_t moment = book->moment;
    pthread_mutex_unlock(&book->lock);
    return moment;
}

static struct page *find(struct book *book, int64_t day) {
    for (int i = 0; i < DAYS; i++)
        if (book->page[i].day == day)
            return &book->page[i];
    return NULL;
}

/* A page for the day, in place of the one that was least lately asked for. */
static struct page *open_page(struct book *book, int64_t day) {
    struct page *page = find(book, day);
    if (page)
        return page;
    page = &book->page[0];
    for (int i = 1; i < DAYS; i++)
        if (book->page[i].asked < page->asked)
            page = &book->page[i];
    if (page->changed > book->forgotten)
        book->forgotten = page->changed;
    day_sheet_free(page->sheet);
    figures_release(page->figures);
    *page = (struct page){.day = day, .changed = book->forgotten, .asked = ++book->asked};
    return page;
}

static void tear_out(struct page *page) {
    day_sheet_free(page->sheet);
    page->sheet = NULL;
}

void book_commit(struct book *book, const int64_t *touched, size_t touched_count,
                 const struct book_entry *entries, size_t entries_count) {
    pthread_mutex_lock(&book->lock);
    book->moment++;
    for (size_t i = 0; i < entries_count; i++) {
        const struct book_entry *entry = &entries[i];
        struct page *page = open_page(book, entry->day);
        page->changed = book->moment;
        if (!page->sheet)
            continue;
        if (!entry->counts)
            day_sheet_drop(page->sheet, entry->site);
        else if (!day_sheet_put(page->sheet, &entry->noon))
            tear_out(page);
    }
    for (size_t i = 0; i < touched_count; i++) {
        struct page *page = open_page(book, touched[i]);
        page->changed = book->moment;
        tear_out(page);
    }
    pthread_mutex_unlock(&book->lock);
}

struct figures *book_kept(struct book *book, int64_t day, bool *is_current, bool *yours) {
    pthread_mutex_lock(&book->lock);
    struct page *page = open_page(book, day);
    struct figures *figures = figures_hold(page->figures);
    page->asked = ++book->asked;
    *is_current = figures && page->changed <= page->made;
    *yours = !*is_current && !page->making;
    page->making |= *yours;
    pthread_mutex_unlock(&book->lock);
    return figures;
}

struct figures *book_kept_of(struct book *book, const char *day, bool *is_current) {
    struct figures *figures = NULL;
    pthread_mutex_lock(&book->lock);
    for (int i = 0; i < DAYS && !figures; i++) {
        struct page *page = &book->page[i];
        if (!page->figures || strcmp(page->name, day) != 0)
            continue;
        figures = figures_hold(page->figures);
        page->asked = ++book->asked;
        *is_current = page->changed <= page->made;
    }
    pthread_mutex_unlock(&book->lock);
    return figures;
}

void book_keep(struct book *book, const struct day_row *day, struct figures *figures,
               uint64_t moment) {
    pthread_mutex_lock(&book->lock);
    struct page *page = find(book, day->id);
    if (page)
        page->making = false;
    if (page && figures && (!page->figures || page->made <= moment)) {
        figures_release(page->figures);
        page->figures = figures_hold(figures);
        page->made = moment;
        memcpy(page->name, day->record.day, sizeof page->name);
    }
    pthread_mutex_unlock(&book->lock);
}

/* The sheet of a day, with the book locked; NULL and unlocked when it cannot be had.
 * *own: it is the caller's alone (and the book not locked): the day has changed since
 * the view began. */
static struct day_sheet *take(const struct book_view *view, const struct day_row *day, bool *own,
                              struct err *err) {
    struct book *book = view->book;
    struct day_noon *noons = NULL;
    size_t count = 0;
    pthread_mutex_lock(&book->lock);
    struct page *page = find(book, day->id);
    if (page && page->sheet) {
        page->asked = ++book->asked;
        *own = false;
        return page->sheet;
    }
    pthread_mutex_unlock(&book->lock);
    if (reduction_rows_of_day(view->db, day->id, &noons, &count, err))
        return NULL;
    struct day_sheet *sheet = day_sheet_new(noons, count);
    free(noons);
    if (!sheet) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        return NULL;
    }
    pthread_mutex_lock(&book->lock);
    page = open_page(book, day->id);
    if (page->changed > view->moment || page->sheet) {
        /* It changed, or somebody was quicker: ours is as of the view. */
        pthread_mutex_unlock(&book->lock);
        *own = true;
        return sheet;
    }
    page->sheet = sheet;
    *own = false;
    return sheet;
}

static void give_back(const struct book_view *view, struct day_sheet *sheet, bool own) {
    if (own)
        day_sheet_free(sheet);
    else
        pthread_mutex_unlock(&view->book->lock);
}

int book_noons(const struct book_view *view, const struct day_row *day, struct day_noon **out,
               size_t *count, struct err *err) {
    bool own;
    struct day_sheet *sheet = take(view, day, &own, err);
    if (!sheet)
        return -1;
    size_t n = day_sheet_count(sheet);
    struct day_noon *noons = malloc((n + 1) * sizeof *noons);
    if (noons)
        day_sheet_copy(sheet, noons);
    give_back(view, sheet, own);
    if (!noons)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    *out = noons;
    *count = n;
    return 0;
}

static double sigma_or_infinity(const struct pair_record *record) {
    return isnan(record->pair.sigma_km) ? INFINITY : record->pair.sigma_km;
}

/* Equals by the names of the sites. */
static int by_certainty(const void *left, const void *right) {
    const struct pair_record *a = left, *b = right;
    double a_km = sigma_or_infinity(a), b_km = sigma_or_infinity(b);
    if (a_km != b_km)
        return a_km < b_km ? -1 : 1;
    int order = strcmp(a->site1, b->site1);
    return order != 0 ? order : strcmp(a->site2, b->site2);
}

static void sort_pairs(struct pair_record *pairs, size_t count) {
    if (count > 0)
        qsort(pairs, count, sizeof *pairs, by_certainty);
}

int book_pairs(const struct book_view *view, const struct day_row *day, const struct day_noon *noon,
               size_t most, struct pair_record **out, size_t *count, struct err *err) {
    const struct pair_rules rules = day_noons_rules(&day->record);
    const struct day_noon *near[DAY_SHEET_NEAR_MAX];
    bool own;
    struct day_sheet *sheet = take(view, day, &own, err);
    if (!sheet)
        return -1;
    size_t found = day_sheet_near(sheet, noon, rules.lon_tolerance_deg, most, near), n = 0;
    struct pair_record *pairs = malloc((found + 1) * sizeof *pairs);
    for (size_t i = 0; pairs && i < found; i++)
        n += day_noons_pair(noon, near[i], &rules, &pairs[n]);
    give_back(view, sheet, own);
    if (!pairs)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    sort_pairs(pairs, n);
    *out = pairs;
    *count = n;
    return 0;
}

int book_noon_of(const struct book_view *view, const struct day_row *day, int64_t site,
                 struct day_noon *out, bool *found, struct err *err) {
    bool own;
    struct day_sheet *sheet = take(view, day, &own, err);
    if (!sheet)
        return -1;
    const struct day_noon *noon = day_sheet_find(sheet, site);
    if (noon)
        *out = *noon;
    *found = noon != NULL;
    give_back(view, sheet, own);
    return 0;
}
