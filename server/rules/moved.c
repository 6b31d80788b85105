/* SPDX-License-Identifier: MIT */
/* moved: the last moment of each of a few thousand classes of sites. */
#include "server/rules/moved.h"

#include <stdatomic.h>
#include <stdlib.h>

#define CLASSES 4096 /* a power of two, many times the number of runs of one commit */

struct moved {
    _Atomic uint64_t all;
    _Atomic uint64_t site[CLASSES];
};

struct moved *moved_new(void) {
    return calloc(1, sizeof(struct moved));
}

void moved_free(struct moved *moved) {
    free(moved);
}

static size_t class_of(int64_t site) {
    return (size_t)((uint64_t)site % CLASSES);
}

void moved_enter_site(struct moved *moved, int64_t site, uint64_t moment) {
    atomic_store(&moved->site[class_of(site)], moment);
}

void moved_enter_all(struct moved *moved, uint64_t moment) {
    atomic_store(&moved->all, moment);
}

bool moved_any_since(const struct moved *moved, uint64_t moment) {
    return atomic_load(&moved->all) > moment;
}

bool moved_since(const struct moved *moved, int64_t site, uint64_t moment) {
    return moved_any_since(moved, moment) || atomic_load(&moved->site[class_of(site)]) > moment;
}
