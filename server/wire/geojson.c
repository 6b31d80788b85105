/* SPDX-License-Identifier: MIT */
/* geojson: written like any other JSON, with RFC 7946's names. */
#include "server/wire/geojson.h"

#include "server/wire/json_write.h"

static void write_position(struct json_writer *json, const struct place *place) {
    json_write_array(json, "coordinates");
    json_write_real(json, NULL, place->lon_deg);
    json_write_real(json, NULL, place->lat_deg);
    json_write_real(json, NULL, place->elevation_m);
    json_write_end(json);
}

static void open_feature(struct json_writer *json, const struct site_record *site) {
    json_write_object(json, NULL);
    json_write_text(json, "type", "Feature");
    json_write_text(json, "id", site->site);
    json_write_object(json, "geometry");
    json_write_text(json, "type", "Point");
    write_position(json, &site->place);
    json_write_end(json);
    json_write_object(json, "properties");
    json_write_text(json, "site", site->site);
    json_write_text(json, "name", site->name);
}

static void close_feature(struct json_writer *json) {
    json_write_end(json);
    json_write_end(json);
}

static void open_collection(struct json_writer *json, struct text *text) {
    json_write_init(json, text);
    json_write_object(json, NULL);
    json_write_text(json, "type", "FeatureCollection");
    json_write_array(json, "features");
}

static void close_collection(struct json_writer *json) {
    json_write_end(json);
    json_write_end(json);
}

static void write_site(struct json_writer *json, const struct site_record *site) {
    open_feature(json, site);
    json_write_text_or_null(json, "zone", site->zone);
    json_write_real(json, "gnomon_mm", site->gnomon_mm);
    json_write_text(json, "edge", edge_name(site->edge));
    if (site->position_decimals >= POSITION_DECIMALS_MIN)
        json_write_integer(json, "position_decimals", site->position_decimals);
    else
        json_write_null(json, "position_decimals");
    close_feature(json);
}

void geojson_write_sites(struct text *text, const struct site_record *sites, size_t count) {
    struct json_writer json;
    open_collection(&json, text);
    for (size_t i = 0; i < count; i++)
        write_site(&json, &sites[i]);
    close_collection(&json);
}

void geojson_write_noons(struct text *text, const struct site_record *sites,
                         const struct reduction_record *rows, size_t count) {
    struct json_writer json;
    open_collection(&json, text);
    for (size_t i = 0; i < count; i++) {
        const bool ok = rows[i].status == REDUCE_OK;
        open_feature(&json, &sites[i]);
        json_write_integer(&json, "run", rows[i].run);
        json_write_text(&json, "status", reduce_status_name(rows[i].status));
        json_write_bool(&json, "counts", rows[i].counts);
        json_write_instant(&json, "transit_utc", rows[i].transit_utc_s, 3);
        json_write_real(&json, "noon_angle_deg", rows[i].noon_angle_deg);
        json_write_real(&json, "sigma_deg", rows[i].sigma_deg);
        json_write_text(&json, "estimator", ok ? estimator_name(rows[i].published) : NULL);
        json_write_integer(&json, "used", rows[i].used);
        json_write_integer(&json, "left_out", rows[i].left_outs);
        close_feature(&json);
    }
    close_collection(&json);
}
