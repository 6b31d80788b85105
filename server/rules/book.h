/* SPDX-License-Identifier: MIT */
/* book: the noons that count of the days lately asked for, in memory, so that a run
 * costs its own neighbours and not a look at the whole day, and a day's figures are
 * made from memory. What is in it is always a committed state: the writer enters what
 * it committed, readers bring in days that are not there.
 *
 * A moment counts commits. A reader takes it before its view of the store begins: a
 * day that changed since is shown from the reader's view but not kept. All functions
 * may be called from any thread. */
#ifndef NOONARC_BOOK_H
#define NOONARC_BOOK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/store/day_rows.h"
#include "server/store/reduction_rows.h"
#include "server/wire/day_noons.h"

struct book;

/* NULL when memory is short. */
struct book *book_new(void);
void book_free(struct book *book);

uint64_t book_moment(struct book *book);

/* The book's record of what moved, and the days it knows. */
struct moved *book_moved(struct book *book);
struct known_days *book_days(struct book *book);

/* A reader's view: a connection held still, and the moment before it was. */
struct book_view {
    struct book *book;
    struct db *db;
    uint64_t moment;
};

/* What a commit did to one site's noon on one day. */
struct book_entry {
    int64_t day, site;    /* keys in the store */
    bool counts;          /* false: the site has no noon there any more */
    struct day_noon noon; /* noon.noon.key is the site */
};

/* Enters a commit: `touched` days changed in other ways, and are forgotten. When
 * memory is short a day is forgotten too, and read again when it is asked for. */
void book_commit(struct book *book, const int64_t *touched, size_t touched_count,
                 const struct book_entry *entries, size_t entries_count);

/* What was made of a day's noons and is kept beside them, for all who ask: never
 * changed, released by the last who holds it. */
struct figures;

/* How what is kept of a day stands to it. */
enum book_kept {
    BOOK_CURRENT, /* nothing happened to the day since */
    BOOK_BEHIND,
    BOOK_IN_MAKING /* behind, and somebody is making it anew, or will soon: see book_tend */
};

/* What is kept of a day, held for the caller (figures_release); NULL: nothing is, or
 * the day is not in the book. Days go by their identifier where that is all that is
 * known. book_claim: a day that is behind is the caller's to make anew, until book_keep
 * ends that. */
struct figures *book_kept(struct book *book, const char *day, double now_utc_s,
                          enum book_kept *how);
struct figures *book_claim(struct book *book, int64_t day, double now_utc_s, enum book_kept *how);

/* Waits until nobody is making the day's figures. */
void book_await(struct book *book, int64_t day);

/* Keeps figures (a hold of its own), made from a view of this moment; NULL: they could
 * not be made. */
void book_keep(struct book *book, int64_t day, struct figures *figures, uint64_t moment);

/* Somebody looked at figures that are kept: their day is worth keeping fresh for a while. */
#define BOOK_WATCH_S 2.0
void book_watch(struct book *book, const struct figures *figures, double now_utc_s);

/* Whether there is somebody who makes anew what is watched and behind: nobody else need
 * then. At first there is not. */
void book_tend(struct book *book, bool is_tended);

/* Of the days that are watched and behind, and not being made anew, the one that was made
 * longest ago: the caller's to make anew, until book_keep ends that. is_watched: whether
 * any day is. */
bool book_claim_watched(struct book *book, double now_utc_s, int64_t *day, bool *is_watched);

struct tally;

/* A day's tally, brought up to its noons, for whoever makes its figures anew: kept beside
 * them from one time to the next, so that what has not changed is not counted again. */
struct book_loan {
    struct tally *tally;
    uint64_t sheet; /* which sheet it follows; 0: none that is kept */
};

/* most: pairs that the tally can tell, the same every time. What was borrowed has to be
 * given back: fit for use, or not. */
int book_borrow(const struct book_view *view, const struct day_row *day, size_t most,
                struct book_loan *out, struct err *err) __attribute__((warn_unused_result));
void book_give_back(struct book *book, const struct day_row *day, struct book_loan *loan,
                    bool is_fit);

/* The pairs a noon makes with the others of its day, most certain first, equals by
 * identifier. Of many only the most certain `most` are worked out; *out is to be
 * freed. A copy of the noon's own site is no partner. */
int book_pairs(const struct book_view *view, const struct day_row *day, const struct day_noon *noon,
               size_t most, struct pair_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* A day's pairs by (site1, site2): the first `most` behind a pair of identifiers ("" is
 * before all); *out is to be freed. */
int book_pairs_after(const struct book_view *view, const struct day_row *day, const char *site1,
                     const char *site2, size_t most, struct pair_record **out, size_t *count,
                     struct err *err) __attribute__((warn_unused_result));

/* The noon of a site on a day; false where none counts. */
int book_noon_of(const struct book_view *view, const struct day_row *day, int64_t site,
                 struct day_noon *out, bool *found, struct err *err)
    __attribute__((warn_unused_result));

#endif
