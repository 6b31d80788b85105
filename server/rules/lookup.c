/* SPDX-License-Identifier: MIT */
/* lookup: found or not found. */
#include "server/rules/lookup.h"

static int answer(enum found found, const char *what, struct err *err) {
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no such %s", what);
    return found == FOUND_ONE ? 0 : -1;
}

int lookup_any_day(struct db *db, const char *day, struct day_row *out, struct err *err) {
    return answer(day_rows_find(db, day, out, err), "day", err);
}

int lookup_day(struct db *db, const char *day, struct day_row *out, struct err *err) {
    enum found found = day_rows_find(db, day, out, err);
    if (found == FOUND_ONE && out->record.state == DAY_PLANNED)
        found = FOUND_NONE;
    return answer(found, "day", err);
}

int lookup_day_as(struct db *db, const struct caller *caller, const char *day, struct day_row *out,
                  struct err *err) {
    return caller->role == ROLE_ORGANISER ? lookup_any_day(db, day, out, err)
                                          : lookup_day(db, day, out, err);
}

int lookup_season(struct db *db, const char *season, struct season_row *out, struct err *err) {
    return answer(season_rows_find(db, season, out, err), "season", err);
}

int lookup_site(struct db *db, const char *site, struct site_row *out, struct err *err) {
    return answer(site_rows_find(db, site, out, err), "site", err);
}

int lookup_run(struct db *db, int64_t run, struct run_row *out, struct err *err) {
    return answer(run_rows_get(db, run, out, err), "run", err);
}
