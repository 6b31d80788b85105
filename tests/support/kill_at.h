/* SPDX-License-Identifier: MIT */
/* kill_at: a program that ends by SIGKILL as it is about to make a certain system
 * call, so that a test can end it at each of them in turn. */
#ifndef NOONARC_KILL_AT_H
#define NOONARC_KILL_AT_H

/* Runs a program, its output thrown away, and kills it before the system call of this
 * number (from 0 on, those of its start included). Returns the calls it made: call
 * where it was killed, fewer where it ended by itself before. Only its first thread is
 * watched. Fails the test when the program cannot be watched. */
long kill_at(const char *program, char *const *arguments, char *const *environment, long call);

#endif
