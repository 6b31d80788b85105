/* SPDX-License-Identifier: MIT */
/* partners: choosing for all, and looking at who has whom. Offers: partners_offer.c. */
#include "server/rules/partners.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/rules/partners_now.h"
#include "server/store/array.h"
#include "server/store/sky_rows.h"

void partnering_release(struct partnering *partnering) {
    free(partnering->hands);
    free(partnering->sites);
    matching_release(&partnering->matching);
    *partnering = (struct partnering){0};
}

static int by_identifier(const void *left, const void *right) {
    const struct hand *a = left, *b = right;
    return strcmp(a->record.site, b->record.site);
}

int partnering_load(struct db *db, struct almanac *almanac, const struct caller *caller,
                    const char *day, struct partnering *out, struct err *err) {
    struct partnering partnering = {0};
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        lookup_any_day(db, day, &partnering.day, err) ||
        day_state_check(partnering.day.record.state, DAY_ACT_MEASURE, err) ||
        partner_rows_hands(db, partnering.day.id, -180.0, 180.0, &partnering.hands,
                           &partnering.count, err))
        goto cleanup;
    if (partnering.count > 0)
        qsort(partnering.hands, partnering.count, sizeof *partnering.hands, by_identifier);
    partnering.sites = calloc(partnering.count + 1, sizeof *partnering.sites);
    if (!partnering.sites) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < partnering.count; i++)
        if (partners_match_site(almanac, &partnering.day.record, &partnering.hands[i].record,
                                &partnering.sites[i], err))
            goto cleanup;
    *out = partnering;
    return 0;
cleanup:
    partnering_release(&partnering);
    return -1;
}

int partnering_choose(struct partnering *partnering, struct err *err) {
    const struct match_rules rules = partners_rules(&partnering->day.record);
    return matching_make(partnering->sites, partnering->count, &rules, &partnering->matching, err);
}

static int record_links(struct db *db, const struct partnering *partnering, int64_t chosen,
                        double now_utc_s, struct err *err) {
    const struct matching *matching = &partnering->matching;
    int64_t id;
    size_t link = 0;
    if (partner_rows_next_id(db, &id, err))
        return -1;
    for (size_t i = 0; i < partnering->count; i++) {
        struct partner_row row = {
            .site = partnering->hands[i].site, .kind = PARTNER_ASSIGNED, .partnering = chosen};
        bool alone = link == matching->links || matching->link[link].site != i;
        if (alone && partner_rows_add(db, id++, partnering->day.id, &row, now_utc_s, err))
            return -1;
        size_t end = link;
        while (end < matching->links && matching->link[end].site == i)
            end++;
        /* The best last: the newest is looked at first. */
        for (size_t k = end; k > link; k--) {
            row.partner = partnering->hands[matching->link[k - 1].partner].site;
            row.expected_sigma_km = matching->link[k - 1].sigma_km;
            if (partner_rows_add(db, id++, partnering->day.id, &row, now_utc_s, err))
                return -1;
        }
        link = end;
    }
    return 0;
}

int partnering_record(struct change *change, const struct caller *caller,
                      const struct partnering *partnering, double now_utc_s, struct err *err) {
    struct db *db = change_db(change);
    struct day_row day;
    int64_t chosen;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        lookup_any_day(db, partnering->day.record.day, &day, err) ||
        day_state_check(day.record.state, DAY_ACT_MEASURE, err) ||
        partner_rows_choose(db, day.id, MATCHING_METHOD, caller->credential, now_utc_s, &chosen,
                            err) ||
        record_links(db, partnering, chosen, now_utc_s, err) ||
        audit_note(change, caller, "partners.choose", audit_subject("days/%s", day.record.day).text,
                   NULL, now_utc_s, err))
        return -1;
    const struct notice notice = {.kind = NOTICE_PARTNER,
                                  .day = day.id,
                                  .offer = partner_kind_name(PARTNER_ASSIGNED),
                                  .expected_sigma_km = NAN};
    change_notice(change, &notice);
    return 0;
}

static int describe(struct db *db, int64_t day, const struct partner_row *row,
                    struct partner_record *out, struct err *err) {
    struct site_row because;
    *out = (struct partner_record){.kind = row->kind, .expected_sigma_km = row->expected_sigma_km};
    if (sky_rows_line(db, day, row->partner, &out->partner, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "a partner vanished");
    if (row->because == 0)
        return 0;
    if (site_rows_get(db, row->because, &because, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "a site vanished");
    memcpy(out->because, because.record.site, sizeof out->because);
    return 0;
}

static int view(struct db *db, int64_t day, int64_t site, struct partners_record *out,
                struct err *err) {
    struct partner_row row[PARTNERS_MAX];
    struct site_row self;
    *out = (struct partners_record){.count = 0};
    if (site_rows_get(db, site, &self, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "a site vanished");
    memcpy(out->site, self.record.site, sizeof out->site);
    memcpy(out->name, self.record.name, sizeof out->name);
    if (partners_now(db, day, site, row, &out->count, err))
        return -1;
    for (int i = 0; i < out->count; i++)
        if (describe(db, day, &row[i], &out->item[i], err))
            return -1;
    return 0;
}

int partners_of(struct db *db, const char *day, const char *site, struct partners_record *out,
                struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    struct standing standing;
    if (lookup_day(db, day, &day_row, err) || lookup_site(db, site, &site_row, err) ||
        day_rows_standing(db, day_row.id, site_row.id, &standing, err))
        return -1;
    if (standing.stand != STAND_TAKEN)
        return err_set(err, ERR_NOT_TAKING_PART, NULL, "%s does not take part in that day", site);
    return view(db, day_row.id, site_row.id, out, err);
}

void partners_page_release(struct partners_page *page) {
    free(page->items);
    *page = (struct partners_page){0};
}

int partners_list(struct db *db, const char *day, const char *after, size_t limit,
                  struct partners_page *out, struct err *err) {
    struct partners_page page = {.chosen_utc_s = NAN};
    struct day_row row;
    int64_t *sites = NULL, chosen;
    int result = -1;
    if (lookup_day(db, day, &row, err) ||
        partner_rows_chosen(db, row.id, &chosen, &page.chosen_utc_s, err) == FOUND_FAILED ||
        partner_rows_sites(db, row.id, after, list_ask(limit), &sites, &page.count, err))
        return -1;
    bool more = list_more(limit, &page.count);
    page.items = calloc(page.count + 1, sizeof *page.items);
    if (!page.items) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < page.count; i++)
        if (view(db, row.id, sites[i], &page.items[i], err))
            goto cleanup;
    if (more)
        memcpy(page.next, page.items[page.count - 1].site, sizeof page.next);
    *out = page;
    page.items = NULL;
    result = 0;
cleanup:
    free(sites);
    free(page.items);
    return result;
}
