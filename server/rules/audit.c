/* SPDX-License-Identifier: MIT */
/* audit: the line and who may read it. */
#include "server/rules/audit.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "server/rules/list.h"
#include "server/store/audit_rows.h"

int audit_note(struct change *change, const struct caller *caller, const char *action,
               const char *subject, const char *detail, double now_utc_s, struct err *err) {
    const struct audit_new line = {
        .at_utc_s = now_utc_s,
        .by = caller ? caller->credential : 0,
        .role = caller ? role_name(caller->role) : "operator",
        .action = action,
        .subject = subject,
        .detail = detail ? detail : "",
    };
    return audit_rows_add(change_db(change), &line, err);
}

struct audit_subject audit_subject(const char *format, ...) {
    struct audit_subject subject;
    va_list args;
    va_start(args, format);
    vsnprintf(subject.text, sizeof subject.text, format, args);
    va_end(args);
    return subject;
}

void audit_page_release(struct audit_page *page) {
    free(page->items);
    *page = (struct audit_page){0};
}

int audit_list(struct db *db, const struct caller *caller, int64_t before, size_t limit,
               struct audit_page *out, struct err *err) {
    struct audit_page page = {0};
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        audit_rows_list(db, before ? before : INT64_MAX, list_ask(limit), &page.items, &page.count,
                        err))
        return -1;
    if (list_more(limit, &page.count))
        page.next = page.items[page.count - 1].number;
    *out = page;
    return 0;
}
