/* SPDX-License-Identifier: MIT */
/* suns: a place for every date there can be; few are ever filled. */
#include "server/wire/suns.h"

#include <assert.h>
#include <stdlib.h>

#define SUNS (SUN_LAST_DAY - SUN_FIRST_DAY + 1)

bool suns_init(struct suns *suns) {
    suns->day = calloc(SUNS, sizeof(struct sun_day *));
    return suns->day != NULL;
}

void suns_release(struct suns *suns) {
    for (size_t i = 0; suns->day != NULL && i < SUNS; i++)
        free(suns->day[i]);
    free(suns->day);
    suns->day = NULL;
}

const struct sun_day *suns_day(struct suns *suns, int32_t date) {
    if (date < SUN_FIRST_DAY || date > SUN_LAST_DAY)
        return NULL;
    struct sun_day **sun = &suns->day[date - SUN_FIRST_DAY];
    if (*sun != NULL)
        return *sun;
    *sun = malloc(sizeof **sun);
    if (*sun == NULL)
        return NULL;
    bool built = sun_day_build(date, *sun);
    assert(built);
    (void)built;
    return *sun;
}

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

int32_t suns_date_of_run(const struct run *run, double lon_deg) {
    const struct clock_check clock = clock_check_of(&run->clock);
    double t_utc_s[RUN_READINGS_MAX];
    for (int i = 0; i < run->readings; i++)
        t_utc_s[i] = run->reading[i].t_utc_s - clock.applied_s;
    qsort(t_utc_s, (size_t)run->readings, sizeof *t_utc_s, ascending);
    return sun_day_nearest(t_utc_s[run->readings / 2], lon_deg);
}
