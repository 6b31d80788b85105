/* SPDX-License-Identifier: MIT */
/* noon: a site's noon as the Sun will make it. libm only. */
#include "server/science/noon.h"

#include "server/science/angle.h"

static const struct {
    const char *name;
    const char *text;
} statuses[] = {
    [NOON_MEASURABLE] = {"measurable", "The Sun throws a usable shadow at noon."},
    [NOON_SUN_BELOW_HORIZON] = {"sun_below_horizon",
                                "The Sun stays below the horizon all day: choose another season."},
    [NOON_SUN_TOO_LOW] = {"sun_too_low", "The noon Sun stands less than 10 degrees high, where the "
                                         "air bends its light too uncertainly."},
    [NOON_SUN_OVERHEAD] = {"sun_overhead",
                           "The noon Sun stands within 0.3 degrees of overhead: a plumb gnomon "
                           "throws no shadow that could be measured."},
};

const char *noon_status_name(enum noon_status status) {
    return statuses[status].name;
}

const char *noon_status_text(enum noon_status status) {
    return statuses[status].text;
}

static enum noon_status status_of(double zenith_deg, const struct refraction *air) {
    if (zenith_deg > 90.0)
        return NOON_SUN_BELOW_HORIZON;
    if (zenith_deg > REFRACTION_LIMIT_DEG + refraction_of_apparent(air, REFRACTION_LIMIT_DEG))
        return NOON_SUN_TOO_LOW;
    if (zenith_deg < NOON_OVERHEAD_DEG)
        return NOON_SUN_OVERHEAD;
    return NOON_MEASURABLE;
}

void noon_predict(const struct place *place, const struct sun_day *day,
                  const struct refraction *air, struct noon *out) {
    struct noon noon = {.transit_utc_s = sun_transit_utc_s(day, place->lon_deg)};
    sun_at(day, noon.transit_utc_s, &noon.sun);
    noon.noon_angle_deg = place->lat_deg - noon.sun.declination_deg;
    noon.sun_side = noon.noon_angle_deg < 0.0 ? 'N' : 'S';
    double geocentric_deg = fabs(noon.noon_angle_deg);
    noon.zenith_distance_deg = geocentric_deg + noon.sun.parallax_deg * angle_sin(geocentric_deg);
    noon.status = status_of(noon.zenith_distance_deg, air);
    bool bent_known = noon.status == NOON_MEASURABLE || noon.status == NOON_SUN_OVERHEAD;
    noon.refracted_zenith_distance_deg =
        bent_known ? refraction_apparent_zenith_deg(air, noon.zenith_distance_deg) : NAN;
    *out = noon;
}
