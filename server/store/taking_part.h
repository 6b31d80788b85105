/* SPDX-License-Identifier: MIT */
/* taking_part: who takes part in a day, in SQL, for the questions of several files of
 * this folder. $1 is the day, p the row of participation. */
#ifndef NOONARC_TAKING_PART_H
#define NOONARC_TAKING_PART_H

/* 1 when who takes part in a day is approved first; no row for a day without season. */
#define APPROVAL_OF(day)                                                                           \
    "(SELECT v.approval FROM season_day b JOIN season_version v ON v.season = b.season "           \
    "WHERE b.day = " day " ORDER BY v.version DESC LIMIT 1)"
/* 1 takes part, 0 refused, -1 waits. */
#define SAID                                                                                       \
    "COALESCE((SELECT a.approved FROM approval a WHERE a.day = p.day AND a.site = p.site "         \
    "ORDER BY a.id DESC LIMIT 1), 1 - 2 * COALESCE(" APPROVAL_OF("$1") ", 0))"
#define NEWEST_JOIN                                                                                \
    "p.day = $1 AND p.event = 'join' AND NOT EXISTS (SELECT 1 FROM participation q "               \
    "WHERE q.day = p.day AND q.site = p.site AND q.id > p.id) "

#endif
