/* SPDX-License-Identifier: MIT */
/* curve: the run's readings as zenith distances, and the curve the Sun draws
 * through them. Shared by the estimators and the search for slips; private to
 * science. */
#ifndef NOONARC_CURVE_H
#define NOONARC_CURVE_H

#include <stdbool.h>

#include "server/science/noon.h"
#include "server/science/reduce.h"
#include "server/science/run.h"

/* Where the Sun stood when the clock showed a sight's time, were the clock right. */
struct course {
    double declination_deg, equation_s;
    double sin_declination, cos_declination;
    double sin_hour, cos_hour;
};

/* One reading made ready. */
struct sight {
    double t_utc_s;    /* by the run's clock, corrected where its day says so */
    double zenith_deg; /* geocentric, of the Sun's centre; NAN when useless */
    enum slip useless; /* SLIP_NONE, or why it cannot be used: TOO_LOW, TIME, DUPLICATE */
    double sigma_deg;  /* expected, of this reading alone */
    double weight;     /* 1 / sigma_deg^2 */
    double sin_zenith, cos_zenith;
    struct course course;
    bool kept;
};

static inline void sight_set_sigma(struct sight *sight, double sigma_deg) {
    sight->sigma_deg = sigma_deg;
    sight->weight = 1.0 / (sigma_deg * sigma_deg);
}

/* A sight against the Sun's curve. */
struct equation {
    double residual_deg; /* zenith distance of the sight minus the Sun's; NAN when useless */
    double by_lat;       /* slopes of the Sun's: deg a deg of latitude */
    double by_offset;    /* deg a second of the clock's offset */
};

/* The observation equations of all sights about one latitude and one offset of the clock:
 * the curve is looked at there once, for whoever asks. */
struct equations {
    double lat_deg;
    double offset_s; /* positive where the clock is fast */
    struct equation sight[RUN_READINGS_MAX];
};

struct curve {
    const struct place *place;
    const struct run *run;
    const struct sun_day *day;
    /* The day's declination and equation of time in powers of x, for many looks at once. */
    double declination_deg[SUN_TERMS], equation_s[SUN_TERMS];
    double per_half_span_s;
    struct refraction air;
    struct noon noon; /* as predicted */
    double sin_noon_declination, cos_noon_declination;
    double sin_lat, cos_lat; /* of the place as it was told */
    double side; /* +1 when the Sun crosses south of the zenith, -1 north: known beforehand */
    double height_m;
    double height_sigma_m;
    struct clock_check clock;
    double clock_sigma_s;
    double time_sigma_s; /* of one reading's time: rounding and reaction */
    int sights;          /* equals run->readings */
    struct sight sight[RUN_READINGS_MAX];
    struct equations declared; /* about the place as it was told, the clock as it is */
};

/* Fills the sights; all are kept but those too low, farther than six hours from noon,
 * or the very same as an earlier one. */
void curve_init(struct curve *curve, const struct place *place, const struct run *run,
                const struct sun_day *day);

/* The equations of all sights, kept or not, residuals to 1e-13 deg. Each costs a tenth of
 * curve_zenith_deg. */
void curve_equations(const struct curve *curve, double lat_deg, double offset_s,
                     struct equations *out);

/* Zenith distances of all sights as they would have been had the Sun kept its noon
 * declination, by the curve of that latitude and offset; NAN for useless ones. */
struct steady {
    double sine, cosine;
};
void curve_steady(const struct curve *curve, double lat_deg, double offset_s,
                  struct steady out[RUN_READINGS_MAX]);

/* Zenith distance of the Sun's centre at a latitude, the clock being offset_s fast. */
double curve_zenith_deg(const struct curve *curve, double lat_deg, double t_clock_s,
                        double offset_s);

/* Shadow (m) the run's gnomon throws at a geocentric zenith distance. */
double curve_shadow_m(const struct curve *curve, double t_utc_s, double zenith_deg);

int curve_kept(const struct curve *curve);

/* Fit of latitude and clock offset to the kept sights. */
struct curve_fit {
    double lat_deg;
    double offset_s;
    double lat_variance;            /* deg^2, for sights of exactly the expected sigma */
    double offset_variance;         /* s^2 */
    double lat_variance_true_clock; /* deg^2, were the clock known without error */
    double chi2;                    /* of the kept sights */
};

/* Least squares from where the equations stand; prior_s is the clock's own sigma about
 * prior_offset_s. False when the kept sights do not settle both. */
bool curve_fit(const struct curve *curve, const struct equations *start, double prior_offset_s,
               double prior_s, struct curve_fit *out);

/* Robust start: least trimmed squares over elementary pairs of kept sights, `strays` of
 * all (fewer than there are) being free to be anything, linear as the equations are.
 * Returns the trimmed sum of squares in units of the expected sigma; INFINITY without
 * any pair. */
double curve_trimmed(const struct curve *curve, const struct equations *about, double prior_s,
                     int strays, struct curve_fit *out);

#endif
