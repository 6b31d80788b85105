/* SPDX-License-Identifier: MIT */
/* pairs: pages of pairs. */
#include "server/rules/pairs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/wire/field.h"

#define PIECE (LIST_LIMIT_MAX + 1)

void pair_page_release(struct pair_page *page) {
    free(page->items);
    *page = (struct pair_page){0};
}

/* The cursor is "site1/site2" of the last pair shown; an empty one leaves the start. */
static int read_cursor(const char *after, char *site1, char *site2, struct err *err) {
    const char *slash = strchr(after, '/');
    if (after[0] == '\0')
        return 0;
    if (!slash || slash - after > ID_MAX || strlen(slash + 1) > ID_MAX)
        goto refuse;
    snprintf(site1, ID_MAX + 1, "%.*s", (int)(slash - after), after);
    snprintf(site2, ID_MAX + 1, "%s", slash + 1);
    if (field_is_id(site1) && field_is_id(site2))
        return 0;
refuse:
    return err_set(err, ERR_BAD_QUERY, "cursor",
                   "that is not a cursor; take next_cursor of the page before");
}

/* Pairs behind two identifiers, up to so many, a piece at a time: nobody waits for the
 * book longer than for one. */
static int gather(const struct book_view *view, const struct day_row *day, const char *after1,
                  const char *after2, size_t most, struct pair_page *page, struct err *err) {
    bool is_more = true;
    while (is_more && page->count < most) {
        const struct pair_record *last = page->count > 0 ? &page->items[page->count - 1] : NULL;
        const size_t ask = most - page->count < PIECE ? most - page->count : PIECE;
        struct pair_record *piece;
        size_t count;
        if (book_pairs_after(view, day, last ? last->site1 : after1, last ? last->site2 : after2,
                             ask, &piece, &count, err))
            return -1;
        struct pair_record *grown =
            realloc(page->items, (page->count + count + 1) * sizeof *page->items);
        if (grown) {
            memcpy(grown + page->count, piece, count * sizeof *piece);
            page->items = grown;
            page->count += count;
        }
        free(piece);
        if (!grown)
            return err_set(err, ERR_INTERNAL, NULL, "out of memory");
        is_more = count == ask;
    }
    return 0;
}

int pair_list(const struct book_view *view, const char *day, const char *after, size_t limit,
              struct pair_page *out, struct err *err) {
    const size_t most = limit == LIST_LIMIT_ALL ? PAIR_LIST_MOST + 1 : limit + 1;
    struct pair_page page = {0};
    struct day_row row;
    char site1[ID_MAX + 1] = "", site2[ID_MAX + 1] = "";
    if (lookup_day(view->db, day, &row, err) || read_cursor(after, site1, site2, err))
        return -1;
    if (gather(view, &row, site1, site2, most, &page, err)) {
        pair_page_release(&page);
        return -1;
    }
    if (limit == LIST_LIMIT_ALL && page.count == most) {
        pair_page_release(&page);
        return err_set(err, ERR_OUT_OF_RANGE, NULL,
                       "the day has more than %d pairs: take them page by page", PAIR_LIST_MOST);
    }
    if (list_more(limit, &page.count)) {
        const struct pair_record *last = &page.items[page.count - 1];
        snprintf(page.next, sizeof page.next, "%s/%s", last->site1, last->site2);
    }
    *out = page;
    return 0;
}

int pair_list_of_site(const struct book_view *view, const char *day, const char *site, size_t limit,
                      struct pair_page *out, struct err *err) {
    const size_t most = limit == LIST_LIMIT_ALL ? LIST_LIMIT_MAX : limit;
    struct pair_page page = {0};
    struct day_row day_row;
    struct site_row site_row;
    struct day_noon noon;
    bool found;
    if (lookup_day(view->db, day, &day_row, err) || lookup_site(view->db, site, &site_row, err) ||
        book_noon_of(view, &day_row, site_row.id, &noon, &found, err) ||
        (found && book_pairs(view, &day_row, &noon, most, &page.items, &page.count, err)))
        return -1;
    *out = page;
    return 0;
}
