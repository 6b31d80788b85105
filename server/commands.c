/* SPDX-License-Identifier: MIT */
#include "server/commands.h"

#include <limits.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "server/ask_password.h"
#include "server/base/log.h"
#include "server/rules/almanac.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/organisers.h"
#include "server/rules/purge.h"
#include "server/rules/rebuild.h"
#include "server/store/backup.h"
#include "server/store/claim.h"
#include "server/store/migrate.h"
#include "server/store/recognise.h"
#include "server/wire/account_read.h"
#include "server/wire/field.h"

double commands_now_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* Brings the store up to date; the caller has its claim. */
static int open_claimed(const char *store, struct db **out, int *applied, struct err *err) {
    struct db *db;
    if (db_open(store, DB_WRITE, &db, err) != 0)
        return -1;
    if (migrate_apply(db, migrations, migrations_count, commands_now_utc_s(), applied, err) != 0) {
        db_close(db);
        return -1;
    }
    if (*applied > 0)
        log_line(NOONARC_LOG_INFO, "store \"%s\": %d migrations applied", store, *applied);
    *out = db;
    return 0;
}

int commands_open_store(const struct config *config, struct claim *claim, struct db **out,
                        struct err *err) {
    int applied;
    if (store_permit(config->store, err) != 0 || claim_take(config->store, claim, err) != 0)
        return -1;
    if (open_claimed(config->store, out, &applied, err) == 0)
        return 0;
    claim_release(claim);
    return -1;
}

/* Without a claim (file -1) where another noonarcd has it. */
static int claim_or_share(const char *store, struct claim *claim, struct err *err) {
    struct err held = {0};
    if (claim_take(store, claim, &held) == 0 || held.code == ERR_BUSY)
        return 0;
    *err = held;
    return -1;
}

/* As commands_open_store, but beside a server if one is at work: then the store must
 * have the form this program knows already, and only a short change may be made. */
static int open_beside(const struct config *config, struct claim *claim, struct db **out,
                       int *applied, struct err *err) {
    struct db *db;
    if (store_permit(config->store, err) != 0 || claim_or_share(config->store, claim, err) != 0)
        return -1;
    if (claim->file >= 0)
        return open_claimed(config->store, out, applied, err);
    if (db_open(config->store, DB_WRITE, &db, err) != 0)
        return -1;
    if (migrate_verify(db, migrations, migrations_count, err) != 0) {
        db_close(db);
        return -1;
    }
    *applied = 0;
    *out = db;
    return 0;
}

int command_migrate(const struct config *config, struct err *err) {
    struct claim claim = {.file = -1};
    struct db *db = NULL;
    int applied;
    int status = open_beside(config, &claim, &db, &applied, err);
    if (status == 0)
        printf("%s: %d of %d migrations were missing and are applied now\n", config->store, applied,
               migrations_count);
    db_close(db);
    claim_release(&claim);
    return status;
}

/* Runs work with everything a change needs, on this thread. Takes the connection. */
static int with_change(struct db *db,
                       int (*work)(struct change *change, void *context, struct err *err),
                       void *context, struct err *err) {
    struct almanac *almanac = almanac_new();
    struct change *change = almanac == NULL ? NULL : change_new(db, almanac, NULL);
    int status = change == NULL ? err_set(err, ERR_INTERNAL, NULL, "memory is short")
                                : work(change, context, err);
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
    struct claim claim = {.file = -1};
    struct db *db;
    if (store_require(config->store, err) != 0 ||
        commands_open_store(config, &claim, &db, err) != 0)
        return -1;
    int status = with_change(db, rebuild, &rebuilding, err);
    claim_release(&claim);
    if (status == 0)
        printf("%s: %zu runs of %zu days reduced anew\n", config->store, rebuilding.counts.runs,
               rebuilding.counts.days);
    return status;
}

static int check(struct change *change, void *context, struct err *err) {
    struct rebuild_counts counts;
    size_t *differences = context;
    if (rebuild_check(change, &counts, differences, err) != 0)
        return -1;
    printf("%zu runs of %zu days reduced anew on the side: %zu differences\n", counts.runs,
           counts.days, *differences);
    return 0;
}

static int check_store(const char *store, struct err *err) {
    struct db *db;
    size_t differences = 0;
    int applied;
    if (open_claimed(store, &db, &applied, err) != 0 ||
        with_change(db, check, &differences, err) != 0)
        return -1;
    if (differences > 0)
        return err_set(err, ERR_STORAGE, NULL, "%zu derived rows differ; see noonarcd rebuild",
                       differences);
    return 0;
}

/* Making everything anew holds a store for as long as it takes; where a server is
 * at work, a copy is looked at instead. */
int command_check(const struct config *config, struct err *err) {
    struct claim claim = {.file = -1};
    char copy[PATH_MAX];
    if (store_require(config->store, err) != 0 || claim_or_share(config->store, &claim, err) != 0)
        return -1;
    if (claim.file >= 0) {
        int status = check_store(config->store, err);
        claim_release(&claim);
        return status;
    }
    if (backup_aside(config->store, copy, sizeof copy, err) != 0)
        return -1;
    int status = check_store(copy, err);
    backup_aside_drop(copy);
    return status;
}

int command_backup(const struct config *config, struct err *err) {
    char checksum[HASH_HEX_MAX];
    if (store_require(config->store, err) != 0 ||
        backup_make(config->store, config->operand, checksum, err) != 0)
        return -1;
    printf("%s  %s\n", checksum, config->operand);
    return 0;
}

int command_restore(const struct config *config, struct err *err) {
    char checksum[HASH_HEX_MAX];
    struct claim claim = {.file = -1};
    /* What stands in the store's place may be a wreck: it is not looked at. */
    if (store_require(config->operand, err) != 0 || claim_take(config->store, &claim, err) != 0)
        return -1;
    int status = backup_restore(config->operand, config->store, config->replace,
                                commands_now_utc_s(), checksum, err);
    claim_release(&claim);
    if (status == 0)
        printf("%s  %s\n", checksum, config->operand);
    return status;
}

struct purging {
    const struct config *config;
    struct purge_counts counts;
    struct text names;
};

static int purge(struct change *change, void *context, struct err *err) {
    struct purging *purging = context;
    const double now_utc_s = commands_now_utc_s();
    const int keep_days = purging->config->keep_days;
    if (purge_count(change_db(change), keep_days, now_utc_s, &purging->counts, &purging->names,
                    err) != 0)
        return -1;
    return purging->config->apply ? purge_do(change, keep_days, now_utc_s, &purging->counts, err)
                                  : 0;
}

static void print_purge(const struct purging *purging) {
    const struct purge_counts *counts = &purging->counts;
    const struct {
        int64_t count;
        const char *what;
    } rows[] = {
        {counts->schools, "schools not heard of since are removed; their numbers stay"},
        {counts->words, "runs lose what was written beside the readings"},
        {counts->audit, "lines of the audit log are erased"},
        {counts->invitations, "contacts of invitations are erased"},
        {counts->answers, "first answers kept for requests sent again are erased"},
        {counts->registrations, "registrations are not answered again any more"},
        {counts->sessions, "sessions that are over are erased"},
        {counts->contacts, "contacts that were replaced are erased"},
    };
    bool applied = purging->config->apply;
    printf("%s: kept for %d days; %s\n", purging->config->store, purging->config->keep_days,
           applied ? "this was done:" : "with --apply this would be done:");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        printf("%8lld %s\n", (long long)rows[i].count, rows[i].what);
    if (purging->names.length > 0)
        printf("schools %s:\n%s", applied ? "removed" : "to be removed", purging->names.bytes);
}

int command_purge(const struct config *config, struct err *err) {
    struct purging purging = {.config = config};
    struct claim claim = {.file = -1};
    struct db *db = NULL;
    int applied;
    text_init(&purging.names, 1u << 24);
    int status = open_beside(config, &claim, &db, &applied, err);
    if (status == 0)
        status = with_change(db, purge, &purging, err);
    claim_release(&claim);
    if (status == 0)
        print_purge(&purging);
    text_release(&purging.names);
    return status;
}

struct appointment {
    const char *name;
    char hash[PASSWORD_HASH_MAX]; /* of a password, "" none */
    char secret[SECRET_MAX];
    struct err *err;
};

static int appoint_in(struct change *change, void *context) {
    struct appointment *appointment = context;
    if (appointment->hash[0] != '\0')
        return organiser_appoint(change, appointment->name, appointment->hash, commands_now_utc_s(),
                                 appointment->err);
    return caller_add_organiser(change, appointment->name, commands_now_utc_s(),
                                appointment->secret, appointment->err);
}

static int appoint(struct change *change, void *context, struct err *err) {
    return change_alone(change, appoint_in, context, err);
}

/* Before the store is opened: whoever types may take their time. */
static int hash_password(const char *name, char hash[PASSWORD_HASH_MAX], struct err *err) {
    char password[PASSWORD_MAX_BYTES + 2]; /* the line's end too */
    if (!field_is_id(name))
        return err_set(err, ERR_BAD_TEXT, "name",
                       "a name to log in by has 1 to %d of A-Z a-z 0-9 . _ - and begins with a "
                       "letter or digit",
                       ID_MAX);
    int status = ask_password(password, sizeof password, err);
    if (status == 0 && !field_text_is_clean(password, strlen(password), false))
        status = err_set(err, ERR_BAD_TEXT, "password", "a password is UTF-8 on one line");
    if (status == 0)
        status = password_acceptable(name, password, "password", err);
    if (status == 0)
        status = password_hash(password, hash, err);
    sodium_memzero(password, sizeof password);
    return status;
}

int command_organiser(const struct config *config, struct err *err) {
    struct appointment appointment = {.name = config->operand, .err = err};
    if (config->password && hash_password(config->operand, appointment.hash, err) != 0)
        return -1;
    struct claim claim = {.file = -1};
    struct db *db = NULL;
    int applied;
    int status = open_beside(config, &claim, &db, &applied, err);
    if (status == 0)
        status = with_change(db, appoint, &appointment, err);
    claim_release(&claim);
    if (status != 0)
        return -1;
    if (config->password) {
        printf("%s logs in by the password given\n", config->operand);
        return 0;
    }
    /* The key alone on standard output, so that a script can take it. */
    fprintf(stderr, "The organiser's key, shown this once; keep it safe:\n");
    printf("%s\n", appointment.secret);
    return 0;
}
