/* SPDX-License-Identifier: MIT */
/* almanac: a small ring of Suns behind one lock. A measurement day needs one or
 * two, a store of many years a few dozen during a rebuild. */
#include "server/rules/almanac.h"

#include <pthread.h>
#include <stdlib.h>

#define ALMANAC_DAYS 64

struct almanac {
    pthread_mutex_t lock;
    struct sun_day day[ALMANAC_DAYS];
    int count, next; /* filled; to be overwritten next */
};

struct almanac *almanac_new(void) {
    struct almanac *almanac = calloc(1, sizeof *almanac);
    if (almanac)
        pthread_mutex_init(&almanac->lock, NULL);
    return almanac;
}

void almanac_free(struct almanac *almanac) {
    if (!almanac)
        return;
    pthread_mutex_destroy(&almanac->lock);
    free(almanac);
}

bool almanac_day(struct almanac *almanac, int32_t day_number, struct sun_day *out) {
    bool known = false;
    pthread_mutex_lock(&almanac->lock);
    for (int i = 0; i < almanac->count && !known; i++)
        if (almanac->day[i].day_number == day_number) {
            *out = almanac->day[i];
            known = true;
        }
    /* Built under the lock: threads that want the same new day wait for one. */
    if (!known && sun_day_build(day_number, &almanac->day[almanac->next])) {
        *out = almanac->day[almanac->next];
        known = true;
        if (almanac->count < ALMANAC_DAYS)
            almanac->count++;
        almanac->next = (almanac->next + 1) % ALMANAC_DAYS;
    }
    pthread_mutex_unlock(&almanac->lock);
    return known;
}
