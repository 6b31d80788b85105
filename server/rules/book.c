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
#include "server/wire/tally.h"

#define DAYS 16

struct page {
    int64_t day;             /* 0: unused */
    struct day_sheet *sheet; /* NULL: not in memory */
    uint64_t sheet_number;   /* no two sheets have one, nor two readings */
    bool reading;            /* somebody brings the day in: what it misses meanwhile: */
    struct book_entry *missed;
    size_t missed_count, missed_room;
    struct tally *tally;     /* follows the sheet; NULL: none does, or it is lent */
    struct figures *figures; /* NULL: none are kept */
    uint64_t made;           /* moment they were made from */
    bool making;             /* somebody is making them anew */
    double watched_utc_s;    /* when somebody last looked at them; 0: nobody did */
    uint64_t changed;        /* moment of its newest change that we know of */
    uint64_t asked;          /* grows with every look at it */
};

struct book {
    pthread_mutex_t lock;
    pthread_cond_t made; /* some figures or a sheet were, or could not be */
    struct moved *moved;
    struct known_days *days;
    uint64_t moment, asked, sheets;
    uint64_t forgotten; /* no day without a page changed after this */
    bool is_tended;
    struct page page[DAYS];
};

static void end_reading(struct page *page) {
    free(page->missed);
    page->reading = false;
    page->missed = NULL;
    page->missed_count = page->missed_room = 0;
}

/* A sheet that is being read is not kept. */
static void tear_out(struct page *page) {
    day_sheet_free(page->sheet);
    tally_free(page->tally);
    page->sheet = NULL;
    page->tally = NULL;
    end_reading(page);
}

static void clear(struct page *page) {
    tear_out(page);
    figures_release(page->figures);
    *page = (struct page){0};
}

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
    pthread_cond_init(&book->made, NULL);
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
    for (int i = 0; i < DAYS; i++)
        clear(&book->page[i]);
    pthread_cond_destroy(&book->made);
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
    clear(page);
    pthread_cond_broadcast(&book->made); /* whoever waits for it finds it gone */
    *page = (struct page){.day = day, .changed = book->forgotten, .asked = ++book->asked};
    return page;
}

static bool put_in(struct day_sheet *sheet, const struct book_entry *entry) {
    if (entry->counts)
        return day_sheet_put(sheet, &entry->noon);
    day_sheet_drop(sheet, entry->site);
    return true;
}

static bool miss(struct page *page, const struct book_entry *entry) {
    if (page->missed_count == page->missed_room) {
        const size_t room = 2 * page->missed_room + 64;
        struct book_entry *grown = realloc(page->missed, room * sizeof *grown);
        if (!grown)
            return false;
        page->missed = grown;
        page->missed_room = room;
    }
    page->missed[page->missed_count++] = *entry;
    return true;
}

void book_commit(struct book *book, const int64_t *touched, size_t touched_count,
                 const struct book_entry *entries, size_t entries_count) {
    pthread_mutex_lock(&book->lock);
    book->moment++;
    for (size_t i = 0; i < entries_count; i++) {
        const struct book_entry *entry = &entries[i];
        struct page *page = open_page(book, entry->day);
        page->changed = book->moment;
        if ((page->sheet && !put_in(page->sheet, entry)) || (page->reading && !miss(page, entry)))
            tear_out(page);
    }
    for (size_t i = 0; i < touched_count; i++) {
        struct page *page = open_page(book, touched[i]);
        page->changed = book->moment;
        tear_out(page);
    }
    pthread_cond_broadcast(&book->made); /* whoever waits for a reading that was torn out */
    pthread_mutex_unlock(&book->lock);
}

/* A clock set back ends the watch. */
static bool is_watched_at(const struct page *page, double now_utc_s) {
    const double since_s = now_utc_s - page->watched_utc_s;
    return page->figures && since_s >= 0.0 && since_s < BOOK_WATCH_S;
}

static enum book_kept how_kept(const struct book *book, const struct page *page, double now_utc_s) {
    if (page->figures && page->changed <= page->made)
        return BOOK_CURRENT;
    const bool is_looked_after = book->is_tended && is_watched_at(page, now_utc_s);
    return page->making || is_looked_after ? BOOK_IN_MAKING : BOOK_BEHIND;
}

struct figures *book_claim(struct book *book, int64_t day, double now_utc_s, enum book_kept *how) {
    pthread_mutex_lock(&book->lock);
    struct page *page = open_page(book, day);
    struct figures *figures = figures_hold(page->figures);
    page->asked = ++book->asked;
    *how = how_kept(book, page, now_utc_s);
    page->making |= *how == BOOK_BEHIND;
    pthread_mutex_unlock(&book->lock);
    return figures;
}

struct figures *book_kept(struct book *book, const char *day, double now_utc_s,
                          enum book_kept *how) {
    struct figures *figures = NULL;
    pthread_mutex_lock(&book->lock);
    for (int i = 0; i < DAYS && !figures; i++) {
        struct page *page = &book->page[i];
        if (!page->figures || strcmp(page->figures->day, day) != 0)
            continue;
        figures = figures_hold(page->figures);
        page->asked = ++book->asked;
        *how = how_kept(book, page, now_utc_s);
    }
    pthread_mutex_unlock(&book->lock);
    return figures;
}

void book_watch(struct book *book, const struct figures *figures, double now_utc_s) {
    pthread_mutex_lock(&book->lock);
    for (int i = 0; i < DAYS; i++)
        if (book->page[i].figures == figures)
            book->page[i].watched_utc_s = now_utc_s;
    pthread_mutex_unlock(&book->lock);
}

void book_tend(struct book *book, bool is_tended) {
    pthread_mutex_lock(&book->lock);
    book->is_tended = is_tended;
    pthread_mutex_unlock(&book->lock);
}

bool book_claim_watched(struct book *book, double now_utc_s, int64_t *day, bool *is_watched) {
    struct page *found = NULL;
    *is_watched = false;
    pthread_mutex_lock(&book->lock);
    for (int i = 0; i < DAYS; i++) {
        struct page *page = &book->page[i];
        if (!is_watched_at(page, now_utc_s))
            continue;
        *is_watched = true;
        if (page->changed > page->made && !page->making && (!found || page->made < found->made))
            found = page;
    }
    if (found) {
        found->making = true;
        *day = found->day;
    }
    pthread_mutex_unlock(&book->lock);
    return found != NULL;
}

void book_await(struct book *book, int64_t day) {
    pthread_mutex_lock(&book->lock);
    for (;;) {
        const struct page *page = find(book, day);
        if (!page || !page->making)
            break;
        pthread_cond_wait(&book->made, &book->lock);
    }
    pthread_mutex_unlock(&book->lock);
}

void book_keep(struct book *book, int64_t day, struct figures *figures, uint64_t moment) {
    pthread_mutex_lock(&book->lock);
    struct page *page = find(book, day);
    if (page)
        page->making = false;
    if (page && figures && (!page->figures || page->made <= moment)) {
        figures_release(page->figures);
        page->figures = figures_hold(figures);
        page->made = moment;
    }
    pthread_cond_broadcast(&book->made);
    pthread_mutex_unlock(&book->lock);
}

static struct day_sheet *read_sheet(const struct book_view *view, const struct day_row *day,
                                    struct err *err) {
    struct day_noon *noons = NULL;
    size_t count = 0;
    if (reduction_rows_of_day(view->db, day->id, &noons, &count, err))
        return NULL;
    struct day_sheet *sheet = day_sheet_new(noons, count);
    free(noons);
    if (!sheet)
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
    return sheet;
}

/* The page of a day, once nobody reads its sheet; NULL: there is none. */
static struct page *await_sheet(struct book *book, int64_t day) {
    for (;;) {
        struct page *page = find(book, day);
        if (!page || !page->reading)
            return page;
        pthread_cond_wait(&book->made, &book->lock);
    }
}

/* Begins to read a sheet that can be kept; 0: the day has changed since the view began. */
static uint64_t begin_reading(const struct book_view *view, int64_t day) {
    struct page *page = open_page(view->book, day);
    if (page->changed > view->moment)
        return 0;
    page->reading = true;
    return page->sheet_number = ++view->book->sheets;
}

/* Keeps what was read (NULL: it could not be), brought up to what came meanwhile. False:
 * it cannot be kept. */
static bool keep_reading(struct book *book, int64_t day, uint64_t number, struct day_sheet *sheet) {
    struct page *page = find(book, day);
    bool well = number != 0 && page && page->reading && page->sheet_number == number;
    if (!well)
        return false;
    for (size_t i = 0; sheet && i < page->missed_count && well; i++)
        well = put_in(sheet, &page->missed[i]);
    end_reading(page);
    pthread_cond_broadcast(&book->made);
    if (!sheet || !well)
        return false;
    page->sheet = sheet;
    return true;
}

/* The sheet of a day, with the book locked; NULL and unlocked when it cannot be had.
 * *own: it is the caller's alone (and the book not locked): the day has changed since
 * the view began. Of those who need a day that is not there one reads it. */
static struct day_sheet *take(const struct book_view *view, const struct day_row *day, bool *own,
                              struct err *err) {
    struct book *book = view->book;
    pthread_mutex_lock(&book->lock);
    struct page *page = await_sheet(book, day->id);
    if (page && page->sheet) {
        page->asked = ++book->asked;
        *own = false;
        return page->sheet;
    }
    const uint64_t number = begin_reading(view, day->id);
    pthread_mutex_unlock(&book->lock);
    struct day_sheet *sheet = read_sheet(view, day, err);
    pthread_mutex_lock(&book->lock);
    *own = !keep_reading(book, day->id, number, sheet);
    if (*own)
        pthread_mutex_unlock(&book->lock);
    return sheet;
}

static void give_back(const struct book_view *view, struct day_sheet *sheet, bool own) {
    if (own)
        day_sheet_free(sheet);
    else
        pthread_mutex_unlock(&view->book->lock);
}

/* The changes of a sheet since they were last told, or all its noons; NULL when memory is
 * short. */
static struct day_sheet_change *changes_of(struct day_sheet *sheet, bool all, size_t *count) {
    *count = day_sheet_changes(sheet, all);
    struct day_sheet_change *changes = malloc((*count + 1) * sizeof *changes);
    if (changes)
        day_sheet_tell(sheet, changes);
    return changes;
}

static bool enter(struct tally *tally, const struct day_sheet_change *changes, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const struct day_sheet_change *change = &changes[i];
        if (!change->is_there)
            tally_drop(tally, change->slot);
        else if (!tally_put(tally, change->slot, &change->noon))
            return false;
    }
    return true;
}

int book_borrow(const struct book_view *view, const struct day_row *day, size_t most,
                struct book_loan *out, struct err *err) {
    const struct pair_rules rules = day_noons_rules(&day->record);
    struct book_loan loan = {0};
    bool own;
    size_t count;
    struct day_sheet *sheet = take(view, day, &own, err);
    if (!sheet)
        return -1;
    if (!own) {
        struct page *page = find(view->book, day->id);
        loan = (struct book_loan){page->tally, page->sheet_number};
        page->tally = NULL;
    }
    struct day_sheet_change *changes = changes_of(sheet, !loan.tally, &count);
    give_back(view, sheet, own);
    if (!loan.tally)
        loan.tally = tally_new(&rules, most);
    if (!changes || !loan.tally || !enter(loan.tally, changes, count)) {
        free(changes);
        tally_free(loan.tally);
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    free(changes);
    *out = loan;
    return 0;
}

void book_give_back(struct book *book, const struct day_row *day, struct book_loan *loan,
                    bool is_fit) {
    pthread_mutex_lock(&book->lock);
    struct page *page = find(book, day->id);
    if (is_fit && page && page->sheet && page->sheet_number == loan->sheet && !page->tally) {
        page->tally = loan->tally;
        loan->tally = NULL;
    }
    pthread_mutex_unlock(&book->lock);
    tally_free(loan->tally);
    *loan = (struct book_loan){0};
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

/* As many pairs of a sheet as there is room for; returns how many. */
static size_t collect(struct day_sheet *sheet, const struct pair_rules *rules, const char *site1,
                      const char *site2, size_t most, struct pair_record *pairs) {
    const size_t sites = day_sheet_count(sheet);
    size_t count = 0;
    for (size_t rank = day_sheet_rank(sheet, site1); rank < sites && count < most; rank++) {
        const struct day_noon *noon = day_sheet_at(sheet, rank);
        const char *after = strcmp(noon->site, site1) == 0 ? site2 : "";
        const struct day_noon *const *later;
        size_t partners = day_sheet_later(sheet, noon, rules->lon_tolerance_deg, after, &later);
        for (size_t i = 0; i < partners && count < most; i++)
            count += day_noons_pair(noon, later[i], rules, &pairs[count]);
    }
    return count;
}

int book_pairs_after(const struct book_view *view, const struct day_row *day, const char *site1,
                     const char *site2, size_t most, struct pair_record **out, size_t *count,
                     struct err *err) {
    const struct pair_rules rules = day_noons_rules(&day->record);
    struct pair_record *pairs = malloc(most * sizeof *pairs);
    bool own;
    if (!pairs)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    struct day_sheet *sheet = take(view, day, &own, err);
    if (!sheet) {
        free(pairs);
        return -1;
    }
    *count = collect(sheet, &rules, site1, site2, most, pairs);
    give_back(view, sheet, own);
    *out = pairs;
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
