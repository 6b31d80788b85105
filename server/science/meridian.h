/* SPDX-License-Identifier: MIT */
/* meridian: distances north and south along the WGS 84 ellipsoid (PROJ's
 * geodesic.h; Karney, J. Geodesy 87 (2013) 43, doi:10.1007/s00190-012-0578-z).
 * Accuracy 15 nm. */
#ifndef NOONARC_MERIDIAN_H
#define NOONARC_MERIDIAN_H

#define MERIDIAN_EQUATORIAL_RADIUS_M 6378137.0    /* WGS 84, NGA.STND.0036 */
#define MERIDIAN_INVERSE_FLATTENING 298.257223563 /* WGS 84 */
#define MERIDIAN_CIRCUMFERENCE_KM 40007.862917    /* four quadrants of the WGS 84 meridian */

/* Signed distance (m) from the equator to a parallel, north positive. */
double meridian_distance_m(double lat_deg);

/* Arc (m, >= 0) between two parallels. */
double meridian_arc_m(double lat1_deg, double lat2_deg);

/* Shortest distance (m) between two points on the ellipsoid. */
double meridian_geodesic_m(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg);

/* Circumference (km) that perfect noon angles measure at a latitude: 2 pi times
 * the meridian's radius of curvature there. */
double meridian_local_circumference_km(double lat_deg);

#endif
