/* SPDX-License-Identifier: MIT */
#include "server/wire/own_data.h"

#include "server/wire/record_write.h"

void own_data_write_happening(struct json_writer *json, const struct happening *happening) {
    json_write_object(json, NULL);
    json_write_instant(json, "at_utc", happening->at_utc_s, 3);
    json_write_text(json, "what", happening->what);
    json_write_text_or_null(json, "day", happening->day);
    json_write_text(json, "said", happening->said);
    json_write_text_or_null(json, "reason", happening->reason);
    json_write_end(json);
}

void own_data_write_history(struct json_writer *json, const struct site_history *version) {
    json_write_object(json, NULL);
    json_write_instant(json, "recorded_utc", version->recorded_utc_s, 3);
    record_write_site_own(json, "site", &version->record);
    json_write_end(json);
}
