/* SPDX-License-Identifier: MIT */
/* gather: what a commit adds to the store's log is written in one piece. SQLite hands a
 * log's frames over in two writes each, some hundred for a commit of many runs; here they
 * wait until it asks for them to be on the disk. Only for a connection whose commits are
 * synchronous in full: then that comes before any reader is told of them. */
#ifndef NOONARC_GATHER_H
#define NOONARC_GATHER_H

/* The name for sqlite3_open_v2, NULL when memory is short. */
const char *gather_vfs(void);

#endif
