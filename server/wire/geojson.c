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

static void write_site(struct json_writer *json, const struct site_record *site) {
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
    json_write_text_or_null(json, "zone", site->zone);
    json_write_real(json, "gnomon_mm", site->gnomon_mm);
    json_write_text(json, "edge", edge_name(site->edge));
    if (site->position_decimals >= POSITION_DECIMALS_MIN)
        json_write_integer(json, "position_decimals", site->position_decimals);
    else
        json_write_null(json, "position_decimals");
    json_write_end(json);
    json_write_end(json);
}

void geojson_write_sites(struct text *text, const struct site_record *sites, size_t count) {
    struct json_writer json;
    json_write_init(&json, text);
    json_write_object(&json, NULL);
    json_write_text(&json, "type", "FeatureCollection");
    json_write_array(&json, "features");
    for (size_t i = 0; i < count; i++)
        write_site(&json, &sites[i]);
    json_write_end(&json);
    json_write_end(&json);
}
