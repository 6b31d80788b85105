/* SPDX-License-Identifier: MIT */
/* meridian: the only file that knows PROJ. */
#include "server/science/meridian.h"

#include <geodesic.h>
#include <stddef.h>

#include "server/science/angle.h"

static struct geod_geodesic wgs84(void) {
    struct geod_geodesic ellipsoid;
    geod_init(&ellipsoid, MERIDIAN_EQUATORIAL_RADIUS_M, 1.0 / MERIDIAN_INVERSE_FLATTENING);
    return ellipsoid;
}

double meridian_distance_m(double lat_deg) {
    double arc_m = meridian_arc_m(0.0, lat_deg);
    return lat_deg < 0.0 ? -arc_m : arc_m;
}

double meridian_arc_m(double lat1_deg, double lat2_deg) {
    return meridian_geodesic_m(lat1_deg, 0.0, lat2_deg, 0.0);
}

double meridian_geodesic_m(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg) {
    const struct geod_geodesic ellipsoid = wgs84();
    double distance_m;
    geod_inverse(&ellipsoid, lat1_deg, lon1_deg, lat2_deg, lon2_deg, &distance_m, NULL, NULL);
    return distance_m;
}

double meridian_local_circumference_km(double lat_deg) {
    double flattening = 1.0 / MERIDIAN_INVERSE_FLATTENING;
    double e2 = flattening * (2.0 - flattening);
    double sine = angle_sin(lat_deg);
    double radius_m = MERIDIAN_EQUATORIAL_RADIUS_M * (1.0 - e2) / pow(1.0 - e2 * sine * sine, 1.5);
    return 360.0 * ANGLE_RAD_PER_DEG * radius_m / 1000.0;
}
