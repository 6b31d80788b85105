/* SPDX-License-Identifier: MIT */
/* analysis_write: the whole outcome as one JSON document. */
#include "server/wire/analysis.h"
#include "server/wire/json_write.h"
#include "server/wire/record_write.h"

static void write_refused(struct json_writer *json, const struct pair_record *pair) {
    json_write_object(json, NULL);
    json_write_text(json, "site1", pair->site1);
    json_write_text(json, "site2", pair->site2);
    json_write_real(json, "separation_km", pair->pair.separation_km);
    json_write_text(json, "status", pair_status_name(pair->pair.status));
    json_write_text(json, "reason", pair_status_text(pair->pair.status));
    json_write_end(json);
}

void analysis_write(const struct analysis *analysis, struct text *text) {
    struct json_writer json;
    json_write_init(&json, text);
    json_write_object(&json, NULL);
    json_write_text(&json, "method", REDUCE_METHOD);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < analysis->rows; i++)
        record_write_reduction(&json, NULL, &analysis->row[i]);
    json_write_end(&json);
    json_write_array(&json, "pairs");
    for (size_t i = 0; i < analysis->pairs; i++)
        record_write_pair(&json, NULL, &analysis->pair[i]);
    json_write_end(&json);
    json_write_array(&json, "pairs_refused");
    for (size_t i = 0; i < analysis->refusals; i++)
        write_refused(&json, &analysis->refused[i]);
    json_write_end(&json);
    json_write_bool(&json, "pairs_complete", analysis->pairs_complete);
    const struct combined_record combined = {.combined = &analysis->combined,
                                             .off_line = analysis->off_line,
                                             .off_lines = analysis->off_lines,
                                             .influence = analysis->influence,
                                             .influences = analysis->influences};
    record_write_combined(&json, "combined", &combined);
    json_write_end(&json);
}
