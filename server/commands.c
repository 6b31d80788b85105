/* SPDX-License-Identifier: MIT */
#include "server/commands.h"

#include <stdio.h>
#include <time.h>

#include "server/base/log.h"
#include "server/rules/almanac.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/rebuild.h"
#include "server/store/migrate.h"

double commands_now_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static int open_store(const struct config *config, struct db **out, int *applied, struct err *err) {
    struct db *db;
    if (db_open(config->store, DB_WRITE, &db, err) != 0)
        return -1;
    if (migrate_apply(db, migrations, migrations_count, commands_now_utc_s(), applied, err) != 0) {
        db_close(db);
        return -1;
    }
    *out = db;
    return 0;
}

int commands_open_store(const struct config *config, struct db **out, struct err *err) {
    int applied;
    if (open_store(config, out, &applied, err) != 0)
        return -1;
    if (applied > 0)
        log_line(NOONARC_LOG_INFO, "store \"%s\": %d migrations applied", config->store, applied);
    return 0;
}

int command_migrate(const struct config *config, struct err *err) {
    struct db *db;
    int applied;
    if (open_store(config, &db, &applied, err) != 0)
        return -1;
    printf("%s: %d of %d migrations were missing and are applied now\n", config->store, applied,
           migrations_count);
    db_close(db);
    return 0;
}

/* Runs work with everything a change needs, on this thread. */
static int with_change(const struct config *config,
                       int (*work)(struct change *change, void *context, struct err *err),
                       void *context, struct err *err) {
    struct db *db = NULL;
    struct almanac *almanac = NULL;
    struct change *change = NULL;
    int status = -1;
    if (commands_open_store(config, &db, err) != 0)
        goto cleanup;
    almanac = almanac_new();
    change = almanac == NULL ? NULL : change_new(db, almanac);
    if (change == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
        goto cleanup;
    }
    status = work(change, context, err);
cleanup:
    change_free(change);
    almanac_free(almanac);
    db_close(db);
    return status;
}

struct rebuilding {
    struct rebuild_counts counts;
    struct err *err;
};

static int rebuild_in(struct change *change, void *context) {
    struct rebuilding *rebuilding = context;
    return rebuild_all(change, &rebuilding->counts, rebuilding->err);
}

static int rebuild(struct change *change, void *context, struct err *err) {
    return change_alone(change, rebuild_in, context, err);
}

int command_rebuild(const struct config *config, struct err *err) {
    struct rebuilding rebuilding = {.err = err};
    if (with_change(config, rebuild, &rebuilding, err) != 0)
        return -1;
    printf("%s: %zu runs reduced, %zu pairs and %zu days made anew\n", config->store,
           rebuilding.counts.runs, rebuilding.counts.pairs, rebuilding.counts.days);
    return 0;
}

static int check(struct change *change, void *context, struct err *err) {
    struct rebuild_counts counts;
    size_t *differences = context;
    if (rebuild_check(change, &counts, differences, err) != 0)
        return -1;
    printf("%zu runs, %zu pairs and %zu days made anew on the side: %zu differences\n", counts.runs,
           counts.pairs, counts.days, *differences);
    return 0;
}

int command_check(const struct config *config, struct err *err) {
    size_t differences;
    if (with_change(config, check, &differences, err) != 0)
        return -1;
    if (differences > 0)
        return err_set(err, ERR_STORAGE, NULL, "%zu derived rows differ; see noonarcd rebuild",
                       differences);
    return 0;
}

struct appointment {
    const char *name;
    char secret[SECRET_MAX];
    struct err *err;
};

static int appoint_in(struct change *change, void *context) {
    struct appointment *appointment = context;
    return caller_add_organiser(change, appointment->name, commands_now_utc_s(),
                                appointment->secret, appointment->err);
}

static int appoint(struct change *change, void *context, struct err *err) {
    return change_alone(change, appoint_in, context, err);
}

int command_organiser(const struct config *config, struct err *err) {
    struct appointment appointment = {.name = config->operand, .err = err};
    if (with_change(config, appoint, &appointment, err) != 0)
        return -1;
    /* The key alone on standard output, so that a script can take it. */
    fprintf(stderr, "The organiser's key, shown this once; keep it safe:\n");
    printf("%s\n", appointment.secret);
    return 0;
}
