/* SPDX-License-Identifier: MIT */
/* pairs: pages of pairs. */
#include "server/rules/pairs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/store/pair_rows.h"
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
                   "That is not a cursor. Take next_cursor of the page before.");
}

int pair_list(struct db *db, const char *day, const char *after, size_t limit,
              struct pair_page *out, struct err *err) {
    struct pair_page page = {0};
    struct day_row row;
    char site1[ID_MAX + 1] = "", site2[ID_MAX + 1] = "";
    if (lookup_day(db, day, &row, err) || read_cursor(after, site1, site2, err) ||
        pair_rows_list(db, row.id, site1, site2, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count)) {
        const struct pair_record *last = &page.items[page.count - 1];
        snprintf(page.next, sizeof page.next, "%s/%s", last->site1, last->site2);
    }
    *out = page;
    return 0;
}

int pair_list_of_site(struct db *db, const char *day, const char *site, size_t limit,
                      struct pair_page *out, struct err *err) {
    struct pair_page page = {0};
    struct day_row day_row;
    struct site_row site_row;
    if (lookup_day(db, day, &day_row, err) || lookup_site(db, site, &site_row, err) ||
        pair_rows_of_site(db, day_row.id, site_row.id,
                          limit == LIST_LIMIT_ALL ? INT64_MAX : (int64_t)limit, &page.items,
                          &page.count, err))
        return -1;
    *out = page;
    return 0;
}
