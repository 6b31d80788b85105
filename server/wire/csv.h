/* SPDX-License-Identifier: MIT */
/* csv: RFC 4180 and nothing of what is in it. Reading: comma-separated, or by the
 * semicolons or tabs that spreadsheets write where the comma is the decimal sign
 * (the header tells: it has no comma then); rows end in CRLF or LF, cells may be
 * quoted, a UTF-8 byte order mark is skipped, rows without any content are passed
 * over. Rows count as a spreadsheet counts them, the header being row 1. Time and
 * memory are linear in the input. */
#ifndef NOONARC_CSV_H
#define NOONARC_CSV_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/base/text.h"

#define CSV_COLUMNS_MAX 32

struct csv_cell {
    char *text; /* NUL-terminated, unquoted, inside the reader's copy */
    size_t length;
};

struct csv_reader {
    char *bytes; /* owned copy of the input, cut up in place */
    char *next, *end;
    size_t row;     /* of the row last read, from 1 */
    size_t columns; /* of the header; 0 before it was read */
    char separator; /* ',', ';' or a tab */
    struct csv_cell cell[CSV_COLUMNS_MAX];
};

/* Copies the input. ERR_BAD_CSV when it holds a NUL or is UTF-16. The reader is to
 * be released whatever the outcome. */
int csv_reader_init(struct csv_reader *reader, const char *bytes, size_t length, struct err *err)
    __attribute__((warn_unused_result));
void csv_reader_release(struct csv_reader *reader);

/* Reads the next row into reader->cell, valid until the reader is released. The
 * first row sets the number of columns, which all others must have. Returns 1,
 * 0 at the end, -1 with ERR_BAD_CSV and field "row N" on bad quoting, a lone
 * carriage return or a wrong number of cells. */
int csv_reader_next(struct csv_reader *reader, struct err *err) __attribute__((warn_unused_result));

struct csv_writer {
    struct text *text; /* borrowed; check text->failed once at the end */
    bool begun;        /* a cell stands in the current row */
};

void csv_writer_init(struct csv_writer *csv, struct text *text);
void csv_write_text(struct csv_writer *csv, const char *utf8);
void csv_write_real(struct csv_writer *csv, double value); /* empty when not finite */
void csv_write_integer(struct csv_writer *csv, long long value);
void csv_write_instant(struct csv_writer *csv, double t_utc_s, int decimals);
void csv_write_row_end(struct csv_writer *csv); /* CRLF */

#endif
