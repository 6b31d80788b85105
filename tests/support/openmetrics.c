/* SPDX-License-Identifier: MIT */
/* openmetrics: line by line, with what must be remembered of the family that the
 * line belongs to and of the histogram whose buckets are being read. */
#include "tests/support/openmetrics.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NAME_MAX_BYTES 128
#define LABELS_MAX_BYTES 512
#define FAMILIES_MAX 64
#define SAMPLES_MAX 4096

enum type { TYPE_NONE, TYPE_COUNTER, TYPE_GAUGE, TYPE_HISTOGRAM };

struct sample {
    char name[NAME_MAX_BYTES];
    char labels[LABELS_MAX_BYTES]; /* without le */
    double le;                     /* NAN: none */
    double value;
};

struct reader {
    char family[FAMILIES_MAX][NAME_MAX_BYTES]; /* the last one is the current */
    size_t families;
    enum type type;
    int metadata; /* the last metadata line of the family: 1 TYPE, 2 UNIT, 3 HELP */
    bool sampled;
    struct sample *seen;
    size_t samples;
    /* The metric of a histogram that is being read. */
    char labels[LABELS_MAX_BYTES];
    double le, below; /* of the last bucket; le NAN: no bucket yet */
    bool open, counted, summed;
    char *why;
    size_t size;
};

static bool no(struct reader *reader, const char *line, const char *what) {
    snprintf(reader->why, reader->size, "%s: %.*s", what, (int)strcspn(line, "\n"), line);
    return false;
}

static size_t name_length(const char *text) {
    static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ_0123456789";
    return *text >= '0' && *text <= '9' ? 0 : strspn(text, letters);
}

static bool ends_with(const char *text, const char *ending) {
    size_t length = strlen(text), wanted = strlen(ending);
    return length > wanted && strcmp(text + length - wanted, ending) == 0;
}

/* A histogram's metric ends with +Inf, its count and its sum. */
static bool close_metric(struct reader *reader, const char *line) {
    bool complete = !reader->open || (isinf(reader->le) && reader->counted && reader->summed);
    reader->open = false;
    return complete || no(reader, line, "a histogram before it is not complete");
}

static bool begin_family(struct reader *reader, const char *name, const char *line) {
    if (!close_metric(reader, line))
        return false;
    for (size_t i = 0; i < reader->families; i++)
        if (strcmp(reader->family[i], name) == 0)
            return no(reader, line, "the family stands twice");
    if (reader->families == FAMILIES_MAX)
        return no(reader, line, "too many families for this checker");
    snprintf(reader->family[reader->families++], NAME_MAX_BYTES, "%s", name);
    reader->type = TYPE_NONE;
    reader->metadata = 0;
    reader->sampled = false;
    return true;
}

static const char *family(const struct reader *reader) {
    return reader->families == 0 ? "" : reader->family[reader->families - 1];
}

static bool set_type(struct reader *reader, const char *value, const char *line) {
    static const char *const types[] = {"", "counter", "gauge", "histogram"};
    for (int type = TYPE_COUNTER; type <= TYPE_HISTOGRAM; type++)
        if (strcmp(types[type], value) == 0)
            reader->type = (enum type)type;
    return reader->type != TYPE_NONE || no(reader, line, "no such type");
}

static bool check_unit(struct reader *reader, const char *unit, const char *line) {
    char ending[LABELS_MAX_BYTES + 1];
    snprintf(ending, sizeof ending, "_%s", unit);
    return ends_with(family(reader), ending) || no(reader, line, "the name lacks its unit");
}

static bool check_help(struct reader *reader, const char *help, const char *line) {
    for (const char *at = help; *at != '\0'; at++)
        if (*at == '\\' && strchr("\\n\"", *++at) == NULL)
            return no(reader, line, "a wrong escape");
    return true;
}

/* "# TYPE name value", in the order TYPE, UNIT, HELP, each once at most. */
static bool read_metadata(struct reader *reader, const char *line) {
    static const char *const kinds[] = {"# TYPE ", "# UNIT ", "# HELP "};
    char name[NAME_MAX_BYTES], value[LABELS_MAX_BYTES];
    int kind = 0;
    while (kind < 3 && strncmp(line, kinds[kind], 7) != 0)
        kind++;
    size_t length = name_length(line + 7);
    if (kind == 3 || length == 0 || length >= sizeof name || line[7 + length] != ' ')
        return no(reader, line, "no metadata");
    snprintf(name, sizeof name, "%.*s", (int)length, line + 7);
    const char *rest = line + 7 + length + 1;
    snprintf(value, sizeof value, "%.*s", (int)strcspn(rest, "\n"), rest);
    if (strcmp(name, family(reader)) != 0 && !begin_family(reader, name, line))
        return false;
    if (reader->sampled)
        return no(reader, line, "metadata after a sample");
    if (reader->metadata >= kind + 1)
        return no(reader, line, "metadata twice or out of order");
    reader->metadata = kind + 1;
    return kind == 0   ? set_type(reader, value, line)
           : kind == 1 ? check_unit(reader, value, line)
                       : check_help(reader, value, line);
}

/* One label="value"; returns what follows, NULL when it is none. */
static const char *read_label(const char *at, struct sample *sample) {
    size_t length = name_length(at);
    if (length == 0 || strncmp(at + length, "=\"", 2) != 0)
        return NULL;
    const char *value = at + length + 2, *end = value;
    while (*end != '"') {
        if (*end == '\\' && strchr("\\n\"", *++end) == NULL)
            return NULL;
        if (*end == '\0' || *end == '\n')
            return NULL;
        end++;
    }
    if (length == 2 && strncmp(at, "le", 2) == 0) {
        char *stop;
        sample->le = strtod(value, &stop);
        return stop == end && !isnan(sample->le) ? end + 1 : NULL;
    }
    size_t used = strlen(sample->labels);
    snprintf(sample->labels + used, sizeof sample->labels - used, "%.*s;", (int)(end + 1 - at), at);
    return end + 1;
}

static const char *read_labels(const char *at, struct sample *sample) {
    do {
        at = read_label(at + 1, sample);
    } while (at != NULL && *at == ',');
    return at != NULL && *at == '}' ? at + 1 : NULL;
}

static bool parse_sample(struct reader *reader, const char *line, struct sample *sample) {
    size_t length = name_length(line);
    char *stop;
    *sample = (struct sample){.le = NAN};
    if (length == 0 || length >= sizeof sample->name)
        return no(reader, line, "no sample");
    snprintf(sample->name, sizeof sample->name, "%.*s", (int)length, line);
    const char *at = line + length;
    if (*at == '{')
        at = read_labels(at, sample);
    if (at == NULL || *at != ' ' || at[1] == ' ')
        return no(reader, line, "wrong labels");
    sample->value = strtod(at + 1, &stop);
    return (stop != at + 1 && *stop == '\n') || no(reader, line, "no value");
}

static bool remember(struct reader *reader, const struct sample *sample, const char *line) {
    for (size_t i = 0; i < reader->samples; i++) {
        const struct sample *other = &reader->seen[i];
        bool same_le = (isnan(other->le) && isnan(sample->le)) || other->le == sample->le;
        if (strcmp(other->name, sample->name) == 0 && strcmp(other->labels, sample->labels) == 0 &&
            same_le)
            return no(reader, line, "the sample stands twice");
    }
    if (reader->samples == SAMPLES_MAX)
        return no(reader, line, "too many samples for this checker");
    reader->seen[reader->samples++] = *sample;
    return true;
}

static bool read_bucket(struct reader *reader, const struct sample *sample, const char *line) {
    if (isnan(sample->le))
        return no(reader, line, "a bucket without le");
    if (reader->open && strcmp(reader->labels, sample->labels) != 0 && !close_metric(reader, line))
        return false;
    if (!reader->open) {
        snprintf(reader->labels, sizeof reader->labels, "%s", sample->labels);
        reader->open = true;
        reader->counted = reader->summed = false;
        reader->le = -INFINITY;
        reader->below = 0.0;
    }
    if (!(sample->le > reader->le))
        return no(reader, line, "bounds that do not grow");
    if (sample->value < reader->below)
        return no(reader, line, "buckets that are not cumulative");
    reader->le = sample->le;
    reader->below = sample->value;
    return true;
}

static bool read_histogram(struct reader *reader, const char *suffix, const struct sample *sample,
                           const char *line) {
    if (strcmp(suffix, "_bucket") == 0)
        return read_bucket(reader, sample, line);
    if (!reader->open || strcmp(reader->labels, sample->labels) != 0 || !isinf(reader->le))
        return no(reader, line, "a count or sum without +Inf before it");
    if (!isnan(sample->le))
        return no(reader, line, "a count or sum with le");
    if (strcmp(suffix, "_count") == 0) {
        reader->counted = true;
        return sample->value == reader->below || no(reader, line, "the count is not that of +Inf");
    }
    reader->summed = true;
    return strcmp(suffix, "_sum") == 0 || no(reader, line, "not a sample of a histogram");
}

static bool read_sample(struct reader *reader, const char *line) {
    struct sample sample;
    size_t length = strlen(family(reader));
    if (!parse_sample(reader, line, &sample))
        return false;
    if (length == 0 || strncmp(sample.name, family(reader), length) != 0)
        return no(reader, line, "a sample outside its family");
    reader->sampled = true;
    const char *suffix = sample.name + length;
    if (!remember(reader, &sample, line))
        return false;
    if (reader->type != TYPE_GAUGE && !(sample.value >= 0.0))
        return no(reader, line, "a negative count");
    switch (reader->type) {
    case TYPE_COUNTER:
        return strcmp(suffix, "_total") == 0 || no(reader, line, "a counter without _total");
    case TYPE_GAUGE:
        return suffix[0] == '\0' || no(reader, line, "a gauge with a suffix");
    case TYPE_HISTOGRAM:
        return read_histogram(reader, suffix, &sample, line);
    case TYPE_NONE:
        break;
    }
    return no(reader, line, "a sample without a type");
}

static bool read_all(struct reader *reader, const char *text) {
    for (const char *line = text; *line != '\0'; line = strchr(line, '\n') + 1) {
        if (strchr(line, '\n') == NULL)
            return no(reader, line, "a line without an end");
        if (strncmp(line, "# EOF\n", 6) == 0)
            return close_metric(reader, line) &&
                   (line[6] == '\0' || no(reader, line, "something after the end"));
        if (line[0] == '#' ? !read_metadata(reader, line) : !read_sample(reader, line))
            return false;
    }
    return no(reader, "", "no # EOF");
}

bool openmetrics_accepts(const char *text, char *why, size_t size) {
    struct reader reader = {.why = why, .size = size};
    reader.seen = malloc(SAMPLES_MAX * sizeof *reader.seen);
    if (reader.seen == NULL)
        return no(&reader, "", "memory is short");
    bool accepted = read_all(&reader, text);
    free(reader.seen);
    return accepted;
}

double openmetrics_value(const char *text, const char *sample) {
    size_t length = strlen(sample);
    for (const char *line = text; line != NULL && *line != '\0';
         line = strchr(line, '\n'), line = line == NULL ? NULL : line + 1)
        if (strncmp(line, sample, length) == 0 && line[length] == ' ')
            return strtod(line + length, NULL);
    return 0.0;
}
