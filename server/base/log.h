/* SPDX-License-Identifier: MIT */
/* log: one line to standard error for what an operator should know: started,
 * stopped, an operation failed. Never for what a client sent wrongly (that is
 * counted, see metrics) and never a key, a code, a body or a contact. Lines
 * start with an RFC 3339 time in UTC and the level; control characters within
 * a message are written as '?', so that a line stays one line. */
#ifndef NOONARC_LOG_H
#define NOONARC_LOG_H

enum log_level { NOONARC_LOG_INFO, NOONARC_LOG_WARNING, NOONARC_LOG_ERROR };

/* One line, at most 1000 bytes, written in one call: lines of several threads
 * do not mix. Words in lower case, no full stop, no newline. */
void log_line(enum log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
