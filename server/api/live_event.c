/* SPDX-License-Identifier: MIT */
#include "server/api/live_event.h"

#include "server/wire/json_write.h"

/* One line: the writer of JSON makes no line ends. */
static void begin(const char *kind, struct json_writer *json, struct text *out) {
    text_format(out, "event: %s\ndata: ", kind);
    json_write_init(json, out);
}

static void end(struct text *out) {
    text_put(out, "\n\n");
}

static void write_sky(const struct notice *notice, struct json_writer *json) {
    json_write_object(json, NULL);
    json_write_text(json, "site", notice->site);
    json_write_text(json, "sky", sky_name(notice->sky));
    json_write_instant(json, "reported_utc", notice->reported_utc_s, 0);
    json_write_end(json);
}

static void write_run(const struct notice *notice, struct json_writer *json) {
    json_write_object(json, NULL);
    json_write_text(json, "site", notice->site);
    if (notice->run != 0)
        json_write_integer(json, "run", notice->run);
    else
        json_write_null(json, "run");
    json_write_integer(json, "readings", notice->readings);
    json_write_end(json);
}

static void write_partner(const struct notice *notice, struct json_writer *json) {
    json_write_object(json, NULL);
    json_write_text_or_null(json, "site", notice->site);
    json_write_text_or_null(json, "partner", notice->partner);
    json_write_text(json, "kind", notice->offer);
    json_write_text_or_null(json, "because", notice->because);
    json_write_real(json, "expected_sigma_km", notice->expected_sigma_km);
    json_write_end(json);
}

void live_event_notice(const struct notice *notice, struct text *out) {
    struct json_writer json;
    switch (notice->kind) {
    case NOTICE_SKY:
        begin("sky", &json, out);
        write_sky(notice, &json);
        break;
    case NOTICE_RUN:
        begin("run", &json, out);
        write_run(notice, &json);
        break;
    case NOTICE_PARTNER:
        begin("partner", &json, out);
        write_partner(notice, &json);
        break;
    }
    end(out);
}

void live_event_result(const struct headline *headline, struct text *out) {
    struct json_writer json;
    begin("result", &json, out);
    headline_write(&json, NULL, headline);
    end(out);
}

void live_event_start(const char *day, bool missed, int retry_ms, struct text *out) {
    struct json_writer json;
    text_format(out, "retry: %d\n", retry_ms);
    begin("start", &json, out);
    json_write_object(&json, NULL);
    json_write_text(&json, "day", day);
    json_write_bool(&json, "missed", missed);
    json_write_end(&json);
    end(out);
}
