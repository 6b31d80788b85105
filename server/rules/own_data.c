/* SPDX-License-Identifier: MIT */
#include "server/rules/own_data.h"

#include <stdlib.h>

#include "server/rules/lookup.h"
#include "server/store/audit_rows.h"
#include "server/store/happening_rows.h"
#include "server/store/review_rows.h"

void own_data_release(struct own_data *data) {
    for (size_t i = 0; i < data->runs; i++)
        run_view_release(&data->run[i]);
    free(data->run);
    free(data->version);
    free(data->review);
    free(data->happening);
    free(data->line);
    *data = (struct own_data){.run = NULL};
}

static int gather_runs(struct db *db, struct almanac *almanac, int64_t site, struct own_data *data,
                       struct err *err) {
    struct run_row *rows = NULL;
    size_t count = 0;
    if (run_rows_list(db, site, 0, INT64_MAX, &rows, &count, err))
        return -1;
    data->run = calloc(count + 1, sizeof *data->run);
    int failed = data->run ? 0 : err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count && !failed; i++) {
        failed = run_get(db, almanac, rows[i].id, &data->run[i], err);
        data->runs += !failed;
    }
    run_rows_release(rows, count);
    return failed ? -1 : 0;
}

int own_data_gather(struct db *db, struct almanac *almanac, const struct caller *caller,
                    const char *site, struct own_data *out, struct err *err) {
    struct own_data data = {.run = NULL};
    struct site_row row;
    if (caller_may(caller, ROLE_SCHOOL, site, err) || lookup_site(db, site, &row, err))
        return -1;
    data.site = row.record;
    if (site_rows_versions(db, row.id, &data.version, &data.versions, err) ||
        gather_runs(db, almanac, row.id, &data, err) ||
        review_rows_of_runs_of(db, row.id, &data.review, &data.reviews, err) ||
        happening_rows_list(db, row.id, &data.happening, &data.happenings, err) ||
        audit_rows_about(db, row.id, site, &data.line, &data.lines, err)) {
        own_data_release(&data);
        return -1;
    }
    *out = data;
    return 0;
}
