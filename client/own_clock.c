/* SPDX-License-Identifier: MIT */
#include "client/own_clock.h"

#include <math.h>

#include "client/screen.h"
#include "server/base/instant.h"

/* Finer than this a time is neither told nor read. */
#define SIGMA_LEAST_S 0.001

/* One exchange; the time it took, INFINITY when there was none. */
static double exchange(struct client *client, double *offset_s) {
    struct net_answer answer;
    json_t *told = NULL;
    double utc_s, took_s = INFINITY;
    net_answer_init(&answer);
    if (client_get(client, "/api/v1/time", &answer, &told) == LEAVE_OK &&
        instant_parse(screen_string(told, "utc"), &utc_s, NULL, &client->err) == 0) {
        took_s = answer.heard_utc_s - answer.asked_utc_s;
        *offset_s = 0.5 * (answer.asked_utc_s + answer.heard_utc_s) - utc_s;
    }
    json_decref(told);
    net_answer_release(&answer);
    return took_s < 0.0 ? INFINITY : took_s; /* the clock was set meanwhile */
}

bool own_clock_measure(struct client *client, struct run_clock *out) {
    struct err before = client->err;
    double quickest_s = INFINITY, offset_s = 0.0;
    for (int i = 0; i < OWN_CLOCK_EXCHANGES; i++) {
        double its_s = 0.0, took_s = exchange(client, &its_s);
        if (isinf(took_s))
            break;
        if (took_s < quickest_s) {
            quickest_s = took_s;
            offset_s = its_s;
        }
    }
    client->err = before;
    text_release(&client->problem);
    if (isinf(quickest_s))
        return false;
    /* Anywhere in that time with even chance: its length over the root of 12. */
    out->offset_s = round(offset_s * 1e6) / 1e6;
    out->sigma_s = fmax(SIGMA_LEAST_S, round(quickest_s / sqrt(12.0) * 1e6) / 1e6);
    return true;
}

bool own_clock_rule(struct client *client, const char *day, struct run_clock *clock) {
    struct err before = client->err;
    struct net_answer answer;
    json_t *told = NULL;
    char path[CLIENT_PATH_MAX];
    snprintf(path, sizeof path, "/api/v1/days/%s", day);
    net_answer_init(&answer);
    bool known = client_get(client, path, &answer, &told) == LEAVE_OK;
    if (known) {
        clock->bound_s = screen_number(told, "clock_bound_s");
        clock->correct = json_is_true(screen_get(told, "clock_correct"));
    }
    json_decref(told);
    net_answer_release(&answer);
    client->err = before;
    text_release(&client->problem);
    return known;
}

void own_clock_print(FILE *out, const struct run_clock *clock) {
    fputs("this computer's clock: ", out);
    screen_measure(out, fabs(clock->offset_s), clock->sigma_s,
                   clock->offset_s > 0.0 ? " s fast" : " s slow");
    fputs(" by the server's\n", out);
}
