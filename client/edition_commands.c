/* SPDX-License-Identifier: MIT */
/* publish, editions, verify: published results, and whether they follow from what
 * was measured. */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/edition.h"
#include "server/wire/record_write.h"

#define BODY_MAX 8192

/* ---- publish ---- */

static const struct option_row publish_rows[] = {
    {.name = "season", .kind = OPTION_FLAG, .help = "it is a season: all its days together"},
    {.name = "title", .kind = OPTION_TEXT, .value = "TEXT", .help = "else the day's name"},
    {.name = "reason",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "of a correction: why; it is published"},
};

static void print_edition(const json_t *edition) {
    printf("edition %lld, ", (long long)json_integer_value(screen_get(edition, "edition")));
    screen_put(stdout, screen_string(edition, "title"));
    printf("\n  ");
    double circumference_km = screen_number(edition, "circumference_km");
    if (isfinite(circumference_km)) {
        fputs("circumference ", stdout);
        screen_measure(stdout, circumference_km, screen_number(edition, "sigma_km"), " km");
    } else {
        fputs("no circumference yet", stdout);
    }
    printf(", from %.0f sites on %.0f %s\n", screen_number(edition, "sites"),
           screen_number(edition, "days"), screen_number(edition, "days") == 1.0 ? "day" : "days");
    screen_print_left_out(stdout, "  ", screen_get(edition, "left_out_counts"));
    printf("  of %s %s, published %s, method %s\n", screen_string(edition, "kind"),
           screen_string(edition, "subject"), screen_string(edition, "published_utc"),
           screen_string(edition, "method"));
    if (json_is_integer(screen_get(edition, "replaces"))) {
        printf("  corrects edition %lld: ",
               (long long)json_integer_value(screen_get(edition, "replaces")));
        screen_put(stdout, screen_string(edition, "reason"));
        putchar('\n');
    }
    if (json_is_integer(screen_get(edition, "replaced_by")))
        printf("  corrected by edition %lld\n",
               (long long)json_integer_value(screen_get(edition, "replaced_by")));
    printf("  SHA-256 %s\n", screen_string(edition, "sha256"));
}

static enum leave run_publish(struct client *client) {
    const bool season = arguments_given(&client->args, "season");
    const char *subject, *title = arguments_text(&client->args, "title", NULL);
    const char *reason = arguments_text(&client->args, "reason", NULL);
    char path[CLIENT_PATH_MAX];
    struct text body;
    struct json_writer json;
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, season ? "season" : "day", &subject);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/%s/%s/editions", season ? "seasons" : "days", subject);
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    if (title != NULL)
        json_write_text(&json, "title", title);
    if (reason != NULL)
        json_write_text(&json, "reason", reason);
    json_write_end(&json);
    leave = organise(client, "POST", path, body.bytes, &answer);
    if (leave == LEAVE_OK && !client->json)
        print_edition(answer);
    text_release(&body);
    json_decref(answer);
    return leave;
}

const struct command publish_command = {
    .name = "publish",
    .summary = "publish a day or a season as it stands: a numbered edition, for good",
    .operands = "DAY | SEASON",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(publish_rows),
    .run = run_publish,
    .detail = "An edition never changes. Publishing the same day or season again makes a "
              "correction: say why with --reason; it lists what it changes.",
    .example = "noonarc publish 2027-03-18",
};

/* ---- editions ---- */

static const struct option_row editions_rows[] = {
    {.name = "output",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "of one edition: write all of it to FILE, as it was published"},
};

static enum leave fetch_bundle(struct client *client, const char *number, struct text *out) {
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/editions/%s/bundle", number);
    const struct net_request request = {.method = "GET", .path = path};
    enum leave leave = client_send(client, &request, &answer);
    if (leave == LEAVE_OK)
        text_add(out, answer.body.bytes, answer.body.length);
    if (leave == LEAVE_OK && out->failed)
        leave = client_fail(client, LEAVE_FILE, ERR_INTERNAL, "", "out of memory");
    net_answer_release(&answer);
    return leave;
}

static void print_changes(const char *bundle, size_t length) {
    json_t *document = json_loadb(bundle, length, 0, NULL);
    size_t i;
    const json_t *change;
    json_array_foreach(screen_get(document, "changes"), i, change)
        screen_item(stdout, '-', screen_string(change, "words"));
    json_decref(document);
}

static enum leave show_one(struct client *client, const char *number) {
    const char *output = arguments_text(&client->args, "output", NULL);
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    struct text bundle;
    json_t *edition = NULL;
    net_answer_init(&answer);
    text_init(&bundle, EDITION_MAX);
    snprintf(path, sizeof path, "/api/v1/editions/%s", number);
    enum leave leave = client_get(client, path, &answer, &edition);
    if (leave == LEAVE_OK)
        leave = fetch_bundle(client, number, &bundle);
    if (leave == LEAVE_OK && output != NULL &&
        files_write(output, bundle.bytes, bundle.length, 0644, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && client->json) {
        client_print(answer.body.bytes);
    } else if (leave == LEAVE_OK) {
        print_edition(edition);
        print_changes(bundle.bytes, bundle.length);
    }
    json_decref(edition);
    net_answer_release(&answer);
    text_release(&bundle);
    return leave;
}

static enum leave run_editions(struct client *client) {
    json_t *answer = NULL;
    if (client->args.operands == 1) {
        const char *number;
        enum leave leave = client_identifier(client, 0, "edition", &number);
        return leave == LEAVE_OK ? show_one(client, number) : leave;
    }
    enum leave leave = listing_get(client, "/api/v1/editions", "editions", &answer);
    if (leave == LEAVE_OK && !client->json) {
        size_t i;
        const json_t *edition;
        json_array_foreach(screen_get(answer, "editions"), i, edition) print_edition(edition);
        if (json_array_size(screen_get(answer, "editions")) == 0)
            puts("nothing is published yet");
    }
    json_decref(answer);
    return leave;
}

const struct command editions_command = {
    .name = "editions",
    .summary = "published editions; one with what it changed, or all of it into a file",
    .operands = "[NUMBER]",
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(editions_rows),
    .run = run_editions,
    .example = "noonarc editions 1 --output edition-1.json",
};

/* ---- verify ---- */

static const struct option_row verify_rows[] = {
    {.name = "before",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "the edition that this one corrects: its list of changes is checked too"},
    {.name = "sha256",
     .kind = OPTION_TEXT,
     .value = "HEX",
     .help = "the SHA-256 it is known by: asked of the server where a number is given"},
};

struct verification {
    struct text bundle, before;
    bool has_before;
    char sha256[CANONICAL_SHA256_SIZE]; /* expected, "" not known */
    struct edition_check check;
};

static bool is_number(const char *word) {
    for (const char *at = word; *at != '\0'; at++)
        if (!isdigit((unsigned char)*at))
            return false;
    struct stat file;
    return *word != '\0' && stat(word, &file) != 0;
}

/* By number: the bundle, what the server says of it, and the edition before. */
static enum leave fetch(struct client *client, const char *number, struct verification *out) {
    char path[CLIENT_PATH_MAX], before[24];
    struct net_answer answer;
    json_t *edition = NULL;
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/editions/%.20s", number);
    enum leave leave = client_get(client, path, &answer, &edition);
    if (leave == LEAVE_OK)
        leave = fetch_bundle(client, number, &out->bundle);
    if (leave == LEAVE_OK) {
        snprintf(out->sha256, sizeof out->sha256, "%s", screen_string(edition, "sha256"));
        const json_t *replaces = screen_get(edition, "replaces");
        out->has_before = json_is_integer(replaces);
        snprintf(before, sizeof before, "%lld", (long long)json_integer_value(replaces));
        if (out->has_before)
            leave = fetch_bundle(client, before, &out->before);
    }
    json_decref(edition);
    net_answer_release(&answer);
    return leave;
}

static enum leave gather(struct client *client, const char *word, struct verification *out) {
    const char *before = arguments_text(&client->args, "before", NULL);
    const char *sha256 = arguments_text(&client->args, "sha256", NULL);
    if (is_number(word)) {
        enum leave leave = fetch(client, word, out);
        if (leave != LEAVE_OK)
            return leave;
    } else if (files_read(word, &out->bundle, &client->err) != 0) {
        return LEAVE_FILE;
    }
    if (before != NULL) {
        text_release(&out->before);
        out->has_before = true;
        if (files_read(before, &out->before, &client->err) != 0)
            return LEAVE_FILE;
    }
    if (sha256 != NULL)
        snprintf(out->sha256, sizeof out->sha256, "%s", sha256);
    return LEAVE_OK;
}

static bool known_by_another(const struct verification *made) {
    return made->sha256[0] != '\0' && strcmp(made->sha256, made->check.sha256) != 0;
}

static void print_json(const struct verification *made) {
    const struct edition_check *check = &made->check;
    struct text text;
    struct json_writer json;
    text_init(&text, 1u << 18);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    json_write_integer(&json, "edition", check->head.edition);
    json_write_bool(&json, "same", check->same);
    json_write_bool(&json, "canonical", check->canonical);
    json_write_bool(&json, "changes_checked", check->changes_checked);
    json_write_text(&json, "sha256", check->sha256);
    json_write_text_or_null(&json, "expected_sha256", made->sha256);
    json_write_integer(&json, "bytes", (int64_t)check->bytes);
    json_write_integer(&json, "sites", check->sites);
    json_write_integer(&json, "runs", check->runs);
    json_write_integer(&json, "days", check->days);
    json_write_real(&json, "circumference_km", check->headline.circumference_km);
    json_write_real(&json, "sigma_km", check->headline.sigma_km);
    json_write_integer(&json, "differences_count", (int64_t)check->differences);
    json_write_array(&json, "differences");
    for (size_t i = 0; i < check->differences && i < EDITION_DIFFERENCES_MAX; i++) {
        json_write_object(&json, NULL);
        json_write_text(&json, "pointer", check->difference[i].pointer);
        json_write_text_or_null(&json, "published", check->difference[i].published);
        json_write_text_or_null(&json, "recomputed", check->difference[i].recomputed);
        json_write_end(&json);
    }
    json_write_end(&json);
    json_write_end(&json);
    client_print(text.bytes);
    text_release(&text);
}

static void print_differences(const struct edition_check *check) {
    for (size_t i = 0; i < check->differences && i < EDITION_DIFFERENCES_MAX; i++) {
        const struct edition_difference *difference = &check->difference[i];
        fputs("  ", stdout);
        screen_put(stdout, difference->pointer);
        fputs("\n    published   ", stdout);
        screen_put(stdout, difference->published[0] != '\0' ? difference->published : "nothing");
        fputs("\n    recomputed  ", stdout);
        screen_put(stdout, difference->recomputed[0] != '\0' ? difference->recomputed : "nothing");
        putchar('\n');
    }
    if (check->differences > EDITION_DIFFERENCES_MAX)
        printf("  ... %zu in all\n", check->differences);
}

static void print_words(const struct verification *made) {
    const struct edition_check *check = &made->check;
    printf("edition %lld, ", (long long)check->head.edition);
    screen_put(stdout, check->head.title);
    if (check->same)
        printf(": follows from its records, byte for byte\n");
    else
        printf(": does NOT follow from its records: %zu %s\n", check->differences,
               check->differences == 1 ? "difference" : "differences");
    if (isfinite(check->headline.circumference_km)) {
        fputs("  circumference ", stdout);
        screen_measure(stdout, check->headline.circumference_km, check->headline.sigma_km, " km");
        printf(", worked out again from %d runs of %d sites on %d %s\n", check->runs, check->sites,
               check->days, check->days == 1 ? "day" : "days");
    }
    printf("  %zu bytes, SHA-256 %s\n", check->bytes, check->sha256);
    if (known_by_another(made))
        printf("  but it is known by SHA-256 %s: these are other bytes\n", made->sha256);
    if (!check->canonical)
        puts("  its bytes are not in canonical form: somebody wrote it anew");
    if (!check->changes_checked)
        puts("  its list of changes was taken as it stands: give the edition before with --before");
    print_differences(check);
}

static enum leave run_verify(struct client *client) {
    struct verification made = {.sha256 = ""};
    text_init(&made.bundle, EDITION_MAX);
    text_init(&made.before, EDITION_MAX);
    enum leave leave = gather(client, client->args.operand[0], &made);
    if (leave == LEAVE_OK && edition_verify(made.bundle.bytes, made.bundle.length,
                                            made.has_before ? made.before.bytes : NULL,
                                            made.before.length, &made.check, &client->err) != 0)
        leave = client_leave(client, LEAVE_REFUSED);
    if (leave == LEAVE_OK) {
        if (client->json)
            print_json(&made);
        else
            print_words(&made);
        if (!made.check.same || !made.check.canonical || known_by_another(&made)) {
            client->told = true;
            leave = LEAVE_REFUSED;
        }
    }
    text_release(&made.bundle);
    text_release(&made.before);
    return leave;
}

const struct command verify_command = {
    .name = "verify",
    .summary = "work a published edition out again and compare, byte for byte",
    .operands = "FILE | NUMBER",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(verify_rows),
    .run = run_verify,
    .detail = "A file is verified without any server. A number is fetched first, with the edition "
              "it corrects. Ends with 1 when anything differs, and says what.",
    .example = "noonarc verify edition-1.json",
};
