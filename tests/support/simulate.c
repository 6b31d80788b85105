/* SPDX-License-Identifier: MIT */
/* simulate: the forward way, from the Sun to the class's sheet. */
#include "tests/support/simulate.h"

#include <math.h>

#include "server/science/angle.h"

const struct errors simulate_careful = {
    .height_m = 0.0008,
    .tilt_deg = 0.03,
    .edge_deg = 0.02,
    .clock_s = 8.0,
    .mark_m = 0.0015,
    .fuzzy_share = 0.10,
};

struct chance chance_seeded(uint64_t seed) {
    return (struct chance){seed * 0x9E3779B97F4A7C15u + 0xD1B54A32D192ED03u};
}

double chance_even(struct chance *chance) {
    uint64_t x = chance->state != 0 ? chance->state : 1;
    x ^= x >> 12;
    x ^= x << 25;
    x ^= x >> 27;
    chance->state = x;
    return (double)((x * 0x2545F4914F6CDD1Du) >> 11) / 9007199254740992.0;
}

double chance_normal(struct chance *chance) {
    double radius = sqrt(-2.0 * log(1.0 - chance_even(chance)));
    return radius * cos(2.0 * acos(-1.0) * chance_even(chance));
}

static const char *const cloud_names[CLOUD_COUNT] = {
    [CLOUD_NONE] = "clear",      [CLOUD_NOON] = "noon lost", [CLOUD_MORNING] = "morning lost",
    [CLOUD_LATE] = "late start", [CLOUD_BROKEN] = "broken",
};

const char *cloud_name(enum cloud cloud) {
    return cloud_names[cloud];
}

static bool clouded(struct chance *chance, enum cloud cloud, double from_noon_s) {
    switch (cloud) {
    case CLOUD_NONE:
        return false;
    case CLOUD_NOON:
        return fabs(from_noon_s) < 900.0;
    case CLOUD_MORNING:
        return from_noon_s < -300.0;
    case CLOUD_LATE:
        return from_noon_s < 900.0;
    case CLOUD_BROKEN:
        return chance_even(chance) < 0.5;
    }
    return false;
}

struct run simulate_run_of(double height_m, enum edge edge) {
    return (struct run){
        .gnomon = {.part = {{height_m, NAN}}, .parts = 1, .edge = edge},
        .pressure_hpa = NAN,
        .temperature_c = NAN,
        .clock_sigma_s = NAN,
        .tilt_sigma_deg = NAN,
    };
}

void simulate_readings(struct chance *chance, const struct place *place, const struct sun_day *day,
                       const struct errors *errors, const struct session *session,
                       struct run *run) {
    const struct refraction air = refraction_at(place->elevation_m, NAN, NAN);
    double noon_utc_s = sun_transit_utc_s(day, place->lon_deg);
    double height_m =
        gnomon_height(&run->gnomon).value_m + errors->height_m * chance_normal(chance);
    double tilt_deg = errors->tilt_deg * chance_normal(chance);
    double edge_deg = errors->edge_deg * chance_normal(chance);
    double clock_s = errors->clock_s * chance_normal(chance);
    double round_s = errors->round_s > 0.0 ? errors->round_s : 1.0;
    run->readings = 0;
    for (int i = 0; i < session->readings && run->readings < RUN_READINGS_MAX; i++) {
        double from_noon_s =
            session->start_s + i * session->step_s + 0.1 * session->step_s * chance_normal(chance);
        if (clouded(chance, session->cloud, from_noon_s))
            continue;
        double t_utc_s = noon_utc_s + from_noon_s;
        struct sun_place sun;
        sun_at(day, t_utc_s, &sun);
        double hour_deg = sun_hour_angle_deg(day, t_utc_s, place->lon_deg);
        double up =
            angle_sin(place->lat_deg) * angle_sin(sun.declination_deg) +
            angle_cos(place->lat_deg) * angle_cos(sun.declination_deg) * angle_cos(hour_deg);
        double side = place->lat_deg < sun.declination_deg ? -1.0 : 1.0;
        double zenith_deg = acos(up) * ANGLE_DEG_PER_RAD + side * tilt_deg + edge_deg;
        double shadow_m = gnomon_shadow_m(height_m, zenith_deg, run->gnomon.edge, &air, &sun);
        double fuzzy_m = gnomon_fuzzy_width_m(height_m, zenith_deg, sun.semidiameter_deg);
        shadow_m += hypot(errors->mark_m, errors->fuzzy_share * fuzzy_m) * chance_normal(chance);
        run->reading[run->readings++] = (struct reading){
            .t_utc_s = round((t_utc_s + clock_s) / round_s) * round_s,
            .shadow_m = fmax(1.0, round(1000.0 * shadow_m)) / 1000.0,
            .shadow_sigma_m = NAN,
            .bearing_deg = NAN,
        };
    }
}
