/* SPDX-License-Identifier: MIT */
/* crowd: chains of addresses behind a fixed array; an address without connections
 * is freed. The places in the array come from a hash with a secret of this
 * process, so that nobody can choose addresses that fall together. */
#include "server/http/crowd.h"

#include <pthread.h>
#include <sodium.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define CHAINS 1024u

struct origin {
    struct address address;
    int connections;
    struct origin *next;
};

struct crowd {
    pthread_mutex_t lock;
    unsigned char secret[crypto_shorthash_KEYBYTES];
    int most;
    struct origin *chain[CHAINS];
};

struct crowd *crowd_new(int most) {
    struct crowd *crowd = calloc(1, sizeof *crowd);
    if (crowd == NULL)
        return NULL;
    pthread_mutex_init(&crowd->lock, NULL);
    crypto_shorthash_keygen(crowd->secret);
    crowd->most = most;
    return crowd;
}

void crowd_free(struct crowd *crowd) {
    if (crowd == NULL)
        return;
    for (size_t i = 0; i < CHAINS; i++)
        while (crowd->chain[i] != NULL) {
            struct origin *origin = crowd->chain[i];
            crowd->chain[i] = origin->next;
            free(origin);
        }
    pthread_mutex_destroy(&crowd->lock);
    free(crowd);
}

/* Where the pointer to the address's origin stands, or would be hung up. */
static struct origin **find(struct crowd *crowd, const struct address *address) {
    uint64_t hash;
    _Static_assert(sizeof hash == crypto_shorthash_BYTES, "the hash has 64 bits");
    crypto_shorthash((unsigned char *)&hash, address->bytes, sizeof address->bytes, crowd->secret);
    struct origin **at = &crowd->chain[hash % CHAINS];
    while (*at != NULL && !address_equal(&(*at)->address, address))
        at = &(*at)->next;
    return at;
}

enum crowd_entry crowd_enter(struct crowd *crowd, const struct address *address) {
    enum crowd_entry entry = CROWD_FULL;
    pthread_mutex_lock(&crowd->lock);
    struct origin **at = find(crowd, address);
    if (*at == NULL) {
        *at = calloc(1, sizeof **at);
        if (*at != NULL)
            (*at)->address = *address;
    }
    if (*at == NULL) {
        entry = CROWD_NO_MEMORY;
    } else if ((*at)->connections < crowd->most) {
        (*at)->connections++;
        entry = CROWD_ENTERED;
    }
    pthread_mutex_unlock(&crowd->lock);
    return entry;
}

void crowd_leave(struct crowd *crowd, const struct address *address) {
    pthread_mutex_lock(&crowd->lock);
    struct origin **at = find(crowd, address);
    struct origin *origin = *at;
    if (origin != NULL && --origin->connections == 0) {
        *at = origin->next;
        free(origin);
    }
    pthread_mutex_unlock(&crowd->lock);
}
