/* SPDX-License-Identifier: MIT */
#include "server/rules/matching.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/blossom.h"
#include "server/rules/extremes.h"
#include "server/science/meridian.h"
#include "server/science/pair.h"

#define NOBODY SIZE_MAX
#define GROUP_MAX 32       /* sites solved anew together */
#define GROUP_SINGLES 8    /* of them, in a group made for singles */
#define ROUNDS_WORK 100000 /* rounds of improvement times sites */
#define ROUNDS_MIN 1
#define ROUNDS_MAX 12
#define COST_PER_KM 1000.0    /* sigma is told apart to the metre */
#define COST_MAX 1000000000LL /* and above a million km not at all */

/* The sites that can be paired, from west to east beginning after the widest gap. */
struct band {
    const struct match_site *sites;
    const struct match_rules *rules;
    size_t *site;     /* by longitude: index into sites */
    double *east_deg; /* of the same, from the beginning; ascending */
    size_t *mate;     /* by the same places: the place of the partner, or NOBODY */
    size_t *order;    /* room for a list of places */
    double *key;      /* of a place, for sorting */
    size_t count;
    bool exact;
};

bool match_allowed(const struct match_site *one, const struct match_site *two,
                   const struct match_rules *rules, double *sigma_km) {
    double separation_km = fabs(one->meridian_km - two->meridian_km);
    if (!one->measurable || !two->measurable || separation_km < rules->min_separation_km ||
        pair_lon_difference_deg(one->lon_deg, two->lon_deg) > rules->lon_tolerance_deg)
        return false;
    double angle_deg = 360.0 * separation_km / MERIDIAN_CIRCUMFERENCE_KM;
    *sigma_km = MERIDIAN_CIRCUMFERENCE_KM * hypot(one->sigma_deg, two->sigma_deg) / angle_deg;
    return !(*sigma_km > rules->max_sigma_km);
}

static bool allowed(const struct band *band, size_t a, size_t b, double *sigma_km) {
    return match_allowed(&band->sites[band->site[a]], &band->sites[band->site[b]], band->rules,
                         sigma_km);
}

static double meridian_km(const struct band *band, size_t place) {
    return band->sites[band->site[place]].meridian_km;
}

/* ---- sorting places by a key, equals by place ---- */

struct keyed {
    double key;
    size_t place;
};

static int by_key(const void *left, const void *right) {
    const struct keyed *a = left, *b = right;
    if (a->key != b->key)
        return a->key < b->key ? -1 : 1;
    return (a->place > b->place) - (a->place < b->place);
}

static int sort_by_key(const double *key, size_t *place, size_t count, struct err *err) {
    struct keyed *keyed = malloc((count + 1) * sizeof *keyed);
    if (keyed == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++)
        keyed[i] = (struct keyed){key[place[i]], place[i]};
    qsort(keyed, count, sizeof *keyed, by_key);
    for (size_t i = 0; i < count; i++)
        place[i] = keyed[i].place;
    free(keyed);
    return 0;
}

/* ---- exactly, for few ---- */

/* In metres of sigma; 0 where they may not pair. */
static int64_t cost_of(const struct band *band, size_t a, size_t b) {
    double sigma_km;
    if (!allowed(band, a, b, &sigma_km))
        return 0;
    double cost = round(sigma_km * COST_PER_KM);
    return cost < 1.0 ? 1 : cost > (double)COST_MAX ? COST_MAX : (int64_t)cost;
}

/* Solves the places of a group anew, singles and whole pairs only. Another pair outweighs
 * all costs. */
static int solve(struct band *band, const size_t *place, size_t count, struct err *err) {
    const int n = (int)count;
    int64_t *weight = calloc(count * count + 1, sizeof *weight);
    int *mate = malloc((count + 1) * sizeof *mate);
    int64_t dearest = 0;
    int result = -1;
    if (weight == NULL || mate == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < i; k++) {
            int64_t cost = cost_of(band, place[i], place[k]);
            weight[i * count + k] = weight[k * count + i] = cost;
            dearest = cost > dearest ? cost : dearest;
        }
    const int64_t pair = (dearest + 1) * (n / 2 + 1);
    for (size_t i = 0; i < count * count; i++)
        weight[i] = weight[i] == 0 ? 0 : pair + dearest - weight[i];
    if (blossom_match(weight, n, mate, err) != 0)
        goto cleanup;
    for (size_t i = 0; i < count; i++)
        band->mate[place[i]] = mate[i] == BLOSSOM_FREE ? NOBODY : place[mate[i]];
    result = 0;
cleanup:
    free(weight);
    free(mate);
    return result;
}

/* ---- built, for many ---- */

/* The most southern k of places sorted by meridian with the most northern k. */
static void pair_across(struct band *band, const size_t *place, size_t count) {
    size_t low = 0, high = count / 2;
    /* With fewer pairs all are farther apart. */
    while (low < high) {
        size_t pairs = (low + high + 1) / 2;
        bool apart = true;
        for (size_t i = 0; i < pairs && apart; i++)
            apart = meridian_km(band, place[count - pairs + i]) - meridian_km(band, place[i]) >=
                    band->rules->min_separation_km;
        if (apart)
            low = pairs;
        else
            high = pairs - 1;
    }
    for (size_t i = 0; i < low; i++) {
        size_t south = place[i], north = place[count - low + i];
        double sigma_km;
        if (!allowed(band, south, north, &sigma_km))
            continue;
        band->mate[south] = north;
        band->mate[north] = south;
    }
}

static int build(struct band *band, size_t from, size_t to, struct err *err) {
    size_t *place = band->order;
    for (size_t i = from; i < to; i++)
        band->key[i] = meridian_km(band, i);
    while (from < to) {
        size_t count = 0;
        for (size_t i = from;
             i < to && band->east_deg[i] - band->east_deg[from] <= band->rules->lon_tolerance_deg;
             i++)
            place[count++] = i;
        if (sort_by_key(band->key, place, count, err) != 0)
            return -1;
        pair_across(band, place, count);
        from += count;
    }
    return 0;
}

/* ---- and improved ---- */

enum view { VIEW_LONGITUDE, VIEW_SOUTH, VIEW_SIGMA, VIEWS };

/* A pair stands for itself at the place of its western member. */
static bool stands(const struct band *band, size_t place) {
    return band->mate[place] == NOBODY || place < band->mate[place];
}

static double key_of(const struct band *band, size_t place, enum view view) {
    size_t mate = band->mate[place] == NOBODY ? place : band->mate[place];
    const struct match_site *one = &band->sites[band->site[place]];
    const struct match_site *two = &band->sites[band->site[mate]];
    switch (view) {
    case VIEW_SOUTH:
        return fmin(one->meridian_km, two->meridian_km);
    case VIEW_SIGMA:
        return hypot(one->sigma_deg, two->sigma_deg);
    case VIEW_LONGITUDE:
    case VIEWS:
        break;
    }
    return band->east_deg[place] + band->east_deg[mate];
}

/* Solves anew one group after another of the list. */
static int solve_groups(struct band *band, const size_t *stand, size_t count, struct err *err) {
    size_t group[GROUP_MAX], from = 0;
    while (from < count) {
        size_t used = 0;
        for (; from < count && used + 2 <= GROUP_MAX; from++) {
            /* The other half may have been joined to somebody else since. */
            if (!stands(band, stand[from]))
                continue;
            group[used++] = stand[from];
            if (band->mate[stand[from]] != NOBODY)
                group[used++] = band->mate[stand[from]];
        }
        if (used > 2 && solve(band, group, used, err) != 0)
            return -1;
    }
    return 0;
}

/* One round: windows of two tolerances in longitude, each sorted as the view says. */
static int improve(struct band *band, size_t from, size_t to, enum view view, struct err *err) {
    const double wide_deg = 2.0 * band->rules->lon_tolerance_deg;
    for (size_t i = from; i < to;) {
        size_t count = 0, half = i, end = i;
        for (; end < to && band->east_deg[end] - band->east_deg[i] <= wide_deg; end++) {
            if (band->east_deg[end] - band->east_deg[i] <= wide_deg / 2.0)
                half = end + 1;
            if (!stands(band, end))
                continue;
            band->order[count++] = end;
            band->key[end] = key_of(band, end, view);
        }
        if (sort_by_key(band->key, band->order, count, err) != 0 ||
            solve_groups(band, band->order, count, err) != 0)
            return -1;
        i = end == to ? to : half;
    }
    return 0;
}

/* ---- as many pairs as can be found ---- */

#define SEARCH_ROUNDS_MAX 64

/* A search from one single along paths of which every second step is a pair. Places at
 * an even distance look for a way on; whatever was reached is looked at once. */
struct search {
    struct band *band;
    size_t from, to;        /* of the places */
    struct extremes single; /* not yet reached */
    struct extremes paired; /* likewise */
    size_t *reached;        /* places at an even distance, in the order they were reached */
    size_t *through;        /* by place less from: from where an odd one was reached */
    size_t reached_count;
};

static void search_release(struct search *search) {
    extremes_release(&search->single);
    extremes_release(&search->paired);
    free(search->reached);
    free(search->through);
}

static void show(struct search *search, size_t place) {
    bool single = search->band->mate[place] == NOBODY;
    extremes_set(&search->single, place - search->from, single);
    extremes_set(&search->paired, place - search->from, !single);
}

static void hide(struct search *search, size_t place) {
    bool single = search->band->mate[place] == NOBODY;
    extremes_set(single ? &search->single : &search->paired, place - search->from, false);
}

static int search_init(struct search *search, struct band *band, size_t from, size_t to,
                       struct err *err) {
    const size_t count = to - from;
    *search = (struct search){.band = band, .from = from, .to = to};
    if (extremes_init(&search->single, count, err) != 0 ||
        extremes_init(&search->paired, count, err) != 0)
        return -1;
    for (size_t i = 0; i < count; i++)
        search->single.value[i] = search->paired.value[i] = meridian_km(band, from + i);
    search->reached = calloc(count, sizeof *search->reached);
    search->through = calloc(count, sizeof *search->through);
    return search->reached && search->through ? 0
                                              : err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

/* The first place that lies not less than so far east, among from..to. */
static size_t first_at(const struct band *band, size_t from, size_t to, double east_deg) {
    while (from < to) {
        size_t middle = from + (to - from) / 2;
        if (band->east_deg[middle] < east_deg)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

/* One of those in the tree that may pair with a place: of the farthest, north or south,
 * the farther. NOBODY when neither may. */
static size_t farthest(const struct search *search, const struct extremes *tree, size_t place) {
    const struct band *band = search->band;
    const double reach_deg = band->rules->lon_tolerance_deg, east_deg = band->east_deg[place];
    size_t low = first_at(band, search->from, place, east_deg - reach_deg);
    size_t high = first_at(band, place, search->to, nextafter(east_deg + reach_deg, INFINITY));
    size_t least, greatest;
    double sigma_km;
    extremes_find(tree, low - search->from, high - search->from, &least, &greatest);
    if (least == EXTREMES_NONE)
        return NOBODY;
    size_t south = search->from + least, north = search->from + greatest;
    if (fabs(meridian_km(band, north) - meridian_km(band, place)) <
        fabs(meridian_km(band, south) - meridian_km(band, place))) {
        size_t kept = north;
        north = south;
        south = kept;
    }
    if (allowed(band, place, north, &sigma_km))
        return north;
    return allowed(band, place, south, &sigma_km) ? south : NOBODY;
}

/* Along the path back to where the search began every pair is exchanged. */
static void flip(struct search *search, size_t even, size_t single) {
    size_t *mate = search->band->mate;
    while (even != NOBODY) {
        size_t odd = mate[even];
        mate[even] = single;
        mate[single] = even;
        if (odd == NOBODY)
            return;
        single = odd;
        even = search->through[odd - search->from];
    }
}

/* A place at an even distance is reached; true when it leads to a single at once. */
static bool reach(struct search *search, size_t even) {
    size_t single = farthest(search, &search->single, even);
    search->reached[search->reached_count++] = even;
    if (single == NOBODY)
        return false;
    hide(search, single);
    flip(search, even, single);
    return true;
}

static bool search_from(struct search *search, size_t root) {
    search->reached_count = 0;
    hide(search, root);
    if (reach(search, root))
        return true;
    for (size_t at = 0; at < search->reached_count; at++) {
        size_t even = search->reached[at], odd;
        while ((odd = farthest(search, &search->paired, even)) != NOBODY) {
            size_t mate = search->band->mate[odd];
            hide(search, odd);
            hide(search, mate);
            search->through[odd - search->from] = even;
            if (reach(search, mate))
                return true;
        }
    }
    return false;
}

/* Searches from every single, in rounds within which a place is reached once: so a round
 * costs n log n, and few are needed (J. Hopcroft and R. Karp, "An n^5/2 algorithm for
 * maximum matchings in bipartite graphs", SIAM J. Comput. 2 (1973) 225). When none
 * finds a way any more there is none, except along pairs in odd circles, of which
 * this knows nothing. */
static int pair_singles(struct band *band, size_t from, size_t to, struct err *err) {
    struct search search;
    bool grown = true;
    int result = search_init(&search, band, from, to, err);
    for (int round = 0; round < SEARCH_ROUNDS_MAX && grown && result == 0; round++) {
        grown = false;
        for (size_t i = from; i < to; i++)
            show(&search, i);
        for (size_t i = from; i < to; i++)
            if (band->mate[i] == NOBODY)
                grown |= search_from(&search, i);
    }
    search_release(&search);
    return result;
}

static int match_many(struct band *band, size_t from, size_t to, struct err *err) {
    size_t rounds = ROUNDS_WORK / (to - from);
    rounds = rounds < ROUNDS_MIN ? ROUNDS_MIN : rounds > ROUNDS_MAX ? ROUNDS_MAX : rounds;
    if (build(band, from, to, err) != 0)
        return -1;
    for (size_t round = 0; round < rounds; round++) {
        if (pair_singles(band, from, to, err) != 0)
            return -1;
        for (enum view view = VIEW_LONGITUDE; view < VIEWS; view++)
            if (improve(band, from, to, view, err) != 0)
                return -1;
    }
    return pair_singles(band, from, to, err);
}

/* ---- bands ---- */

static void band_release(struct band *band) {
    free(band->site);
    free(band->east_deg);
    free(band->mate);
    free(band->order);
    free(band->key);
}

/* The ring of longitudes is cut at its widest gap; of equals, at the first. */
static int band_init(struct band *band, const struct match_site *sites, size_t count,
                     const struct match_rules *rules, struct err *err) {
    *band = (struct band){.sites = sites, .rules = rules, .exact = true};
    band->site = calloc(count + 1, sizeof *band->site);
    band->order = calloc(count + 1, sizeof *band->order);
    band->mate = calloc(count + 1, sizeof *band->mate);
    band->east_deg = calloc(count + 1, sizeof *band->east_deg);
    band->key = calloc(count + 1, sizeof *band->key);
    if (!band->site || !band->order || !band->mate || !band->east_deg || !band->key)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++) {
        band->key[i] = sites[i].lon_deg;
        if (sites[i].measurable)
            band->order[band->count++] = i;
    }
    const size_t n = band->count;
    if (n == 0)
        return 0;
    if (sort_by_key(band->key, band->order, n, err) != 0)
        return -1;
    size_t first = 0;
    double widest_deg = sites[band->order[0]].lon_deg + 360.0 - sites[band->order[n - 1]].lon_deg;
    for (size_t i = 1; i < n; i++) {
        double gap_deg = sites[band->order[i]].lon_deg - sites[band->order[i - 1]].lon_deg;
        if (gap_deg > widest_deg) {
            widest_deg = gap_deg;
            first = i;
        }
    }
    for (size_t i = 0; i < n; i++) {
        band->site[i] = band->order[(first + i) % n];
        band->east_deg[i] = sites[band->site[i]].lon_deg - sites[band->site[0]].lon_deg;
        if (band->east_deg[i] < 0.0)
            band->east_deg[i] += 360.0;
        band->mate[i] = NOBODY;
    }
    return 0;
}

static int solve_all(struct band *band, size_t from, size_t to, struct err *err) {
    size_t *place = calloc(to - from, sizeof *place);
    if (place == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = from; i < to; i++)
        place[i - from] = i;
    int result = solve(band, place, to - from, err);
    free(place);
    return result;
}

static int match_bands(struct band *band, struct err *err) {
    size_t from = 0;
    for (size_t i = 1; i <= band->count; i++) {
        if (i < band->count &&
            band->east_deg[i] - band->east_deg[i - 1] <= band->rules->lon_tolerance_deg)
            continue;
        if (i - from <= band->rules->exact_max) {
            if (solve_all(band, from, i, err) != 0)
                return -1;
        } else {
            band->exact = false;
            if (match_many(band, from, i, err) != 0)
                return -1;
        }
        from = i;
    }
    return 0;
}

/* ---- from mates to links ---- */

static void add_link(struct matching *matching, const struct band *band, size_t a, size_t b,
                     double sigma_km) {
    matching->link[matching->links++] = (struct match_link){band->site[a], band->site[b], sigma_km};
    matching->link[matching->links++] = (struct match_link){band->site[b], band->site[a], sigma_km};
}

/* Of the places whose pair has no third yet, the first from a place on; those passed
 * over are passed over for good. */
static size_t next_open(size_t *open, size_t place) {
    size_t found = place;
    while (open[found] != found)
        found = open[found];
    while (open[place] != found) {
        size_t next = open[place];
        open[place] = found;
        place = next;
    }
    return found;
}

struct choice {
    size_t place; /* NOBODY none */
    double sigma_km;
};

/* The best of the open ones in a stretch of places. The least sigma that a place could
 * come to, from the separation and the single's own part, is looked at first. */
static void best_of(const struct band *band, size_t *open, size_t single, size_t from, size_t to,
                    struct choice *best) {
    const double own_deg = band->sites[band->site[single]].sigma_deg;
    for (size_t i = next_open(open, from); i < to; i = next_open(open, i + 1)) {
        double apart_km = fabs(meridian_km(band, i) - meridian_km(band, single)), sigma_km;
        if (best->place != NOBODY &&
            own_deg * MERIDIAN_CIRCUMFERENCE_KM * MERIDIAN_CIRCUMFERENCE_KM / 360.0 >
                best->sigma_km * apart_km)
            continue;
        if (!allowed(band, single, i, &sigma_km))
            continue;
        if (best->place == NOBODY || sigma_km < best->sigma_km ||
            (sigma_km == best->sigma_km && band->site[i] < band->site[best->place]))
            *best = (struct choice){i, sigma_km};
    }
}

/* Within the tolerance, across the end of the ring too. */
static size_t best_pair(const struct band *band, size_t *open, size_t single, double *sigma_km) {
    const double reach_deg = band->rules->lon_tolerance_deg, east_deg = band->east_deg[single];
    const size_t count = band->count;
    struct choice best = {.place = NOBODY};
    best_of(band, open, single, first_at(band, 0, single, east_deg - reach_deg),
            first_at(band, single, count, nextafter(east_deg + reach_deg, INFINITY)), &best);
    best_of(band, open, single, first_at(band, 0, count, east_deg + 360.0 - reach_deg), count,
            &best);
    best_of(band, open, single, 0,
            first_at(band, 0, single, nextafter(east_deg - 360.0 + reach_deg, INFINITY)), &best);
    *sigma_km = best.sigma_km;
    return best.place;
}

static int by_site(const void *left, const void *right) {
    const struct match_link *a = left, *b = right;
    if (a->site != b->site)
        return a->site < b->site ? -1 : 1;
    if (a->sigma_km != b->sigma_km)
        return a->sigma_km < b->sigma_km ? -1 : 1;
    return (a->partner > b->partner) - (a->partner < b->partner);
}

/* Singles in the order of the sites, so that longitude has no say in who comes first. */
static int join_threes(struct band *band, struct matching *matching, struct err *err) {
    size_t singles = 0;
    size_t *open = calloc(band->count + 2, sizeof *open);
    if (open == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i <= band->count; i++)
        open[i] = i < band->count && band->mate[i] == NOBODY ? i + 1 : i;
    for (size_t i = 0; i < band->count; i++) {
        band->key[i] = (double)band->site[i];
        if (band->mate[i] == NOBODY)
            band->order[singles++] = i;
    }
    int result = sort_by_key(band->key, band->order, singles, err);
    for (size_t i = 0; i < singles && result == 0; i++) {
        size_t single = band->order[i];
        double sigma_km, other_km;
        size_t best = best_pair(band, open, single, &sigma_km);
        if (best == NOBODY) {
            matching->alone++;
            continue;
        }
        size_t other = band->mate[best];
        open[best] = best + 1;
        open[other] = other + 1;
        add_link(matching, band, single, best, sigma_km);
        if (allowed(band, single, other, &other_km))
            add_link(matching, band, single, other, other_km);
        matching->threes++;
    }
    free(open);
    return result;
}

static void link_pairs(const struct band *band, struct matching *matching) {
    for (size_t i = 0; i < band->count; i++) {
        double sigma_km;
        if (band->mate[i] == NOBODY || band->mate[i] < i ||
            !allowed(band, i, band->mate[i], &sigma_km))
            continue;
        add_link(matching, band, i, band->mate[i], sigma_km);
        matching->pairs++;
        matching->sigma_km += sigma_km;
    }
}

int matching_make(const struct match_site *sites, size_t count, const struct match_rules *rules,
                  struct matching *out, struct err *err) {
    struct band band;
    struct matching matching = {0};
    int result = -1;
    if (band_init(&band, sites, count, rules, err) != 0 || match_bands(&band, err) != 0)
        goto cleanup;
    matching.exact = band.exact;
    matching.alone = count - band.count;
    /* A pair has two links, and a third one at most four more. */
    matching.link = malloc((6 * count + 1) * sizeof *matching.link);
    if (matching.link == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    link_pairs(&band, &matching);
    if (join_threes(&band, &matching, err) != 0)
        goto cleanup;
    qsort(matching.link, matching.links, sizeof *matching.link, by_site);
    *out = matching;
    matching.link = NULL;
    result = 0;
cleanup:
    free(matching.link);
    band_release(&band);
    return result;
}

void matching_release(struct matching *matching) {
    free(matching->link);
    *matching = (struct matching){0};
}
