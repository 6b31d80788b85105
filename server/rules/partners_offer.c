/* SPDX-License-Identifier: MIT */
/* partners_offer: another partner, at once. Candidates come along the index of
 * longitudes, are sorted by expected sigma, and are asked after one by one until one is
 * free: so a report of cloud costs what its own meridian costs, and never more than
 * LOOKED_AT_MAX questions, for the writer asks them. A free one beyond so many better
 * ones that are not is no great partner, and not looked for. */
#include <stdlib.h>
#include <string.h>

#include "server/rules/partners.h"
#include "server/rules/partners_now.h"

/* A position is let out rounded to a tenth of a degree at the coarsest. */
#define LET_OUT_DEG 0.05
#define LOOKED_AT_MAX 400

struct candidate {
    int64_t site;
    char id[ID_MAX + 1];
    double sigma_km;
};

struct candidates {
    struct candidate *item; /* best first; owned */
    size_t count;
};

struct offer {
    struct change *change;
    const struct day_row *day;
    int64_t because; /* site, 0 none, with the next */
    const char *because_id;
    double now_utc_s;
};

static int best_first(const void *left, const void *right) {
    const struct candidate *a = left, *b = right;
    if (a->sigma_km != b->sigma_km)
        return a->sigma_km < b->sigma_km ? -1 : 1;
    return strcmp(a->id, b->id);
}

static int load_hands(struct db *db, const struct day_row *day, double lon_deg, struct hand **hands,
                      size_t *count, struct err *err) {
    const double reach_deg = day->record.lon_tolerance_deg + LET_OUT_DEG;
    const double low_deg = lon_deg - reach_deg, high_deg = lon_deg + reach_deg;
    if (partner_rows_near(db, low_deg, high_deg, hands, count, err))
        return -1;
    if (low_deg < -180.0)
        return partner_rows_near(db, low_deg + 360.0, 180.0, hands, count, err);
    if (high_deg > 180.0)
        return partner_rows_near(db, -180.0, high_deg - 360.0, hands, count, err);
    return 0;
}

static int find_candidates(const struct offer *offer, const struct site_row *site,
                           struct candidates *out, struct err *err) {
    const struct match_rules rules = partners_rules(&offer->day->record);
    struct almanac *almanac = change_almanac(offer->change);
    struct match_site self, other;
    struct hand *hands = NULL;
    size_t count = 0;
    int result = -1;
    if (load_hands(change_db(offer->change), offer->day, site->record.place.lon_deg, &hands, &count,
                   err) ||
        partners_match_site(almanac, &offer->day->record, &site->record, &self, err))
        goto cleanup;
    out->item = malloc((count + 1) * sizeof *out->item);
    if (!out->item) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < count; i++) {
        struct candidate *candidate = &out->item[out->count];
        if (partners_match_site(almanac, &offer->day->record, &hands[i].record, &other, err))
            goto cleanup;
        if (hands[i].site == site->id ||
            !match_allowed(&self, &other, &rules, &candidate->sigma_km))
            continue;
        candidate->site = hands[i].site;
        memcpy(candidate->id, hands[i].record.site, sizeof candidate->id);
        out->count++;
    }
    qsort(out->item, out->count, sizeof *out->item, best_first);
    result = 0;
cleanup:
    free(hands);
    return result;
}

/* Whether a site has a partner who can go on. */
static int is_served(struct db *db, int64_t day, int64_t site, bool *out, struct err *err) {
    struct partner_row row[PARTNERS_MAX];
    int count;
    *out = false;
    if (partners_now(db, day, site, row, &count, err))
        return -1;
    for (int i = 0; i < count && !*out; i++)
        if (partner_rows_is_up(db, day, row[i].partner, out, err))
            return -1;
    return 0;
}

static int record(const struct offer *offer, const struct site_row *site,
                  const struct candidate *partner, enum partner_kind kind, struct err *err) {
    struct db *db = change_db(offer->change);
    int64_t id;
    struct partner_row row = {.site = site->id,
                              .partner = partner->site,
                              .kind = kind,
                              .because = offer->because,
                              .expected_sigma_km = partner->sigma_km};
    struct notice notice = {.kind = NOTICE_PARTNER,
                            .day = offer->day->id,
                            .offer = partner_kind_name(kind),
                            .expected_sigma_km = partner->sigma_km};
    if (partner_rows_next_id(db, &id, err) ||
        partner_rows_add(db, id, offer->day->id, &row, offer->now_utc_s, err))
        return -1;
    memcpy(notice.site, site->record.site, sizeof notice.site);
    memcpy(notice.partner, partner->id, sizeof notice.partner);
    memcpy(notice.because, offer->because_id, strlen(offer->because_id) + 1);
    change_notice(offer->change, &notice);
    /* And the other way. */
    row.site = partner->site;
    row.partner = site->id;
    memcpy(notice.site, partner->id, sizeof notice.site);
    memcpy(notice.partner, site->record.site, sizeof notice.partner);
    change_notice(offer->change, &notice);
    return partner_rows_add(db, id + 1, offer->day->id, &row, offer->now_utc_s, err);
}

/* The best free one; else the best of all, as a second. Nobody can: nothing. */
static int make(const struct offer *offer, const struct site_row *site, struct err *err) {
    struct db *db = change_db(offer->change);
    struct candidates candidates = {0};
    const struct candidate *free_one = NULL, *any = NULL;
    int result = -1;
    if (find_candidates(offer, site, &candidates, err))
        goto cleanup;
    for (size_t i = 0, looked = 0; i < candidates.count && !free_one && looked < LOOKED_AT_MAX;
         i++) {
        const struct candidate *candidate = &candidates.item[i];
        bool up, served;
        if (partner_rows_is_up(db, offer->day->id, candidate->site, &up, err))
            goto cleanup;
        if (!up)
            continue;
        looked++;
        if (is_served(db, offer->day->id, candidate->site, &served, err))
            goto cleanup;
        if (!served)
            free_one = candidate;
        any = any ? any : candidate;
    }
    result = free_one ? record(offer, site, free_one, PARTNER_OFFERED, err)
             : any    ? record(offer, site, any, PARTNER_SECOND, err)
                      : 0;
cleanup:
    free(candidates.item);
    return result;
}

static int make_if_needed(const struct offer *offer, int64_t site, struct err *err) {
    struct db *db = change_db(offer->change);
    struct site_row row;
    bool up, served;
    if (partner_rows_is_up(db, offer->day->id, site, &up, err) ||
        is_served(db, offer->day->id, site, &served, err))
        return -1;
    if (!up || served)
        return 0;
    if (site_rows_get(db, site, &row, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "a site vanished");
    return make(offer, &row, err);
}

static int were_chosen(struct db *db, int64_t day, bool *out, struct err *err) {
    int64_t chosen;
    double at_utc_s;
    enum found found = partner_rows_chosen(db, day, &chosen, &at_utc_s, err);
    *out = found == FOUND_ONE;
    return found == FOUND_FAILED ? -1 : 0;
}

int partners_lost(struct change *change, const struct day_row *day, const struct site_row *site,
                  double now_utc_s, struct err *err) {
    const struct offer offer = {.change = change,
                                .day = day,
                                .because = site->id,
                                .because_id = site->record.site,
                                .now_utc_s = now_utc_s};
    struct db *db = change_db(change);
    struct partner_row row[PARTNERS_MAX];
    int count;
    bool chosen, up;
    if (were_chosen(db, day->id, &chosen, err))
        return -1;
    if (!chosen)
        return 0;
    /* One that handed in before the cloud came has done its part. */
    if (partner_rows_is_up(db, day->id, site->id, &up, err) ||
        partners_now(db, day->id, site->id, row, &count, err))
        return -1;
    for (int i = 0; i < count && !up; i++)
        if (make_if_needed(&offer, row[i].partner, err))
            return -1;
    return 0;
}

int partners_back(struct change *change, const struct day_row *day, const struct site_row *site,
                  double now_utc_s, struct err *err) {
    const struct offer offer = {
        .change = change, .day = day, .because_id = "", .now_utc_s = now_utc_s};
    bool chosen;
    if (were_chosen(change_db(change), day->id, &chosen, err))
        return -1;
    return chosen ? make_if_needed(&offer, site->id, err) : 0;
}
