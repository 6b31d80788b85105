/* SPDX-License-Identifier: MIT */
/* edition: the document around records and figures, put together and taken apart. */
#include "server/wire/edition.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/edition_records.h"
#include "server/wire/json_read.h"
#include "server/wire/json_tree.h"
#include "server/wire/record_write.h"

#define LISTED_MAX 32768u

static const char *const kinds[] = {"day", "season"};

const char *edition_kind_name(enum edition_kind kind) {
    return kinds[kind];
}

bool edition_kind_parse(const char *name, enum edition_kind *out) {
    for (int i = 0; i < 2; i++)
        if (strcmp(name, kinds[i]) == 0) {
            *out = (enum edition_kind)i;
            return true;
        }
    return false;
}

static const char *const keeps_names[] = {"named", "unnamed", "none"};

const char *edition_keeps_name(enum edition_keeps keeps) {
    return keeps_names[keeps];
}

bool edition_keeps_parse(const char *name, enum edition_keeps *out) {
    for (int i = 0; i < 3; i++)
        if (strcmp(name, keeps_names[i]) == 0) {
            *out = (enum edition_keeps)i;
            return true;
        }
    return false;
}

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

/* ---- bodies ---- */

int edition_read_keeps(const char *json, size_t length, enum edition_keeps *out, struct err *err) {
    struct edition_keeps_body body = {0};
    if (json_read_record(json, length, &edition_keeps_fields, &body, NULL, err))
        return -1;
    if (!edition_keeps_parse(body.keeps, out))
        return err_set(err, ERR_OUT_OF_RANGE, "/keeps", "it is named, unnamed or none");
    return 0;
}

int edition_read_ask(const char *json, size_t length, struct edition_ask *out, struct err *err) {
    struct edition_ask ask = {0};
    if (json_read_record(json, length, &edition_ask_fields, &ask, NULL, err))
        return -1;
    *out = ask;
    return 0;
}

/* ---- putting together ---- */

static void put_text(struct text *out, const char *utf8) {
    json_t *string = utf8 == NULL || utf8[0] == '\0' ? json_null() : json_string(utf8);
    if (string == NULL)
        out->failed = true;
    else
        canonical_write(string, out);
    json_decref(string);
}

/* The members in the order that is canonical; changes, figures and records are
 * canonical already. */
static int put_document(const struct edition_head *head, const struct text *changes,
                        const struct text *figures, const struct text *records, struct text *out,
                        struct err *err) {
    char published[INSTANT_TEXT];
    instant_format(head->published_utc_s, 0, published, sizeof published);
    text_put(out, "{\"changes\":");
    text_add(out, changes->bytes, changes->length);
    text_format(out, ",\"edition\":%lld,\"figures\":", (long long)head->edition);
    text_add(out, figures->bytes, figures->length);
    text_put(out, ",\"format\":\"" EDITION_FORMAT "\",\"kind\":");
    put_text(out, edition_kind_name(head->kind));
    text_put(out, ",\"method\":\"" REDUCE_METHOD "\",\"published_utc\":");
    put_text(out, published);
    text_put(out, ",\"reason\":");
    put_text(out, head->reason);
    text_put(out, ",\"records\":");
    text_add(out, records->bytes, records->length);
    text_put(out, ",\"replaces\":");
    if (head->replaces != 0)
        text_format(out, "{\"edition\":%lld,\"sha256\":\"%s\"}", (long long)head->replaces,
                    head->replaces_sha256);
    else
        text_put(out, "null");
    text_put(out, ",\"subject\":");
    put_text(out, head->subject);
    text_put(out, ",\"title\":");
    put_text(out, head->title);
    text_put(out, "}");
    return out->failed || changes->failed || figures->failed || records->failed
               ? err_set(err, ERR_INTERNAL, NULL, "the edition does not fit %zu bytes",
                         out->maximum)
               : 0;
}

static bool same_member(const json_t *document, const char *key, const struct text *canonical) {
    struct text text;
    const json_t *member = json_object_get(document, key);
    if (member == NULL)
        return false;
    text_init(&text, EDITION_MAX);
    canonical_write(member, &text);
    bool same = !text.failed && text.length == canonical->length &&
                memcmp(text.bytes, canonical->bytes, text.length) == 0;
    text_release(&text);
    return same;
}

/* The list of changes against before (NULL: none), canonical. */
static int put_changes(const json_t *before, const json_t *records, const struct text *figures,
                       struct text *out, struct err *err) {
    json_t *tree = NULL, *changes = NULL;
    if (before == NULL) {
        text_put(out, "[]");
        return 0;
    }
    if (json_tree_read(figures->bytes, figures->length, &tree, err))
        return -1;
    changes = edition_changes(before, records, tree);
    if (changes != NULL)
        canonical_write(changes, out);
    int result = changes == NULL || out->failed ? out_of_memory(err) : 0;
    json_decref(changes);
    json_decref(tree);
    return result;
}

int edition_make(const struct edition_head *head, const char *records, size_t records_length,
                 const char *before, size_t before_length, struct text *out,
                 struct edition_headline *headline, bool *unchanged, struct err *err) {
    struct text canonical, figures, changes;
    json_t *tree = NULL, *old = NULL;
    int result = -1;
    text_init(&canonical, EDITION_MAX);
    text_init(&figures, EDITION_MAX);
    text_init(&changes, EDITION_MAX);
    if (json_tree_read(records, records_length, &tree, err))
        goto cleanup;
    canonical_write(tree, &canonical);
    if (edition_figures(tree, &figures, headline, err) ||
        (before != NULL && json_tree_read(before, before_length, &old, err)) ||
        put_changes(old, tree, &figures, &changes, err) ||
        put_document(head, &changes, &figures, &canonical, out, err))
        goto cleanup;
    *unchanged = old != NULL && same_member(old, "records", &canonical) &&
                 same_member(old, "figures", &figures);
    result = 0;
cleanup:
    json_decref(tree);
    json_decref(old);
    text_release(&canonical);
    text_release(&figures);
    text_release(&changes);
    return result;
}

int edition_write_everything(const char *records, size_t records_length, struct text *out,
                             struct err *err) {
    json_t *tree;
    if (json_tree_read(records, records_length, &tree, err))
        return -1;
    text_put(out, "{\"figures\":");
    int result = edition_figures(tree, out, NULL, err);
    text_put(out, ",\"records\":");
    canonical_write(tree, out);
    text_put(out, "}");
    json_decref(tree);
    return result == 0 && out->failed ? out_of_memory(err) : result;
}

void edition_write_head(struct json_writer *json, const char *key, const struct edition_head *head,
                        const struct edition_headline *headline, const char *sha256, size_t bytes) {
    json_write_object(json, key);
    json_write_integer(json, "edition", head->edition);
    json_write_text(json, "kind", edition_kind_name(head->kind));
    json_write_text(json, "subject", head->subject);
    json_write_text(json, "title", head->title);
    json_write_instant(json, "published_utc", head->published_utc_s, 0);
    json_write_text(json, "method", REDUCE_METHOD);
    json_write_text(json, "sha256", sha256);
    json_write_integer(json, "bytes", (int64_t)bytes);
    if (head->replaces != 0)
        json_write_integer(json, "replaces", head->replaces);
    else
        json_write_null(json, "replaces");
    json_write_text_or_null(json, "reason", head->reason);
    json_write_real(json, "circumference_km", headline->circumference_km);
    json_write_real(json, "sigma_km", headline->sigma_km);
    json_write_real(json, "low_km", headline->low_km);
    json_write_real(json, "high_km", headline->high_km);
    json_write_integer(json, "sites", headline->sites);
    json_write_integer(json, "days", headline->days);
    record_write_left_out_counts(json, "left_out_counts", &headline->counts);
    json_write_end(json);
}

void edition_write_listed(struct json_writer *json, const char *key, const char *head,
                          int64_t replaced_by) {
    struct text text;
    assert(head[0] == '{');
    text_init(&text, LISTED_MAX);
    if (replaced_by != 0)
        text_format(&text, "{\"replaced_by\":%lld,", (long long)replaced_by);
    else
        text_put(&text, "{\"replaced_by\":null,");
    text_put(&text, head + 1);
    json_write_raw(json, key, text.bytes, text.length);
    json->text->failed |= text.failed;
    text_release(&text);
}

/* ---- verification ---- */

static int missing(const char *pointer, const char *what, struct err *err) {
    return err_set(err, ERR_BAD_TEXT, pointer, "this is not an edition: %s", what);
}

static const char *text_of(const json_t *document, const char *key) {
    const char *text = json_string_value(json_object_get(document, key));
    return text != NULL ? text : "";
}

static int read_replaces(const json_t *document, struct edition_head *out, struct err *err) {
    const json_t *replaces = json_object_get(document, "replaces");
    if (json_is_null(replaces))
        return 0;
    const char *sha256 = text_of(replaces, "sha256");
    out->replaces = json_integer_value(json_object_get(replaces, "edition"));
    if (out->replaces < 1 || strlen(sha256) != CANONICAL_SHA256_SIZE - 1)
        return missing("/replaces", "it does not name the edition it replaces", err);
    memcpy(out->replaces_sha256, sha256, CANONICAL_SHA256_SIZE);
    return 0;
}

static int read_head(const json_t *document, struct edition_check *out, struct err *err) {
    struct edition_head *head = &out->head;
    if (strcmp(text_of(document, "format"), EDITION_FORMAT) != 0)
        return missing("/format", "its format is not " EDITION_FORMAT, err);
    head->edition = json_integer_value(json_object_get(document, "edition"));
    if (head->edition < 1)
        return missing("/edition", "it has no number", err);
    if (!edition_kind_parse(text_of(document, "kind"), &head->kind))
        return missing("/kind", "it is neither of a day nor of a season", err);
    if (instant_parse(text_of(document, "published_utc"), &head->published_utc_s, NULL, NULL))
        return missing("/published_utc", "it does not say when it was published", err);
    if (!json_is_array(json_object_get(document, "changes")))
        return missing("/changes", "it has no list of changes", err);
    snprintf(out->method, sizeof out->method, "%s", text_of(document, "method"));
    snprintf(head->subject, sizeof head->subject, "%s", text_of(document, "subject"));
    snprintf(head->title, sizeof head->title, "%s", text_of(document, "title"));
    snprintf(head->reason, sizeof head->reason, "%s", text_of(document, "reason"));
    if (strcmp(out->method, REDUCE_METHOD) != 0)
        return err_set(err, ERR_OUT_OF_RANGE, "/method",
                       "the edition was made by method %s, and this program has " REDUCE_METHOD
                       ": take the program of that time",
                       out->method);
    return read_replaces(document, head, err);
}

static void cut_value(const json_t *value, char out[80]) {
    struct text text;
    out[0] = '\0';
    if (value == NULL)
        return;
    text_init(&text, 1u << 16);
    canonical_write(value, &text);
    snprintf(out, 80, "%.79s", text.bytes);
    if (text.failed || text.length > 79)
        snprintf(out + 76, 4, "...");
    text_release(&text);
}

static void note_difference(const char *pointer, const json_t *published, const json_t *recomputed,
                            struct edition_check *out) {
    if (out->differences < EDITION_DIFFERENCES_MAX) {
        struct edition_difference *difference = &out->difference[out->differences];
        snprintf(difference->pointer, sizeof difference->pointer, "%.159s", pointer);
        cut_value(published, difference->published);
        cut_value(recomputed, difference->recomputed);
    }
    out->differences++;
}

#define POINTER_MAX 400

static void compare(const char *pointer, const json_t *published, const json_t *recomputed,
                    struct edition_check *out) {
    char inner[POINTER_MAX];
    const char *key;
    json_t *member;
    json_t *members = (json_t *)(uintptr_t)published; /* jansson iterates only so */
    json_t *others = (json_t *)(uintptr_t)recomputed;
    if (json_is_object(published) && json_is_object(recomputed)) {
        json_object_foreach(members, key, member) {
            snprintf(inner, sizeof inner, "%.300s/%.80s", pointer, key);
            compare(inner, member, json_object_get(recomputed, key), out);
        }
        json_object_foreach(others, key, member) {
            if (json_object_get(published, key) != NULL)
                continue;
            snprintf(inner, sizeof inner, "%.300s/%.80s", pointer, key);
            note_difference(inner, NULL, member, out);
        }
    } else if (json_is_array(published) && json_is_array(recomputed)) {
        size_t one = json_array_size(published), two = json_array_size(recomputed);
        for (size_t i = 0; i < one || i < two; i++) {
            snprintf(inner, sizeof inner, "%.300s/%zu", pointer, i);
            compare(inner, json_array_get(published, i), json_array_get(recomputed, i), out);
        }
    } else if (published == NULL || recomputed == NULL ||
               !(json_is_number(published) && json_is_number(recomputed)
                     ? json_number_value(published) == json_number_value(recomputed)
                     : json_equal(published, recomputed))) {
        note_difference(pointer, published, recomputed, out);
    }
}

static int check_before(const char *before, size_t before_length, const struct edition_head *head,
                        struct err *err) {
    char sha256[CANONICAL_SHA256_SIZE];
    if (head->replaces == 0)
        return err_set(err, ERR_OUT_OF_RANGE, "/replaces",
                       "the edition is the first of its subject: it replaces none");
    canonical_sha256(before, before_length, sha256);
    if (strcmp(sha256, head->replaces_sha256) != 0)
        return err_set(err, ERR_OUT_OF_RANGE, "/replaces/sha256",
                       "the edition before has another SHA-256 than the one that is replaced");
    return 0;
}

/* Makes the document again from what is taken as given in it. */
static int make_again(const json_t *document, const json_t *before, struct edition_check *check,
                      struct text *out, struct err *err) {
    struct text figures, changes, records;
    int result = -1;
    text_init(&figures, EDITION_MAX);
    text_init(&changes, EDITION_MAX);
    text_init(&records, EDITION_MAX);
    const json_t *given = json_object_get(document, "records");
    if (edition_figures(given, &figures, &check->headline, err))
        goto cleanup;
    canonical_write(given, &records);
    if (before != NULL || check->head.replaces == 0) {
        check->changes_checked = true;
        if (put_changes(before, given, &figures, &changes, err))
            goto cleanup;
    } else {
        canonical_write(json_object_get(document, "changes"), &changes);
    }
    result = put_document(&check->head, &changes, &figures, &records, out, err);
cleanup:
    text_release(&figures);
    text_release(&changes);
    text_release(&records);
    return result;
}

static void count_records(const json_t *document, struct edition_check *check) {
    const json_t *records = json_object_get(document, "records");
    check->days = (int)json_array_size(json_object_get(records, "days"));
    check->sites = (int)json_array_size(json_object_get(records, "sites"));
    check->runs = (int)json_array_size(json_object_get(records, "runs"));
}

static bool is_canonical(const json_t *document, const char *bytes, size_t length) {
    struct text text;
    text_init(&text, EDITION_MAX);
    canonical_write(document, &text);
    bool same = !text.failed && text.length == length && memcmp(text.bytes, bytes, length) == 0;
    text_release(&text);
    return same;
}

int edition_verify(const char *bytes, size_t length, const char *before, size_t before_length,
                   struct edition_check *out, struct err *err) {
    struct edition_check check = {.bytes = length};
    struct text again;
    json_t *document = NULL, *old = NULL, *made = NULL;
    int result = -1;
    text_init(&again, EDITION_MAX);
    canonical_sha256(bytes, length, check.sha256);
    if (json_tree_read(bytes, length, &document, err) || read_head(document, &check, err))
        goto cleanup;
    check.canonical = is_canonical(document, bytes, length);
    if (before != NULL && (check_before(before, before_length, &check.head, err) ||
                           json_tree_read(before, before_length, &old, err)))
        goto cleanup;
    if (make_again(document, old, &check, &again, err))
        goto cleanup;
    count_records(document, &check);
    check.same = again.length == length && memcmp(again.bytes, bytes, length) == 0;
    if (!check.same) {
        if (json_tree_read(again.bytes, again.length, &made, err))
            goto cleanup;
        compare("", document, made, &check);
    }
    *out = check;
    result = 0;
cleanup:
    json_decref(document);
    json_decref(old);
    json_decref(made);
    text_release(&again);
    return result;
}
