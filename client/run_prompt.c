/* SPDX-License-Identifier: MIT */
/* run_prompt: cautions, instrument, date, readings, a look at the result, consent. */
#include "client/run_prompt.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "client/cautions.h"
#include "client/own_clock.h"
#include "client/prompt.h"
#include "client/results.h"
#include "client/run_entry.h"
#include "client/run_input.h"
#include "client/screen.h"
#include "client/working.h"
#include "server/base/instant.h"
#include "server/wire/field.h"
#include "server/wire/record_read.h"

struct prompt {
    struct client *client;
    struct outbox *outbox;
    const char *day, *site;
    const struct site_record *known; /* NULL: position not known here */
    struct run_record *run;
    const char *zone;   /* the playground's, "" when not known here */
    struct tzif clocks; /* of that zone */
    int32_t date;
    int read_here;              /* readings whose time is this computer's own */
    char line[PROMPT_LINE_MAX]; /* the last answer, blanks trimmed */
};

static enum leave stop(struct prompt *prompt) {
    enum leave leave =
        client_fail(prompt->client, LEAVE_REFUSED, ERR_MISSING_FIELD, "", "nothing was sent");
    if (prompt->run->run.readings > 0)
        snprintf(prompt->client->note, sizeof prompt->client->note,
                 "your readings are kept: run the same command again to go on from them");
    return leave;
}

/* How far the clocks that the class reads are ahead of UTC: the playground's, else
 * this computer's. */
static long clocks_ahead_s(const struct prompt *prompt, time_t t_utc_s) {
    if (*prompt->zone != '\0') {
        struct zone_offset offset;
        tzif_at(&prompt->clocks, (double)t_utc_s, &offset);
        return offset.ahead_s;
    }
    struct tm here;
    localtime_r(&t_utc_s, &here);
    return here.tm_gmtoff;
}

/* The date of an instant by those clocks. */
static int32_t local_date(const struct prompt *prompt, time_t t_utc_s) {
    double local_s = (double)t_utc_s + (double)clocks_ahead_s(prompt, t_utc_s);
    return (int32_t)floor(local_s / 86400.0);
}

/* That of the readings there are, if any. Today, when the day is held today or its dates are not
 * known, else its date. */
static int32_t likely_date(struct prompt *prompt) {
    struct client *client = prompt->client;
    struct err before = client->err;
    struct day_record day;
    struct net_answer answer;
    json_t *record = NULL;
    char path[CLIENT_PATH_MAX];
    if (prompt->run->run.readings > 0)
        return local_date(prompt, (time_t)prompt->run->run.reading[0].t_utc_s);
    int32_t today = local_date(prompt, time(NULL));
    int32_t date = today;
    (void)date_parse(prompt->day, &date);
    snprintf(path, sizeof path, "/api/v1/days/%s", prompt->day);
    net_answer_init(&answer);
    if (client_get(client, path, &answer, &record) == LEAVE_OK &&
        record_read_day(answer.body.bytes, answer.body.length, &day, &client->err) == 0) {
        date = day.date;
        for (int i = 0; i < day.spares; i++)
            if (day.spare[i] == today)
                date = today;
    }
    json_decref(record);
    net_answer_release(&answer);
    client->err = before;
    text_release(&client->problem);
    return date;
}

static bool ask_date(struct prompt *prompt) {
    char usual[DATE_TEXT], question[64];
    prompt->date = likely_date(prompt);
    date_format(prompt->date, usual);
    snprintf(question, sizeof question, "Date of the readings [%s]: ", usual);
    for (;;) {
        if (!prompt_ask(question, prompt->line))
            return false;
        if (prompt->line[0] == '\0' || date_parse(prompt->line, &prompt->date))
            return true;
        fputs("  date: type it like 2027-03-21\n", stderr);
    }
}

static void show_gnomon(const struct gnomon *gnomon) {
    fprintf(stderr, "  gnomon: %.10g mm\n", record_mm(gnomon_height(gnomon).value_m));
}

static bool ask_gnomon(struct prompt *prompt) {
    struct gnomon *gnomon = &prompt->run->run.gnomon;
    char question[128] = "Gnomon height in mm, parts added like 2880+300: ";
    bool usual = run_input_usual_gnomon(prompt->known, gnomon);
    if (usual)
        snprintf(question, sizeof question, "Gnomon height in mm, parts added like 2880+300 [%g]: ",
                 record_mm(gnomon_height(gnomon).value_m));
    for (;;) {
        if (!prompt_ask(question, prompt->line))
            return false;
        if (usual && prompt->line[0] == '\0')
            break;
        struct err err = {.code = ERR_NONE};
        if (run_entry_gnomon(prompt->line, "gnomon", gnomon, &err) == 0)
            break;
        prompt_complain(&err);
    }
    show_gnomon(gnomon);
    return true;
}

static bool ask_edge(struct prompt *prompt) {
    struct gnomon *gnomon = &prompt->run->run.gnomon;
    char question[160];
    snprintf(question, sizeof question,
             "Edge you mark: umbra (end of full shadow), penumbra (last trace), centre [%s]: ",
             edge_name(gnomon->edge));
    for (;;) {
        if (!prompt_ask(question, prompt->line))
            return false;
        struct err err = {.code = ERR_NONE};
        if (prompt->line[0] == '\0' || run_entry_edge(prompt->line, "edge", gnomon, &err) == 0)
            return true;
        prompt_complain(&err);
    }
}

static enum leave keep_draft(struct prompt *prompt) {
    struct client *client = prompt->client;
    struct text body;
    text_init(&body, RUN_DOCUMENT_MAX);
    enum leave leave = run_input_document(client, prompt->run, &body);
    if (leave == LEAVE_OK && outbox_draft_keep(prompt->outbox, client->server, prompt->site,
                                               prompt->day, body.bytes, &client->err) != 0)
        leave = LEAVE_FILE;
    text_release(&body);
    return leave;
}

static void show_reading(const struct prompt *prompt, int at) {
    const struct run *run = &prompt->run->run;
    fprintf(stderr, "  %d: ", at + 1);
    screen_time(stderr, run->reading[at].t_utc_s, prompt->zone);
    fprintf(stderr, ", %g mm\n", record_mm(run->reading[at].shadow_m));
}

static void show_angle(const struct prompt *prompt) {
    double noon_angle_deg, sigma_deg;
    if (prompt->known == NULL ||
        !working_angle(&prompt->known->place, &prompt->run->run, &noon_angle_deg, &sigma_deg))
        return;
    fputs("  so far: noon angle ", stderr);
    screen_measure(stderr, noon_angle_deg, sigma_deg, "°\n");
}

/* One line "12:24:10 1780", or the time alone and the shadow at a question of its own. */
static bool enter_reading(struct prompt *prompt, int number, struct err *err) {
    struct reading reading = {.t_utc_s = NAN};
    char time_place[40], shadow_place[40];
    snprintf(time_place, sizeof time_place, "reading %d, time", number);
    snprintf(shadow_place, sizeof shadow_place, "reading %d, shadow", number);
    size_t length = strcspn(prompt->line, " \t");
    size_t blanks = strspn(prompt->line + length, " \t");
    int before = prompt->run->run.readings;
    char shadow[PROMPT_LINE_MAX];
    snprintf(shadow, sizeof shadow, "%s", prompt->line + length + blanks);
    prompt->line[length] = '\0';
    bool here = strcmp(prompt->line, "now") == 0;
    if (here)
        reading.t_utc_s = (double)time(NULL);
    else if (run_entry_clock(prompt->line, prompt->date,
                             *prompt->zone != '\0' ? &prompt->clocks : NULL, time_place, &reading,
                             err) != 0)
        return true;
    if (shadow[0] == '\0') {
        if (!prompt_ask("  its shadow in mm: ", prompt->line))
            return false;
        snprintf(shadow, sizeof shadow, "%s", prompt->line);
    }
    if (run_entry_shadow(shadow, shadow_place, &reading, err) == 0)
        (void)!run_entry_add(&prompt->run->run, &reading, time_place, err);
    if (here && prompt->run->run.readings > before)
        prompt->read_here++;
    return true;
}

static enum leave ask_readings(struct prompt *prompt) {
    struct run *run = &prompt->run->run;
    for (;;) {
        char question[64];
        snprintf(question, sizeof question,
                 "Reading %d, time and shadow in mm: ", run->readings + 1);
        if (!prompt_ask(question, prompt->line))
            return stop(prompt);
        int before = run->readings;
        struct err err = {.code = ERR_NONE};
        if (prompt->line[0] == '\0') {
            if (run->readings >= REDUCE_READINGS_MIN)
                return LEAVE_OK;
            fprintf(stderr, "  a run needs %d readings at least; \"quit\" stops without sending\n",
                    REDUCE_READINGS_MIN);
        } else if (strcmp(prompt->line, "list") == 0) {
            for (int i = 0; i < run->readings; i++)
                show_reading(prompt, i);
        } else if (strcmp(prompt->line, "undo") == 0) {
            if (run->readings == 0)
                fputs("  there is nothing to undo\n", stderr);
            else
                fprintf(stderr, "  reading %d is struck\n", run->readings--);
        } else if (strcmp(prompt->line, "quit") == 0 ||
                   !enter_reading(prompt, run->readings + 1, &err)) {
            return stop(prompt);
        }
        if (err.code != ERR_NONE)
            prompt_complain(&err);
        if (run->readings == before)
            continue;
        enum leave leave = keep_draft(prompt);
        if (leave != LEAVE_OK)
            return leave;
        if (run->readings > before)
            show_reading(prompt, run->readings - 1);
        show_angle(prompt);
    }
}

/* An empty answer leaves what is there from a draft. */
static bool ask_text(struct prompt *prompt, const char *key, const char *what,
                     const char *already) {
    const struct field *field = field_find(&run_fields, key, strlen(key));
    char question[PROMPT_LINE_MAX];
    snprintf(question, sizeof question, "%s [%s]: ", what, *already != '\0' ? already : "nothing");
    for (;;) {
        if (!prompt_ask(question, prompt->line))
            return false;
        struct err err = {.code = ERR_NONE};
        if (prompt->line[0] == '\0' ||
            field_set_text(field, prompt->line, strlen(prompt->line), prompt->run, &err) == 0)
            return true;
        err_at(&err, key);
        prompt_complain(&err);
    }
}

/* Takes up an earlier draft, if there is one and the person wants it. */
static enum leave take_draft(struct prompt *prompt, bool *taken) {
    struct client *client = prompt->client;
    char *body = NULL;
    bool wanted = false;
    enum leave leave = LEAVE_OK;
    *taken = false;
    int found = outbox_draft_find(prompt->outbox, client->server, prompt->site, prompt->day, &body,
                                  &client->err);
    if (found < 0)
        return LEAVE_FILE;
    struct err err = {.code = ERR_NONE};
    if (found > 0 && record_read_run(body, strlen(body), prompt->run, &err) == 0) {
        char question[96];
        snprintf(question, sizeof question,
                 "%d readings were typed in before. Go on from them? [Y/n]: ",
                 prompt->run->run.readings);
        if (!prompt_yes(question, &wanted))
            leave = stop(prompt);
        else if (!wanted)
            run_record_init(prompt->run);
        *taken = wanted;
        if (wanted) {
            show_gnomon(&prompt->run->run.gnomon);
            fprintf(stderr, "  edge: %s\n", edge_name(prompt->run->run.gnomon.edge));
        }
    }
    free(body);
    return leave;
}

static enum leave consent(struct prompt *prompt) {
    bool send = true;
    struct err err = {.code = ERR_NONE};
    struct text text;
    text_init(&text, RUN_DOCUMENT_MAX);
    if (prompt->known != NULL &&
        working_reduction(prompt->known, &prompt->run->run, &text, &err) == 0) {
        json_t *reduction = json_loadb(text.bytes, text.length, 0, NULL);
        fputs("\nWorked out on this computer:\n", stderr);
        results_print_reduction(stderr, reduction, prompt->zone);
        fputc('\n', stderr);
        json_decref(reduction);
    }
    text_release(&text);
    return prompt_yes("Send it? [Y/n]: ", &send) && send ? LEAVE_OK : stop(prompt);
}

static void explain_clock(const struct prompt *prompt) {
    long minutes = clocks_ahead_s(prompt, (time_t)prompt->date * 86400 + 43200) / 60;
    char line[256];
    snprintf(line, sizeof line,
             "Type each time as the clock shows it (%s, UTC%c%02ld:%02ld), or with a Z for UTC, or "
             "\"now\".",
             *prompt->zone != '\0' ? prompt->zone : "this computer's zone", minutes < 0 ? '-' : '+',
             labs(minutes) / 60, labs(minutes) % 60);
    fputc('\n', stderr);
    screen_wrapped(stderr, 0, line);
    screen_wrapped(stderr, 0,
                   "\"undo\" strikes the last reading, \"list\" shows all, an empty line ends "
                   "them, \"quit\" stops.");
}

static enum leave ask_all(struct prompt *prompt) {
    struct run_record *run = prompt->run;
    bool taken;
    enum leave leave = take_draft(prompt, &taken);
    if (leave != LEAVE_OK)
        return leave;
    if (!taken && (!ask_gnomon(prompt) || !ask_edge(prompt)))
        return stop(prompt);
    if (!ask_date(prompt))
        return stop(prompt);
    explain_clock(prompt);
    for (int i = 0; i < run->run.readings; i++)
        show_reading(prompt, i);
    leave = ask_readings(prompt);
    if (leave != LEAVE_OK)
        return leave;
    if (!ask_text(prompt, "sky", "The sky, in a few words", run->sky) ||
        !ask_text(prompt, "level", "How ground and gnomon were levelled", run->level))
        return stop(prompt);
    leave = keep_draft(prompt);
    return leave == LEAVE_OK ? consent(prompt) : leave;
}

enum leave run_prompt(struct client *client, struct outbox *outbox, const char *day,
                      const char *site, const struct site_record *known, struct run_record *run) {
    struct prompt prompt = {.client = client,
                            .outbox = outbox,
                            .day = day,
                            .site = site,
                            .known = known,
                            .run = run,
                            .zone = ""};
    struct err unknown = {.code = ERR_NONE};
    /* the playground's clock, wherever this computer was set up */
    if (known != NULL && known->zone[0] != '\0' &&
        tzif_open(NULL, known->zone, &prompt.clocks, &unknown) == 0)
        prompt.zone = known->zone;
    run_record_init(run);
    cautions_print(stderr);
    fputc('\n', stderr);
    enum leave leave = ask_all(&prompt);
    /* Only a clock that all times were read from says something about them. */
    if (leave == LEAVE_OK && prompt.read_here == run->run.readings &&
        own_clock_measure(client, &run->run.clock))
        own_clock_print(stderr, &run->run.clock);
    tzif_release(&prompt.clocks);
    return leave;
}
