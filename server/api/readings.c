/* SPDX-License-Identifier: MIT */
/* readings: a whole day's readings as one spreadsheet, out and in. */
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/accept.h"
#include "server/rules/runs.h"
#include "server/rules/sites.h"
#include "server/wire/record_read.h"
#include "server/wire/spreadsheet.h"

int get_readings_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct run_page runs;
    struct csv_writer csv;
    int status = 0;
    if (run_list(lookup->db, NULL, exchange->request.param[0], "", LIST_LIMIT_ALL, &runs, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    sheet_write_readings_header(&csv);
    for (size_t i = 0; i < runs.count && status == 0; i++) {
        const struct run_view *view = &runs.items[i];
        struct run_record run;
        struct err ours = {0};
        if (record_read_run(view->body, view->body_length, &run, &ours) == 0)
            sheet_write_run(&csv, view->site, &run.run);
        else
            status = err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s",
                             (long long)view->run, ours.text);
    }
    run_page_release(&runs);
    return status;
}

struct reading_sheet {
    struct caller caller;
    struct sheet_readings readings;
};

static void reading_sheet_release(void *carried) {
    struct reading_sheet *sheet = carried;
    sheet_readings_release(&sheet->readings);
}

int post_readings_csv_check(const struct lookup *lookup, struct exchange *exchange,
                            struct err *err) {
    const struct request *request = &exchange->request;
    struct reading_sheet *sheet =
        exchange_carry(exchange, sizeof *sheet, reading_sheet_release, err);
    if (sheet == NULL || exchange_caller(lookup, exchange, &sheet->caller, err) != 0 ||
        caller_may(&sheet->caller, ROLE_ORGANISER, NULL, err) != 0)
        return -1;
    return sheet_read_readings(request->body, request->body_length, &sheet->readings, err);
}

int post_readings_csv(struct change *change, struct exchange *exchange, struct err *err) {
    const struct reading_sheet *sheet = exchange->carried;
    struct run_import import;
    struct json_writer json;
    if (accept_import(change, &sheet->caller, exchange->request.param[0], &sheet->readings,
                      exchange->request.now_utc_s, &import, err) != 0)
        return -1;
    exchange->response.status = 201;
    render_json(&exchange->response, &json);
    int64_t count[] = {[RUN_IMPORT_NEW] = 0, [RUN_IMPORT_REPLACED] = 0, [RUN_IMPORT_UNCHANGED] = 0};
    for (size_t i = 0; i < import.count; i++)
        count[import.items[i].fate]++;
    json_write_integer(&json, "runs", (int64_t)import.count);
    json_write_integer(&json, "new", count[RUN_IMPORT_NEW]);
    json_write_integer(&json, "replaced", count[RUN_IMPORT_REPLACED]);
    json_write_integer(&json, "unchanged", count[RUN_IMPORT_UNCHANGED]);
    json_write_array(&json, "reductions");
    for (size_t i = 0; i < import.count; i++)
        if (import.items[i].fate != RUN_IMPORT_UNCHANGED)
            json_write_raw(&json, NULL, import.items[i].reduction_json,
                           strlen(import.items[i].reduction_json));
    json_write_end(&json);
    json_write_end(&json);
    run_import_release(&import);
    return 0;
}
