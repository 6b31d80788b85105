/* SPDX-License-Identifier: MIT */
/* err: how every layer says no. A function that can fail returns 0 or -1 and
 * fills a caller-owned struct err; the first error wins, so a cleanup path may
 * call err_set again without hiding the cause. Codes are stable strings seen
 * by clients: add, never rename or reuse. The HTTP status of each code stands
 * in the same table (err.c), so that no second list can disagree. */
#ifndef NOONARC_ERR_H
#define NOONARC_ERR_H

#define ERR_CODES(X)                                                                               \
    X(ERR_NONE, "none", 200, "no error")                                                           \
    X(ERR_BAD_JSON, "bad_json", 400, "the body is not JSON")                                       \
    X(ERR_BAD_CSV, "bad_csv", 400, "the spreadsheet cannot be read")                               \
    X(ERR_BAD_QUERY, "bad_query", 400, "a query parameter is wrong")                               \
    X(ERR_BAD_HEADER, "bad_header", 400, "a request header is wrong")                              \
    X(ERR_WRONG_KEY, "wrong_key", 401, "no such key, or not for this")                             \
    X(ERR_CROSS_ORIGIN, "cross_origin", 403, "a page of another origin may not do this")           \
    X(ERR_NOT_FOUND, "not_found", 404, "there is no such thing here")                              \
    X(ERR_METHOD_NOT_ALLOWED, "method_not_allowed", 405, "this address takes other methods")       \
    X(ERR_TOO_SLOW, "too_slow", 408, "the request took too long to arrive")                        \
    X(ERR_SITE_EXISTS, "site_exists", 409, "a site of that identifier exists")                     \
    X(ERR_DAY_EXISTS, "day_exists", 409, "a day of that identifier exists")                        \
    X(ERR_RUN_EXISTS, "run_exists", 409, "the site has a run on that day")                         \
    X(ERR_RUN_NOT_CURRENT, "run_not_current", 409, "the run was corrected or withdrawn")           \
    X(ERR_SEASON_EXISTS, "season_exists", 409, "a season of that identifier exists")               \
    X(ERR_SITE_DUPLICATE, "site_duplicate", 409, "that school is registered at that place")        \
    X(ERR_DAY_STATE, "day_state", 409, "the day's state does not allow that")                      \
    X(ERR_NOT_APPROVED, "not_approved", 409, "the site is not approved for that day")              \
    X(ERR_OTHER_SEASON, "other_season", 409, "that belongs to another season")                     \
    X(ERR_NOT_TAKING_PART, "not_taking_part", 409, "the site does not take part in that day")      \
    X(ERR_NOTHING_ASKED, "nothing_asked", 409, "nothing was asked about that run")                 \
    X(ERR_ORGANISER_EXISTS, "organiser_exists", 409, "an organiser of that name exists")           \
    X(ERR_LAST_ORGANISER, "last_organiser", 409, "somebody must be left to organise")              \
    X(ERR_NOTHING_CHANGED, "nothing_changed", 409, "nothing changed since the edition before")     \
    X(ERR_NOTHING_TO_PUBLISH, "nothing_to_publish", 409, "there is nothing to publish")            \
    X(ERR_BODY_TOO_LARGE, "body_too_large", 413, "the body is too large")                          \
    X(ERR_MEDIA_TYPE, "unsupported_media_type", 415, "the body is of the wrong kind")              \
    X(ERR_MISSING_FIELD, "missing_field", 422, "a field is missing")                               \
    X(ERR_UNKNOWN_FIELD, "unknown_field", 422, "a field is not known")                             \
    X(ERR_WRONG_TYPE, "wrong_type", 422, "a field is of the wrong type")                           \
    X(ERR_OUT_OF_RANGE, "out_of_range", 422, "a field is out of range")                            \
    X(ERR_BAD_TEXT, "bad_text", 422, "a text has characters it may not have")                      \
    X(ERR_BAD_TIME, "bad_time", 422, "a time is not RFC 3339 with an offset")                      \
    X(ERR_BAD_DATE, "bad_date", 422, "a date is not YYYY-MM-DD")                                   \
    X(ERR_UNKNOWN_ZONE, "unknown_zone", 422, "there is no such time zone")                         \
    X(ERR_POSITION_SWAPPED, "position_swapped", 422, "latitude and longitude look swapped")        \
    X(ERR_LENGTHS_SWAPPED, "lengths_swapped", 422, "gnomon and shadow look swapped")               \
    X(ERR_UNIT_MISTAKEN, "unit_mistaken", 422, "lengths look as if in another unit")               \
    X(ERR_WRONG_DAY, "wrong_day", 422, "the readings are not of that day's noon")                  \
    X(ERR_IMPLAUSIBLE, "implausible_run", 422, "the readings cannot be a shadow at this site")     \
    X(ERR_NOON_UNUSABLE, "noon_unusable", 422, "noon cannot be measured there on that date")       \
    X(ERR_ROWS, "rows_wrong", 422, "rows of the spreadsheet are wrong")                            \
    X(ERR_NOT_A_SPARE_DATE, "not_a_spare_date", 422, "that is none of the day's spare dates")      \
    X(ERR_WRONG_INVITATION, "wrong_invitation", 422, "no such invitation, or it was used")         \
    X(ERR_KEY_REUSED, "idempotency_key_reused", 422,                                               \
      "that Idempotency-Key came with another body")                                               \
    X(ERR_TOO_MANY_REQUESTS, "too_many_requests", 429, "too much from one caller; go on later")    \
    X(ERR_HEAD_TOO_LARGE, "head_too_large", 431, "the headers are too large")                      \
    X(ERR_INTERNAL, "internal", 500, "something failed on our side")                               \
    X(ERR_NETWORK, "network", 502, "the server could not be reached")                              \
    X(ERR_STORAGE, "storage", 503, "the store could not be read or written")                       \
    X(ERR_BUSY, "busy", 503, "too much is waiting; try again soon")

enum err_code {
#define ERR_ENUM(code, name, status, title) code,
    ERR_CODES(ERR_ENUM)
#undef ERR_ENUM
        ERR_CODE_COUNT
};

/* field: JSON pointer ("/readings/3/time"), CSV place ("row 4, lat_deg"), query
 * parameter or command-line option; empty when the error has no single place. */
struct err {
    enum err_code code;
    char field[96];
    char text[320]; /* one plain sentence: what is wrong and what to do */
};

/* Sets err unless it holds an error already (or is NULL). Returns -1 always, so
 * that `return err_set(...)` reads as what it is. field may be NULL. What is too
 * long is cut, never within a UTF-8 character. */
int err_set(struct err *err, enum err_code code, const char *field, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Names the place of an error that has none yet, where a function knew what is wrong and
 * only its caller knows where. Returns -1 always, as err_set does. */
int err_at(struct err *err, const char *field);

/* Back to ERR_NONE, for an error that has been dealt with. */
void err_clear(struct err *err);

/* The stable name, HTTP status and short title of a code. */
const char *err_name(enum err_code code);
int err_status(enum err_code code);
const char *err_title(enum err_code code);

/* The code of a stable name, ERR_INTERNAL for an unknown one. */
enum err_code err_from_name(const char *name);

#endif
