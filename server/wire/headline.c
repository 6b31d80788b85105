/* SPDX-License-Identifier: MIT */
#include "server/wire/headline.h"

#include <math.h>
#include <stdio.h>

#include "server/wire/json_tree.h"

static double real_or_nan(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

int headline_read(const char *json, size_t length, struct headline *out, struct err *err) {
    json_t *result = NULL;
    if (json_tree_read(json, length, &result, err) != 0)
        return -1;
    const char *status = json_string_value(json_object_get(result, "status"));
    if (status == NULL) {
        json_decref(result);
        return err_set(err, ERR_BAD_JSON, "/status", "that is not a day's result");
    }
    *out = (struct headline){
        .sites = (int)json_integer_value(json_object_get(result, "sites")),
        .circumference_km = real_or_nan(result, "circumference_km"),
        .sigma_km = real_or_nan(result, "sigma_km"),
    };
    snprintf(out->status, sizeof out->status, "%s", status);
    json_decref(result);
    return 0;
}

void headline_write(struct json_writer *json, const char *key, const struct headline *headline) {
    json_write_object(json, key);
    json_write_text(json, "status", headline->status);
    json_write_integer(json, "sites", headline->sites);
    json_write_real(json, "circumference_km", headline->circumference_km);
    json_write_real(json, "sigma_km", headline->sigma_km);
    json_write_end(json);
}
