/* SPDX-License-Identifier: MIT */
/* pairs: pages of pairs. */
#include "server/rules/pairs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/derive.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/store/array.h"
#include "server/wire/field.h"

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

/* The first site whose pairs are wanted, by rank. */
static size_t first_rank(const struct day_noons *noons, const char *site1) {
    size_t rank = 0;
    while (rank < noons->count && strcmp(noons->noon[rank].site, site1) < 0)
        rank++;
    return rank;
}

/* Pairs above (site1, site2), in order, until there are as many as asked for. */
static int collect(struct day_noons *noons, const char *site1, const char *site2, int64_t ask,
                   struct pair_page *page, struct err *err) {
    for (size_t i = first_rank(noons, site1); i < noons->count; i++) {
        const bool started = strcmp(noons->noon[i].site, site1) == 0;
        const size_t *later;
        size_t count = day_noons_later(noons, i, &later);
        for (size_t k = 0; k < count; k++) {
            const struct day_noon *other = &noons->noon[later[k]];
            struct pair_record *grown;
            if (started && strcmp(other->site, site2) <= 0)
                continue;
            if ((int64_t)page->count == ask)
                return 0;
            grown = array_room(page->items, page->count, sizeof *page->items, err);
            if (!grown)
                return -1;
            page->items = grown;
            page->count +=
                day_noons_pair(&noons->noon[i], other, &noons->rules, &page->items[page->count]);
        }
    }
    return 0;
}

int pair_list(struct db *db, const char *day, const char *after, size_t limit,
              struct pair_page *out, struct err *err) {
    struct pair_page page = {0};
    struct day_noons noons = {0};
    struct day_row row;
    char site1[ID_MAX + 1] = "", site2[ID_MAX + 1] = "";
    if (lookup_day(db, day, &row, err) || read_cursor(after, site1, site2, err) ||
        derive_noons(db, &row, &noons, err))
        return -1;
    int result = collect(&noons, site1, site2, list_ask(limit), &page, err);
    day_noons_release(&noons);
    if (result) {
        pair_page_release(&page);
        return -1;
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
