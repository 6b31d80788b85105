/* SPDX-License-Identifier: MIT */
/* log: the line is built in a local buffer and written by one write(2). */
#include "server/base/log.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char *const level_names[] = {"info", "warning", "error"};

void log_line(enum log_level level, const char *format, ...) {
    char line[1024];
    struct timespec now;
    struct tm utc;
    clock_gettime(CLOCK_REALTIME, &now);
    gmtime_r(&now.tv_sec, &utc);
    size_t length = strftime(line, sizeof line, "%Y-%m-%dT%H:%M:%S", &utc);
    length += (size_t)snprintf(line + length, sizeof line - length,
                               ".%03ldZ %s: ", now.tv_nsec / 1000000, level_names[level]);

    va_list args;
    va_start(args, format);
    int wanted = vsnprintf(line + length, sizeof line - length - 1, format, args);
    va_end(args);
    if (wanted < 0)
        return;
    size_t end = strlen(line);
    for (size_t at = length; at < end; at++)
        if ((unsigned char)line[at] < ' ' || line[at] == 127)
            line[at] = '?';
    line[end++] = '\n';
    /* Nothing sensible can be done when standard error cannot be written. */
    if (write(STDERR_FILENO, line, end) < 0)
        return;
}
