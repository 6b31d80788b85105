/* SPDX-License-Identifier: MIT */
/* invitations: codes are made and kept as keys are: by their hash alone. */
#include "server/rules/invitations.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/audit.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/rules/secret.h"
#include "server/store/invitation_rows.h"

void invited_release(struct invited *invited) {
    if (invited->codes)
        explicit_bzero(invited->codes, invited->count * sizeof *invited->codes);
    free(invited->codes);
    *invited = (struct invited){0};
}

void invitation_page_release(struct invitation_page *page) {
    free(page->items);
    *page = (struct invitation_page){0};
}

static int by_school(const void *left, const void *right) {
    const struct invitation_record *a = left, *b = right;
    int order = strcmp(a->name, b->name);
    return order != 0 ? order : strcmp(a->contact, b->contact);
}

/* A school invited before would get a second code. */
static int find_invited(struct db *db, const struct season_row *season,
                        const struct invitation_sheet *sheet, struct row_errors *errors,
                        struct err *err) {
    struct invitation_record *before = NULL;
    size_t count = 0;
    if (invitation_rows_list(db, season->id, 0, INT64_MAX, &before, &count, err))
        return -1;
    if (count > 0)
        qsort(before, count, sizeof *before, by_school);
    for (size_t i = 0; i < sheet->count && count > 0; i++) {
        const struct invited_school *row = &sheet->rows[i];
        struct invitation_record wanted = {.id = 0};
        memcpy(wanted.name, row->name, sizeof wanted.name);
        memcpy(wanted.contact, row->contact, sizeof wanted.contact);
        if (!bsearch(&wanted, before, count, sizeof *before, by_school))
            continue;
        struct err wrong = {.code = ERR_NONE};
        char place[48];
        snprintf(place, sizeof place, "row %zu, name", row->row);
        err_set(&wrong, ERR_BAD_CSV, place, "%s: \"%s\" was invited to season %s before", place,
                row->name, season->record.season);
        row_errors_add(errors, &wrong);
    }
    free(before);
    return 0;
}

static int invite_one(struct change *change, const struct caller *caller,
                      const struct season_row *season, const struct invited_school *row,
                      double now_utc_s, char code[SECRET_MAX], struct err *err) {
    char hash[HASH_HEX_MAX];
    secret_make_code(code);
    if (!secret_hash(code, hash))
        return err_set(err, ERR_INTERNAL, NULL, "a code has no hash");
    return invitation_rows_add(change_db(change), season->id, hash, row->name, row->contact,
                               caller->credential, now_utc_s, err);
}

int invite(struct change *change, const struct caller *caller, const char *season,
           const struct invitation_sheet *sheet, double now_utc_s, struct invited *out,
           struct row_errors *errors, struct err *err) {
    struct season_row season_row;
    struct invited invited = {0};
    char detail[48];
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        lookup_season(change_db(change), season, &season_row, err) ||
        (errors->count == 0 && find_invited(change_db(change), &season_row, sheet, errors, err)))
        return -1;
    if (errors->count > 0)
        return row_errors_refuse(errors, sheet->count, err);
    invited.codes = calloc(sheet->count + 1, sizeof *invited.codes);
    if (!invited.codes)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (; invited.count < sheet->count; invited.count++)
        if (invite_one(change, caller, &season_row, &sheet->rows[invited.count], now_utc_s,
                       invited.codes[invited.count].code, err))
            goto failed;
    snprintf(detail, sizeof detail, "%zu schools", sheet->count);
    if (audit_note(change, caller, "season.invite", audit_subject("seasons/%s", season).text,
                   detail, now_utc_s, err))
        goto failed;
    *out = invited;
    return 0;
failed:
    invited_release(&invited);
    return -1;
}

int invitation_use(struct change *change, const struct caller *caller, int64_t site,
                   const char *site_id, const char *code, double now_utc_s, char season[ID_MAX + 1],
                   struct err *err) {
    struct db *db = change_db(change);
    struct invitation_record row;
    char hash[HASH_HEX_MAX];
    enum found found =
        secret_hash(code, hash) ? invitation_rows_find(db, hash, &row, err) : FOUND_NONE;
    if (found == FOUND_FAILED)
        return -1;
    if (found == FOUND_NONE || row.site[0] != '\0')
        return err_set(err, ERR_WRONG_INVITATION, "/invitation",
                       "there is no such invitation, or it was used before; look at the code "
                       "again, or ask the organiser");
    if (invitation_rows_use(db, row.id, site, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "season.accept",
                   audit_subject("seasons/%s/sites/%s", row.season, site_id).text, NULL, now_utc_s,
                   err))
        return -1;
    memcpy(season, row.season, sizeof row.season);
    return 0;
}

int invitation_redeem(struct change *change, const struct caller *caller, const char *site,
                      const char *code, double now_utc_s, char season[ID_MAX + 1],
                      struct err *err) {
    struct site_row row;
    return caller_may(caller, ROLE_SCHOOL, site, err) ||
                   lookup_site(change_db(change), site, &row, err) ||
                   invitation_use(change, caller, row.id, site, code, now_utc_s, season, err)
               ? -1
               : 0;
}

int invitation_list(struct db *db, const struct caller *caller, const char *season, int64_t after,
                    size_t limit, struct invitation_page *out, struct err *err) {
    struct season_row row;
    struct invitation_page page = {0};
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) || lookup_season(db, season, &row, err) ||
        invitation_rows_list(db, row.id, after, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count))
        page.next = page.items[page.count - 1].id;
    *out = page;
    return 0;
}
