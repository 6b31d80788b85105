/* SPDX-License-Identifier: MIT */
/* refraction_air: the refraction constants of a site's air, by ERFA. */
#include <erfa.h>

#include "server/science/angle.h"
#include "server/science/refraction.h"

#define SEA_LEVEL_HPA 1013.25   /* ISO 2533 */
#define SEA_LEVEL_K 288.15      /* ISO 2533 */
#define LAPSE_K_PER_M 0.0065    /* ISO 2533, to 11 km */
#define LAPSE_EXPONENT 5.255876 /* g / (R L), ISO 2533 */
#define HUMIDITY 0.5            /* matters by 0.1" */
#define WAVELENGTH_UM 0.55      /* where the eye is most sensitive */
#define KELVIN_0C 273.15

struct refraction refraction_at(double elevation_m, double pressure_hpa, double temperature_c) {
    double standard_k = SEA_LEVEL_K - LAPSE_K_PER_M * elevation_m;
    if (isnan(pressure_hpa))
        pressure_hpa = SEA_LEVEL_HPA * pow(standard_k / SEA_LEVEL_K, LAPSE_EXPONENT);
    if (isnan(temperature_c))
        temperature_c = standard_k - KELVIN_0C;
    double a_rad, b_rad;
    eraRefco(pressure_hpa, temperature_c, HUMIDITY, WAVELENGTH_UM, &a_rad, &b_rad);
    return (struct refraction){a_rad * ANGLE_DEG_PER_RAD, b_rad * ANGLE_DEG_PER_RAD};
}
