/* SPDX-License-Identifier: MIT */
/* row_errors: gathered, summed up, told. */
#include "server/wire/row_errors.h"

void row_errors_add(struct row_errors *errors, const struct err *row) {
    if (errors->count < ROW_ERRORS_MAX)
        errors->item[errors->count] = *row;
    errors->count++;
}

int row_errors_refuse(const struct row_errors *errors, size_t rows, struct err *err) {
    return err_set(err, ERR_ROWS, errors->item[0].field,
                   "%zu of %zu rows are wrong and nothing was taken; the first: %s", errors->count,
                   rows, errors->item[0].text);
}

void row_errors_write(struct json_writer *json, const struct row_errors *errors) {
    size_t told = errors->count < ROW_ERRORS_MAX ? errors->count : ROW_ERRORS_MAX;
    json_write_array(json, NULL);
    for (size_t i = 0; i < told; i++) {
        json_write_object(json, NULL);
        json_write_text(json, "field", errors->item[i].field);
        json_write_text(json, "code", err_name(errors->item[i].code));
        json_write_text(json, "detail", errors->item[i].text);
        json_write_end(json);
    }
    json_write_end(json);
}
