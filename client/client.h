/* SPDX-License-Identifier: MIT */
/* client: what every command works with: the words that were typed, the server
 * and its keys, and the two ways to end. A command returns how it leaves; when
 * that is not LEAVE_OK it has filled client->err (and client->problem with the
 * server's own words, if it had any), and main tells the user once. */
#ifndef NOONARC_CLIENT_H
#define NOONARC_CLIENT_H

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

#include "client/keys.h"
#include "client/net.h"
#include "client/options.h"
#include "server/base/err.h"
#include "server/base/text.h"

/* Exit codes of the program. */
enum leave {
    LEAVE_OK = 0,
    LEAVE_REFUSED = 1, /* by the server or by a check */
    LEAVE_USAGE = 2,   /* the words typed */
    LEAVE_NETWORK = 3, /* no answer; a run is kept in the outbox */
    LEAVE_FILE = 4     /* a local file could not be read or written */
};

struct command;

struct client {
    const struct command *command;
    struct arguments args;
    bool json;          /* one JSON document on standard output and nothing else there */
    bool terminal;      /* standard output is a terminal */
    const char *server; /* base address */
    bool told;          /* what was printed says already why it leaves as it does */
    bool logged_in;     /* acts by the token of a log-in */
    bool warned;        /* about a key on an open line */
    struct err err;
    char note[240];      /* what to do next, told after the error; "" when nothing */
    struct text problem; /* the server's problem document as received; empty: make one of err */
};

struct command {
    const char *name;
    const char *summary;  /* half a line, for the list */
    const char *operands; /* "DAY SITE"; "" when none */
    int operands_min, operands_max;
    bool server;                             /* talks to a server: takes the options of that too */
    struct option_table options;             /* its own */
    const struct option_table *more_options; /* shared with others, NULL: none */
    enum leave (*run)(struct client *client);
    void (*more_help)(FILE *out); /* prints what the help has besides; NULL: nothing */
    const char *detail;           /* paragraphs for the help, separated by \n; may be NULL */
    const char *example;
};

/* Sets err and returns leave, so that `return client_fail(...)` reads as what it is. */
enum leave client_fail(struct client *client, enum leave leave, enum err_code code,
                       const char *field, const char *format, ...)
    __attribute__((format(printf, 5, 6)));

/* How to leave after a base or wire function has filled client->err: local file
 * trouble is LEAVE_FILE, an unreachable server LEAVE_NETWORK, all else the fallback. */
enum leave client_leave(const struct client *client, enum leave fallback);

/* The nth operand as an identifier of a site or day. */
enum leave client_identifier(struct client *client, int nth, const char *what, const char **out);

/* The secret to act with: from --key, --key-file or NOONARC_KEY, else the first
 * one kept for the server and site in the order of kinds (count of them); a log-in
 * comes before an organiser's key. kind tells which. secret has KEYS_SECRET_MAX bytes. LEAVE_USAGE
 * when there is none. */
enum leave client_key(struct client *client, const char *site, const enum key_kind *kinds,
                      int count, char *secret, enum key_kind *kind);

/* The same, of the keys kept here alone. */
enum leave client_kept_key(struct client *client, const char *site, const enum key_kind *kinds,
                           int count, char *secret, enum key_kind *kind);

/* Sends; LEAVE_OK only for an answer of 2xx. A refusal in the server's words is
 * LEAVE_REFUSED with err and problem filled; no answer, one that asks to try again
 * (408, 429, 5xx) or one that is not from a noonarc server is LEAVE_NETWORK. */
enum leave client_send(struct client *client, const struct net_request *request,
                       struct net_answer *answer);

/* How to leave after an answer that is not a 2xx, as client_send does. */
enum leave client_refusal(struct client *client, const struct net_answer *answer);

/* Sends and parses the answer's JSON object; the caller owns *out. answer keeps
 * the bytes. A 2xx that is no JSON object comes from something in between
 * (a sign-in page of a network, say) and counts as LEAVE_NETWORK. */
enum leave client_send_json(struct client *client, const struct net_request *request,
                            struct net_answer *answer, json_t **out);

/* Picks the key to act with as client_key does, and sends with it. out (NULL where the
 * answer has no body) is the answer's JSON object, the caller's. */
enum leave client_act(struct client *client, const char *site, const enum key_kind *kinds,
                      int count, struct net_request *request, struct net_answer *answer,
                      json_t **out);

/* Reads a resource. path is from "/api/v1" on. */
enum leave client_get(struct client *client, const char *path, struct net_answer *answer,
                      json_t **out);

/* The organiser's key, if one is given or kept here: for what everyone may read and
 * organisers see more of. false without one, and nothing is said. */
bool client_organiser_key(struct client *client, char *secret);

/* Reads a resource as an organiser where there is such a key, else as anyone; also when
 * the key is of no use any more. */
enum leave client_get_as_seen(struct client *client, const char *path, struct net_answer *answer,
                              json_t **out);

/* Prints one JSON document and a newline. */
void client_print(const char *json);

#define CLIENT_PATH_MAX 512

#endif
