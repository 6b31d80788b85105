/* SPDX-License-Identifier: MIT */
/* outbox: runs on their way to the server, in SQLite below the state directory
 * (noonarc/outbox.sqlite, mode 0600). A run is written here with its
 * idempotency key before the first attempt and marked after the answer, so that
 * a kill or a power cut at any point loses nothing and a second attempt, even by
 * a second client at the same time, is the same run to the server. Also kept
 * here: readings being typed in (drafts), and the last known record of a site,
 * so that angles can be worked out with no network. Secrets are not kept here, but for
 * the key of a registration until it is answered. */
#ifndef NOONARC_OUTBOX_H
#define NOONARC_OUTBOX_H

#include <stdbool.h>
#include <stdint.h>

#include "client/keys.h"
#include "server/base/err.h"

#define OUTBOX_SERVER_MAX 256
#define OUTBOX_WORD_MAX 41 /* a site or day identifier and its NUL */
#define OUTBOX_KEY_MAX 33  /* 128 random bits in hexadecimal and a NUL */

enum outbox_state { OUTBOX_WAITING, OUTBOX_DONE, OUTBOX_REFUSED };
const char *outbox_state_name(enum outbox_state state);

struct outbox_item {
    int64_t number;
    char server[OUTBOX_SERVER_MAX];
    char site[OUTBOX_WORD_MAX];
    char day[OUTBOX_WORD_MAX];
    char idempotency_key[OUTBOX_KEY_MAX];
    char *body; /* the run document as it is sent; owned, freed by outbox_item_release */
    enum key_kind key_kind; /* whose secret it was first sent with: the same is used again */
    enum outbox_state state;
    double created_utc_s;
    int tries;
    char code[40];    /* why it is refused or still waiting, as an error code */
    char reason[321]; /* and as a sentence */
    int64_t run;      /* the server's number of it once done, else 0 */
    bool from_draft;  /* outbox_add: the draft of this server, site and day has become this run */
};

void outbox_item_release(struct outbox_item *item);

struct outbox;

/* All functions below return -1 with ERR_STORAGE when the file fails them. */
int outbox_open(struct outbox **out, struct err *err) __attribute__((warn_unused_result));
void outbox_close(struct outbox *outbox);

/* Adds a waiting run: server, site, day, body, key_kind, created_utc_s and
 * from_draft are given; number and a fresh idempotency key are filled in. A draft
 * that has become this run goes in the same step. Durable on return. */
int outbox_add(struct outbox *outbox, struct outbox_item *item, struct err *err)
    __attribute__((warn_unused_result));

/* The first run numbered above after, or the run of that number: 1 and item
 * filled, 0 when there is none. */
int outbox_next(struct outbox *outbox, int64_t after, struct outbox_item *item, struct err *err)
    __attribute__((warn_unused_result));
int outbox_find(struct outbox *outbox, int64_t number, struct outbox_item *item, struct err *err)
    __attribute__((warn_unused_result));

/* Notes what came of an attempt. Only a waiting run changes: what another
 * client has settled meanwhile stands. */
int outbox_mark(struct outbox *outbox, int64_t number, enum outbox_state state, const char *code,
                const char *reason, int64_t run, struct err *err)
    __attribute__((warn_unused_result));

/* Makes a refused run wait again. */
int outbox_retry(struct outbox *outbox, int64_t number, struct err *err)
    __attribute__((warn_unused_result));

/* Forgets a run; 1 when there was one, 0 when not. */
int outbox_drop(struct outbox *outbox, int64_t number, struct err *err)
    __attribute__((warn_unused_result));

/* Forgets the runs that are done; how many there were goes to *dropped. */
int outbox_drop_done(struct outbox *outbox, int *dropped, struct err *err)
    __attribute__((warn_unused_result));

/* Readings being typed in for a site and day, as a run document. find: 1 and
 * *body owned by the caller, 0 none. */
int outbox_draft_keep(struct outbox *outbox, const char *server, const char *site, const char *day,
                      const char *body, struct err *err) __attribute__((warn_unused_result));
int outbox_draft_find(struct outbox *outbox, const char *server, const char *site, const char *day,
                      char **body, struct err *err) __attribute__((warn_unused_result));
int outbox_draft_drop(struct outbox *outbox, const char *server, const char *site, const char *day,
                      struct err *err) __attribute__((warn_unused_result));

/* The last known record of a site, as the server's JSON. */
int outbox_site_keep(struct outbox *outbox, const char *server, const char *site, const char *body,
                     struct err *err) __attribute__((warn_unused_result));
int outbox_site_find(struct outbox *outbox, const char *server, const char *site, char **body,
                     struct err *err) __attribute__((warn_unused_result));

/* The next remembered site of a server after the one named ("" the first): 1 with
 * its name in site and its record in body (the caller's), 0 when there is none. */
int outbox_site_next(struct outbox *outbox, const char *server, char site[OUTBOX_WORD_MAX],
                     char **body, struct err *err) __attribute__((warn_unused_result));

/* The idempotency key of a registration that was not answered yet, by its document; a
 * fresh one is kept first where there is none. Durable on return. */
int outbox_registering(struct outbox *outbox, const char *server, const char *body,
                       char key[OUTBOX_KEY_MAX], struct err *err)
    __attribute__((warn_unused_result));

/* It was answered, whatever the answer: its key is forgotten. */
int outbox_registered(struct outbox *outbox, const char *server, const char *body, struct err *err)
    __attribute__((warn_unused_result));

#endif
