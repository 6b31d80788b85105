/* SPDX-License-Identifier: MIT */
/* lookup: found or not found. */
#include "server/rules/lookup.h"

static int answer(enum found found, const char *what, struct err *err) {
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no such %s", what);
    return found == FOUND_ONE ? 0 : -1;
}

int lookup_day(struct db *db, const char *day, struct day_row *out, struct err *err) {
    return answer(day_rows_find(db, day, out, err), "day", err);
}

int lookup_site(struct db *db, const char *site, struct site_row *out, struct err *err) {
    return answer(site_rows_find(db, site, out, err), "site", err);
}

int lookup_run(struct db *db, int64_t run, struct run_row *out, struct err *err) {
    return answer(run_rows_get(db, run, out, err), "run", err);
}
