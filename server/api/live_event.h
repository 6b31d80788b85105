/* SPDX-License-Identifier: MIT */
/* live_event: what happens on a day as server-sent events (HTML standard, section
 * 9.2 "Server-sent events": fields id, event, data and retry, a blank line at the
 * end). The id is put before by who keeps the events. Kinds: `start` once at the
 * beginning of a stream, then `sky`, `run`, `partner`, `result`. */
#ifndef NOONARC_LIVE_EVENT_H
#define NOONARC_LIVE_EVENT_H

#include <stdbool.h>

#include "server/base/text.h"
#include "server/rules/notice.h"
#include "server/wire/headline.h"

/* event and data of a notice, appended. */
void live_event_notice(const struct notice *notice, struct text *out);
void live_event_result(const struct headline *headline, struct text *out);

/* missed: what came before is not told, and is to be asked for. retry_ms: when to
 * come back after the stream has ended. */
void live_event_start(const char *day, bool missed, int retry_ms, struct text *out);

#endif
