/* SPDX-License-Identifier: MIT */
/* limits: what one caller may ask of the service, and all of them together. The
 * defaults stand in the table of settings (config.c); why they are what they are
 * is told here.
 *
 * A school sits behind one address, and so does a proxy that was not named. Sixty
 * clients of a class that start together, each with the six connections of a
 * browser, are 360 connections and a few hundred requests at once; an office that
 * registers its schools by a script makes some 75 writes a second. So an address
 * may have 512 connections, 1000 reads and 200 writes a second, and ten seconds'
 * worth of each at once. A key has half the writes and a fifth of the reads, for a
 * class code is shared by its class. An address that floods takes less than a
 * fiftieth of what the writer can do, and it takes eight of them to fill the 4000
 * connections.
 *
 * Looking at a password costs a twentieth of a second of one processor, and guessing
 * one takes many tries: an address has twenty a minute, which is enough for an office
 * that has forgotten its own.
 */
#ifndef NOONARC_LIMITS_H
#define NOONARC_LIMITS_H

#define LIMITS_QUEUE_MAX 4096   /* what the writer's queue takes (rules/writer.h) */
#define LIMITS_HEAD_MAX 8192    /* bytes of a request's line and headers */
#define LIMITS_BYTES_PER_S 1000 /* slowest that a body may come or an answer go */
#define LIMITS_HASTE_S 5        /* patience when connections run out */

struct listener_limits {
    int connections;         /* at once */
    int address_connections; /* of those, from one address */
    int idle_s;              /* a connection silent for so long is closed */
    int patience_s;          /* for a head, and for a body beyond a second per LIMITS_BYTES_PER_S */
    int address_reads;       /* requests a second, 0: as many as come; likewise the next three */
    int address_writes;
    int key_reads;
    int key_writes;
    int address_logins; /* passwords a minute, a minute's worth at once, 0: as many as come */
    int queue;          /* writes that wait for the writer, at most LIMITS_QUEUE_MAX */
    int body_mib;       /* bodies held in memory, all together, MiB */
    int live;           /* listeners to what happens on a day, at once */
    int address_live;   /* of those, from one address */
    char proxy[64];     /* numeric address whose X-Forwarded-For is believed, "" none */
};

#endif
