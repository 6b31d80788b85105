/* SPDX-License-Identifier: MIT */
/* misfortune: what the world does to a program that was started with
 * tests/faults/shim.c before it. The page is shared between the test and that
 * program, so that misfortune comes and goes while it runs. */
#ifndef NOONARC_MISFORTUNE_H
#define NOONARC_MISFORTUNE_H

#define MISFORTUNE_VARIABLE "NOONARC_TEST_MISFORTUNE" /* names the page's file */

struct misfortune {
    long long clock_offset_s; /* the wall clock is wrong by so much */
    int write_errno;          /* writing to files fails with it, 0 does not */
    int sync_errno;           /* forcing files to the disk, likewise */
    int open_errno;           /* opening files for writing, likewise */
    char open_ending[16];     /* of names that this concerns, "" all */
    long malloc_fuse;         /* -1: memory is there; n: the request after n more fails */
    long struck;              /* times that something of the above happened */
};

/* A page, all well, that the programs started from now on share. Fails the test when
 * that cannot be. The test itself is spared. */
struct misfortune *misfortune_new(void);
void misfortune_free(struct misfortune *page);

/* All well again; returns how often it struck since the last call. */
long misfortune_over(struct misfortune *page);

#endif
