/* SPDX-License-Identifier: MIT */
/* store_fixture: a migrated store in a temporary file, an organiser, and short
 * ways to fill it with sites, a day and runs made from the Sun model with seeded
 * errors. Plumbing only: no figure of the science is judged with these. */
#ifndef NOONARC_STORE_FIXTURE_H
#define NOONARC_STORE_FIXTURE_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/text.h"
#include "server/rules/accept.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/pairs.h"
#include "server/rules/sites.h"
#include "server/store/db.h"
#include "server/wire/board.h"

#define FIXTURE_DATE "2027-03-21"
#define FIXTURE_NOW_UTC_S 1805587200.0 /* 2027-03-21T00:00:00Z */

struct fixture {
    char folder[64], path[96];
    struct db *db;
    struct almanac *almanac;
    struct book *book;
    struct change *change;
    struct caller organiser;
    char organiser_key[SECRET_MAX];
    struct err err; /* of the last call */
};

void fixture_open(struct fixture *fixture);
void fixture_close(struct fixture *fixture);  /* removes the store */
void fixture_reopen(struct fixture *fixture); /* as after a restart */

/* A transaction about one writing rule: begin, call, end(result). end commits when
 * the rule returned 0, undoes otherwise, and returns what the rule returned. */
struct err *fixture_begin(struct fixture *fixture);
struct err *fixture_begin_run(struct fixture *fixture); /* for accept_run */

/* accept_prepare as of now. */
int fixture_prepare(struct fixture *fixture, const struct submission *submission,
                    struct prepared *out, struct err *err);
int fixture_end(struct fixture *fixture, int result);

/* These assert that all goes well. */
struct site_record fixture_site_record(const char *site, double lat_deg, double lon_deg);
struct site_secrets fixture_site(struct fixture *fixture, const char *site, double lat_deg,
                                 double lon_deg);
void fixture_day(struct fixture *fixture, const char *day, const char *date);
void fixture_join(struct fixture *fixture, const char *day, const char *site);
struct caller fixture_caller(struct fixture *fixture, const char *secret);

/* A run of a place on a date as a body, 11 readings about noon. */
struct fixture_body {
    struct run_record run; /* as read back from text */
    struct text text;
};
void fixture_body(struct fixture_body *body, const char *site, const char *day,
                  const struct place *place, const char *date, uint64_t seed, int64_t supersedes);
void fixture_body_release(struct fixture_body *body);
void fixture_body_read(struct fixture_body *body); /* run from text, after text was changed */

/* Sends it: prepare and accept. Returns the run's number, or 0 with fixture->err. */
struct fixture_answer {
    char text[4096]; /* cut */
    bool replayed;
};
int64_t fixture_send(struct fixture *fixture, const struct caller *caller,
                     const struct fixture_body *body, const char *key,
                     struct fixture_answer *answer);

/* All at once, as the organiser: a body of the site's place on FIXTURE_DATE, sent.
 * The key is made from site, day and seed. */
int64_t fixture_run(struct fixture *fixture, const char *site, const char *day, uint64_t seed,
                    int64_t supersedes);

/* All rows of a question as text, reals in hexadecimal, to compare byte for byte.
 * Appended. */
void fixture_dump(struct fixture *fixture, const char *sql, struct text *out);

/* The derived tables, each in the order of its key. */
void fixture_dump_derived(struct fixture *fixture, struct text *out);

int64_t fixture_count(struct fixture *fixture, const char *sql);

/* A day's pairs, in pages as pair_list has them. */
int fixture_pairs(struct fixture *fixture, const char *day, const char *after, size_t limit,
                  struct pair_page *out);

/* What a day came to, as those are shown it who ask: the result's JSON (to be freed), the
 * leaderboard (to be released), the pairs of a site. Return what the rule did. */
int fixture_result(struct fixture *fixture, const char *day, char **json);
int fixture_board(struct fixture *fixture, const char *day, size_t limit, struct board *out,
                  struct left_out_counts *left_out);
int fixture_pairs_of_site(struct fixture *fixture, const char *day, const char *site, size_t limit,
                          struct pair_page *out);

#endif
