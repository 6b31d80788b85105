/* SPDX-License-Identifier: MIT */
/* moved: one moment, the last. */
#include "server/rules/moved.h"

#include <stdatomic.h>
#include <stdlib.h>

struct moved {
    _Atomic uint64_t last;
};

struct moved *moved_new(void) {
    return calloc(1, sizeof(struct moved));
}

void moved_free(struct moved *moved) {
    free(moved);
}

void moved_enter(struct moved *moved, uint64_t moment) {
    atomic_store(&moved->last, moment);
}

bool moved_since(const struct moved *moved, uint64_t moment) {
    return atomic_load(&moved->last) > moment;
}
