/* SPDX-License-Identifier: MIT */
#include "client/events.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void clear_event(struct events *events) {
    snprintf(events->name, sizeof events->name, "message");
    events->data[0] = '\0';
    events->data_length = 0;
    events->has_data = false;
}

void events_begin(struct events *events) {
    events->length = 0;
    events->after_cr = false;
    clear_event(events);
}

static void add_data(struct events *events, const char *value) {
    size_t room = sizeof events->data - 1 - events->data_length;
    int written = snprintf(events->data + events->data_length, room + 1, "%s%s",
                           events->has_data ? "\n" : "", value);
    if (written > 0)
        events->data_length += (size_t)written < room ? (size_t)written : room;
    events->has_data = true;
}

static void take_field(struct events *events, const char *name, const char *value) {
    if (strcmp(name, "event") == 0)
        snprintf(events->name, sizeof events->name, "%.*s", EVENTS_NAME_MAX - 1, value);
    else if (strcmp(name, "data") == 0)
        add_data(events, value);
    else if (strcmp(name, "id") == 0 && strlen(value) < sizeof events->id)
        snprintf(events->id, sizeof events->id, "%s", value);
    else if (strcmp(name, "retry") == 0 && value[0] != '\0' &&
             strspn(value, "0123456789") == strlen(value) && strlen(value) < 8)
        events->retry_ms = strtol(value, NULL, 10);
}

static bool take_line(struct events *events, events_hear hear, void *context) {
    char *line = events->line, *colon;
    line[events->length] = '\0';
    events->length = 0;
    if (line[0] == '\0') {
        bool go_on = !events->has_data || hear(context, events->name, events->data);
        clear_event(events);
        return go_on;
    }
    colon = strchr(line, ':');
    if (colon == line) /* a comment */
        return true;
    if (colon == NULL) {
        take_field(events, line, "");
        return true;
    }
    *colon = '\0';
    take_field(events, line, colon[1] == ' ' ? colon + 2 : colon + 1);
    return true;
}

bool events_take(struct events *events, const char *bytes, size_t length, events_hear hear,
                 void *context) {
    for (size_t i = 0; i < length; i++) {
        char c = bytes[i];
        bool ends = c == '\r' || (c == '\n' && !events->after_cr);
        bool passes = c == '\n' && events->after_cr;
        events->after_cr = c == '\r';
        if (ends) {
            if (!take_line(events, hear, context))
                return false;
        } else if (!passes && events->length < sizeof events->line - 1) {
            events->line[events->length++] = c;
        }
    }
    return true;
}
