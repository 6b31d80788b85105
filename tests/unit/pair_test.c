/* SPDX-License-Identifier: MIT */
/* pair: measures of the Earth that are in the books, each from two stations, and
 * Fieller's interval against its definition. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/science/match.h"
#include "server/science/meridian.h"
#include "server/science/pair.h"
#include "server/science/sun.h"
#include "tests/support/simulate.h"

/* Toise of Peru: 864 lines, the metre of 1799 being 443.296 lines. */
#define TOISE_M (864.0 / 443.296)
#define MODULE_M (2.0 * TOISE_M)

/* Angle and arc as printed, and what the source makes of them: a circumference, or a
 * degree, or both. */
static void test_measures_in_the_books(void **state) {
    (void)state;
    static const struct {
        const char *label;
        double angle_deg, arc, unit_km; /* unit of the arc */
        double degree, degree_tolerance;
        double circumference_km, tolerance_km;
    } rows[] = {
        /* Cleomedes I.7; Encyclopaedia Britannica 1911, "Earth, Figure of the": 7d12',
         * 5000 stadia; 250 000 stadia, a degree of 694.44 (later rounded to 700). */
        {"Eratosthenes", 7.2, 5000, 1, 694.444, 0.0005, 250000, 1e-6},
        /* Heath, Hist. Greek Math. II p. 220: 7d30', 5000 stadia; 240 000. */
        {"Posidonius", 7.5, 5000, 1, 666.667, 0.0005, 240000, 1e-6},
        /* Varenius, Geography: 33 930 rods, 28 473 a degree, rounded to 28 500. He prints
         * 71 minutes; only 71.5 give his 28 473. */
        {"Snellius, 71.5 minutes", 71.5 / 60, 33930, 1, 28473, 0.5, NAN, 0},
        /* The rounded degree in rods of 12 x 0.3139465 m (from memory): 10 260 000 rods. */
        {"Snellius, rounded", 1, 28500, 12 * 0.3139465e-3, 28500, 0, 38653.1, 0.05},
        /* Arc and amplitude from memory; his degree 57 057. */
        {"Picard, Malvoisine-Amiens", 1 + 22 / 60. + 55 / 3600., 78850, TOISE_M / 1e3, 57057, 0.5,
         NAN, 0},
        /* Amplitude pg-astro.fr; arc and degree from memory. */
        {"Picard, Malvoisine-Sourdon", 1 + 11 / 60. + 57 / 3600., 68430, TOISE_M / 1e3, 57064.5,
         0.15, NAN, 0},
        /* Adopted degree, Lichtenberg's lectures (Goettingen); recomputed in km. */
        {"Picard, adopted", 1, 57060, TOISE_M / 1e3, 57060, 0, 40036.324, 0.0006},
        /* Amplitude and arc from memory; degree 57 437.9 in the Rovaniemi museum's pages,
         * recomputed 57 437.97; km recomputed. */
        {"Maupertuis, Kittis-Tornio", 57 / 60. + 28.67 / 3600., 55023.5, TOISE_M / 1e3, 57437.9,
         0.1, 40301.5, 0.06},
        /* Lichtenberg's lectures in Gamauf's edition: all as printed. The printed degree
         * was made with more digits than the printed amplitude has (1e-3" = 0.01 toise). */
        {"Svanberg", 1 + 37 / 60. + 19.565 / 3600., 92760.731, TOISE_M / 1e3, 57185.524, 0.011,
         40124.404, 0.0006},
        {"Mudge, Dunnose-Clifton", 2 + 50 / 60. + 23.38 / 3600., 162065.17, TOISE_M / 1e3, 57068.67,
         0.011, 40042.402, 0.0006},
        /* Amplitude and arc from memory. The raw degree, recomputed; Bouguer's 56 753 is
         * reduced to sea level and stands 17 toises lower. */
        {"Peru, raw", 3 + 7 / 60. + 1 / 3600., 176950, TOISE_M / 1e3, 56770.3, 0.05, NAN, 0},
        {"Peru, Bouguer at sea level", 1, 56753, TOISE_M / 1e3, 56753, 0, 39820.9, 0.06},
        /* Legendre 1805, in Bjorck, Least Squares Problems, 2nd ed., 1.1.1: modules. */
        {"Dunkirk-Pantheon", 2.18910, 62472.59, MODULE_M / 1e3, 28538.0248, 5e-5, 40047.5855, 6e-5},
        {"Pantheon-Evaux", 2.66868, 76145.74, MODULE_M / 1e3, 28533.1100, 6e-5, 40040.6885, 6e-5},
        {"Evaux-Carcassonne", 2.96336, 84424.55, MODULE_M / 1e3, 28489.4680, 6e-5, 39979.4455,
         6e-5},
        {"Carcassonne-Montjouy", 1.85266, 52749.48, MODULE_M / 1e3, 28472.2939, 6e-5, 39955.3449,
         6e-5},
        {"Dunkirk-Montjouy", 9.67380, 275792.36, MODULE_M / 1e3, 28509.21, 0.006, 40007.1443, 6e-5},
        /* Boscovich's five degrees (Stigler, History of Statistics, 1986, ch. 1; km
         * recomputed). */
        {"Boscovich, Quito", 1, 56751, TOISE_M / 1e3, 56751, 0, 39819.513, 6e-4},
        {"Boscovich, Cape", 1, 57037, TOISE_M / 1e3, 57037, 0, 40020.186, 6e-4},
        {"Boscovich, Rome", 1, 56979, TOISE_M / 1e3, 56979, 0, 39979.490, 6e-4},
        {"Boscovich, Paris", 1, 57074, TOISE_M / 1e3, 57074, 0, 40046.147, 6e-4},
        {"Boscovich, Lapland", 1, 57422, TOISE_M / 1e3, 57422, 0, 40290.323, 6e-4},
        /* Laplace, Exposition du systeme du monde, Oeuvres VI: grades of 0.9 degrees,
         * metres. Greenwich-Pantheon is printed 100 135.2 for want of 2 m in the arc. */
        {"Laplace, Greenwich-Formentera", 0.9 * 14.23575, 1423636.1, 1e-3, NAN, 0, 40001.717, 6e-4},
        {"Laplace, Pantheon-Formentera", 0.9 * (54.27431 - 42.96178), 1423636.1 - 292719.3, 1e-3,
         99970.3 / 0.9, 0.05, NAN, 0},
        {"Laplace, Greenwich-Pantheon", 0.9 * (57.19753 - 54.27431), 292719.3, 1e-3, 100135.2 / 0.9,
         0.9, NAN, 0},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double circumference_km, sigma_km, low_km, high_km;
        assert_int_equal(pair_circumference(rows[i].angle_deg, 0.0, rows[i].arc * rows[i].unit_km,
                                            0.0, &circumference_km, &sigma_km, &low_km, &high_km),
                         PAIR_OK);
        if (!isnan(rows[i].circumference_km))
            check_near(rows[i].label, circumference_km, rows[i].circumference_km,
                       rows[i].tolerance_km, "km (or stadia)");
        if (!isnan(rows[i].degree))
            check_near(rows[i].label, circumference_km / 360.0 / rows[i].unit_km, rows[i].degree,
                       rows[i].degree_tolerance + 1e-9 * rows[i].degree, "units a degree");
        assert_true(sigma_km == 0.0);
        check_digits(rows[i].label, low_km, circumference_km, 1e-15);
        check_digits(rows[i].label, high_km, circumference_km, 1e-15);
    }
}

/* The end of Fieller's interval: the C at which |arc - C angle / 360| equals its own
 * sigma. Bisection between `inside` and `outside`, no algebra shared. */
static double fieller_end(double angle, double angle_sigma, double arc, double arc_sigma,
                          double inside, double outside) {
    for (int halving = 0; halving < 200; halving++) {
        double middle = 0.5 * (inside + outside), ratio = middle / 360.0;
        if (fabs(arc - ratio * angle) < hypot(arc_sigma, ratio * angle_sigma))
            inside = middle;
        else
            outside = middle;
    }
    return 0.5 * (inside + outside);
}

static void test_fieller(void **state) {
    (void)state;
    static const struct {
        double angle_deg, angle_sigma_deg, arc_km, arc_sigma_km;
    } rows[] = {
        {5.2, 0.05, 552.0, 0.0}, {5.2, 0.05, 552.0, 5.0},   {5.2, 0.0, 552.0, 5.0},
        {1.0, 0.5, 111.0, 0.0},  {1.0, 0.4999, 111.0, 60.}, {0.1, 0.03, 12.0, 0.5},
        {90.0, 1.0, 1e4, 1.0},   {1e-6, 1e-7, 1e-4, 1e-6},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double c, sigma, low, high;
        assert_int_equal(pair_circumference(rows[i].angle_deg, rows[i].angle_sigma_deg,
                                            rows[i].arc_km, rows[i].arc_sigma_km, &c, &sigma, &low,
                                            &high),
                         PAIR_OK);
        char label[64];
        snprintf(label, sizeof label, "row %zu", i);
        check_digits(label, low,
                     fieller_end(rows[i].angle_deg, rows[i].angle_sigma_deg, rows[i].arc_km,
                                 rows[i].arc_sigma_km, c, 0.0),
                     1e-12);
        check_digits(label, high,
                     fieller_end(rows[i].angle_deg, rows[i].angle_sigma_deg, rows[i].arc_km,
                                 rows[i].arc_sigma_km, c, 1e3 * c),
                     1e-12);
        /* First order: the relative variances add (JCGM 100:2008, 5.1.6). */
        check_digits(label, sigma,
                     c * hypot(rows[i].angle_sigma_deg / rows[i].angle_deg,
                               rows[i].arc_sigma_km / rows[i].arc_km),
                     1e-12);
        assert_true(rows[i].angle_sigma_deg == 0.0 || high - c > c - low);
    }
}

/* The interval holds the true ratio as often as a normal error lies within one sigma. */
static void test_fieller_coverage(void **state) {
    (void)state;
    struct chance chance = chance_seeded(1954);
    double true_angle = 1.0, true_arc = 111.2, angle_sigma = 0.2, arc_sigma = 15.0;
    int trials = 20000, inside = 0;
    for (int i = 0; i < trials; i++) {
        double angle = true_angle + angle_sigma * chance_normal(&chance);
        double arc = true_arc + arc_sigma * chance_normal(&chance), c, sigma, low, high;
        if (pair_circumference(angle, angle_sigma, arc, arc_sigma, &c, &sigma, &low, &high) ==
            PAIR_OK)
            inside += low <= 360.0 * true_arc && 360.0 * true_arc <= high;
        else /* Below two sigma: judged by Fieller's condition itself. */
            inside += fabs(arc - true_arc * angle) <= hypot(arc_sigma, true_arc * angle_sigma);
    }
    check_near("coverage of one sigma, seed 1954", (double)inside / trials, 0.6827,
               4.0 * sqrt(0.6827 * 0.3173 / trials), "");
}

static void test_angles_that_say_too_little(void **state) {
    (void)state;
    static const double angles_deg[] = {0.0, -0.0, -5.0, 0.0999999, NAN, -INFINITY};
    for (size_t i = 0; i < COUNT_OF(angles_deg); i++) {
        double c = -1.0, sigma = -2.0, low = -3.0, high = -4.0;
        assert_int_equal(
            pair_circumference(angles_deg[i], 0.05, 100.0, 0.0, &c, &sigma, &low, &high),
            PAIR_ANGLE_UNSURE);
        assert_true(c == -1.0 && sigma == -2.0 && low == -3.0 && high == -4.0);
    }
    double c, sigma, low, high;
    assert_int_equal(pair_circumference(0.1, 0.05, 100.0, 0.0, &c, &sigma, &low, &high), PAIR_OK);
}

/* A site whose noon is perfect: latitude - declination at its transit. */
static struct noon_result perfect(int64_t key, double lat_deg, double lon_deg, const char *date) {
    struct sun_day day;
    struct sun_place sun;
    assert_true(sun_day_build(near_date(date), &day));
    double transit_utc_s = sun_transit_utc_s(&day, lon_deg);
    sun_at(&day, transit_utc_s, &sun);
    return (struct noon_result){
        .key = key,
        .lat_deg = lat_deg,
        .lon_deg = lon_deg,
        .meridian_m = meridian_distance_m(lat_deg),
        .transit_utc_s = transit_utc_s,
        .declination_deg = sun.declination_deg,
        .noon_angle_deg = lat_deg - sun.declination_deg,
        .sigma_deg = 0.01,
        .habit_sigma_deg = 0.0,
        .edge = 0,
    };
}

static const struct pair_rules usual_rules = {1.0, 50000.0, INFINITY};

/* Perfect noons half a degree north and south of a parallel measure 360 times the
 * length of that degree (table of test_degrees_of_latitude in meridian_test.c, which
 * is the handbooks'), whatever the longitudes do to the declination in between. */
static void test_perfect_pairs(void **state) {
    (void)state;
    static const struct {
        double lat_deg, degree_m;
    } rows[] = {{0, 110574.304},  {15, 110648.721}, {30, 110852.457},
                {45, 111131.778}, {60, 111412.273}, {75, 111618.359}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        for (int hemisphere = -1; hemisphere <= 1; hemisphere += 2) {
            double lat_deg = hemisphere * rows[i].lat_deg;
            struct noon_result north = perfect(1, lat_deg + 0.5, 30.0, "2027-03-20");
            struct noon_result south = perfect(2, lat_deg - 0.5, 30.9, "2027-03-20");
            struct pair pair, other;
            pair_make(&north, &south, &usual_rules, NAN, NAN, &pair);
            pair_make(&south, &north, &usual_rules, NAN, NAN, &other);
            assert_int_equal(pair.status, PAIR_OK);
            check_near("a degree", pair.angle_deg, 1.0, 1e-9, "deg");
            check_near("a degree", pair.separation_km, rows[i].degree_m / 1000.0, 1e-6, "km");
            check_near("a degree", pair.circumference_km, 0.36 * rows[i].degree_m, 0.0003, "km");
            check_near("sigma", pair.angle_sigma_deg, 0.01 * sqrt(2.0), 1e-12, "deg");
            check_near("either order", other.circumference_km, pair.circumference_km, 0.0, "km");
            check_near("either order", other.angle_deg, pair.angle_deg, 0.0, "deg");
        }
    }
    /* Pole to pole and over the equator: the whole half meridian. */
    struct noon_result north = perfect(1, 90.0, 0.0, "2027-06-21");
    struct noon_result south = perfect(2, -90.0, 0.0, "2027-06-21");
    struct pair pair;
    pair_make(&north, &south, &usual_rules, NAN, NAN, &pair);
    check_near("pole to pole", pair.circumference_km, 40007.862917, 1e-6, "km");
}

/* The Sun's declination moves by 59" an hour at an equinox: four minutes are 4",
 * 0.0011 degrees for a degree of longitude. Without the move the pair would show it. */
static void test_declination_is_moved(void **state) {
    (void)state;
    struct noon_result one = perfect(1, 47.0, 10.0, "2027-03-20");
    struct noon_result two = perfect(2, 44.0, 11.0, "2027-03-20");
    check_near("declination in four minutes", fabs(one.noon_angle_deg - two.noon_angle_deg - 3.0),
               0.0011, 0.00005, "deg");
    struct pair pair;
    pair_make(&one, &two, &usual_rules, NAN, NAN, &pair);
    check_near("moved", pair.angle_deg, 3.0, 1e-9, "deg");
    struct noon_result crooked = one;
    crooked.noon_angle_deg += 0.02;
    pair_make(&crooked, &two, &usual_rules, NAN, NAN, &pair);
    check_near("a measured error stays", pair.angle_deg, 3.02, 1e-9, "deg");
}

static void test_own_distance(void **state) {
    (void)state;
    struct noon_result one = perfect(1, 47.0, 10.0, "2027-06-20");
    struct noon_result two = perfect(2, 44.0, 10.0, "2027-06-20");
    struct pair pair;
    pair_make(&one, &two, &usual_rules, 330000.0, 3300.0, &pair);
    assert_int_equal(pair.status, PAIR_OK);
    check_near("separation", pair.separation_km, 330.0, 1e-9, "km");
    check_near("circumference", pair.circumference_km, 39600.0, 1e-4, "km");
    check_near("sigma", pair.sigma_km, 39600.0 * hypot(0.01, 0.01 * sqrt(2.0) / 3.0), 1e-4, "km");
    pair_make(&one, &two, &usual_rules, 49999.0, 0.0, &pair);
    assert_int_equal(pair.status, PAIR_TOO_CLOSE);
}

/* Every reason, and the order in which they are looked for. */
static void test_reasons(void **state) {
    (void)state;
    struct noon_result base = perfect(1, 47.0, 10.0, "2027-03-20");
    struct pair_rules rules = {1.0, 100000.0, 500.0};
    struct noon_result good = perfect(2, 44.0, 10.9, "2027-03-20");
    struct noon_result beside = perfect(2, 44.0, 11.01, "2027-03-20");
    struct noon_result later = perfect(2, 44.0, 10.9, "2027-03-21");
    struct noon_result near = perfect(2, 46.2, 10.9, "2027-03-20");
    struct noon_result vague = good, loose = good, reversed = good;
    vague.sigma_deg = 1.6;
    loose.sigma_deg = 0.2;
    reversed.noon_angle_deg = base.noon_angle_deg + 2.0;
    const struct {
        const char *label;
        const struct noon_result *other;
        enum pair_status status;
    } rows[] = {
        {"good", &good, PAIR_OK},
        {"beside the meridian", &beside, PAIR_OFF_MERIDIAN},
        {"the next day", &later, PAIR_OTHER_NOON},
        {"too close", &near, PAIR_TOO_CLOSE},
        {"itself", &base, PAIR_TOO_CLOSE},
        {"angle below two sigma", &vague, PAIR_ANGLE_UNSURE},
        {"angle of the wrong sign", &reversed, PAIR_ANGLE_UNSURE},
        {"too unsure", &loose, PAIR_TOO_UNSURE},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct pair pair;
        pair_make(&base, rows[i].other, &rules, NAN, NAN, &pair);
        if (pair.status != rows[i].status)
            fail_msg("%s: %s, not %s", rows[i].label, pair_status_name(pair.status),
                     pair_status_name(rows[i].status));
        bool known = pair.status == PAIR_OK || pair.status == PAIR_TOO_UNSURE;
        assert_int_equal(known, !isnan(pair.circumference_km));
        assert_int_equal(known, !isnan(pair.sigma_km));
        assert_int_equal(known, !isnan(pair.low_km));
        assert_int_equal(known, !isnan(pair.high_km));
    }
    for (int i = 0; i <= PAIR_TOO_UNSURE; i++)
        for (int k = 0; k < i; k++) {
            assert_string_not_equal(pair_status_name((enum pair_status)i),
                                    pair_status_name((enum pair_status)k));
            assert_string_not_equal(pair_status_text((enum pair_status)i),
                                    pair_status_text((enum pair_status)k));
        }
}

static void test_longitudes_across_the_line(void **state) {
    (void)state;
    static const struct {
        double one_deg, two_deg, difference_deg;
    } rows[] = {{179.6, -179.6, 0.8}, {-179.6, 179.6, 0.8}, {180.0, -180.0, 0.0},
                {0.0, 180.0, 180.0},  {-180.0, 0.0, 180.0}, {-90.0, 90.0, 180.0},
                {10.0, 10.0, 0.0},    {-0.3, 0.4, 0.7},     {179.0, -179.0, 2.0}};
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        check_near("longitudes", pair_lon_difference_deg(rows[i].one_deg, rows[i].two_deg),
                   rows[i].difference_deg, 1e-12, "deg");

    /* One noon under two dates; and the same date, which is another noon. */
    struct noon_result west = perfect(1, -16.0, 179.6, "2027-03-21");
    struct noon_result east = perfect(2, -20.0, -179.6, "2027-03-20");
    struct noon_result same_date = perfect(2, -20.0, -179.6, "2027-03-21");
    struct pair pair;
    assert_true(pair_same_noon(&west, &east));
    assert_false(pair_same_noon(&west, &same_date));
    pair_make(&west, &east, &usual_rules, NAN, NAN, &pair);
    assert_int_equal(pair.status, PAIR_OK);
    check_near("across the line", pair.angle_deg, 4.0, 1e-9, "deg");
    pair_make(&west, &same_date, &usual_rules, NAN, NAN, &pair);
    assert_int_equal(pair.status, PAIR_OTHER_NOON);
}

/* One sweep is one noon at any distance and date: between its outermost meridians the
 * equation of time moves by less than 31 s. A day later it is another. */
static void test_same_noon_everywhere(void **state) {
    (void)state;
    static const char *const dates[] = {"2027-12-22", "2027-06-21", "2028-02-29", "2027-09-17"};
    for (size_t d = 0; d < COUNT_OF(dates); d++) {
        struct noon_result here = perfect(1, 10.0, 0.0, dates[d]);
        for (double lon_deg = -179.0; lon_deg < 180.0; lon_deg += 7.0) {
            struct noon_result there = perfect(2, 0.0, lon_deg, dates[d]);
            assert_true(pair_same_noon(&here, &there));
            assert_true(pair_same_noon(&there, &here));
            there.transit_utc_s += 86400.0;
            assert_false(pair_same_noon(&here, &there));
        }
    }
}

/* What two sites share because they mark the same edge: cancels on one side of the
 * zenith, doubles on two; the variance of a - b and of a + b with a common part. */
static void test_shared_habit(void **state) {
    (void)state;
    struct noon_result one = perfect(1, 30.0, 10.0, "2027-06-21");
    struct noon_result two = perfect(2, 26.0, 10.0, "2027-06-21");
    struct noon_result beyond = perfect(2, 10.0, 10.0, "2027-06-21"); /* Sun in the north */
    one.sigma_deg = two.sigma_deg = beyond.sigma_deg = 0.05;
    one.habit_sigma_deg = two.habit_sigma_deg = beyond.habit_sigma_deg = 0.03;
    struct pair pair;
    pair_make(&one, &two, &usual_rules, NAN, NAN, &pair);
    check_near("same edge", pair.angle_sigma_deg, sqrt(2.0 * (0.0025 - 0.0009)), 1e-12, "deg");
    pair_make(&one, &beyond, &usual_rules, NAN, NAN, &pair);
    check_near("other side", pair.angle_sigma_deg, sqrt(2.0 * (0.0025 + 0.0009)), 1e-12, "deg");
    two.edge = 1;
    pair_make(&one, &two, &usual_rules, NAN, NAN, &pair);
    check_near("other edge", pair.angle_sigma_deg, 0.05 * sqrt(2.0), 1e-12, "deg");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_measures_in_the_books),
        cmocka_unit_test(test_fieller),
        cmocka_unit_test(test_fieller_coverage),
        cmocka_unit_test(test_angles_that_say_too_little),
        cmocka_unit_test(test_perfect_pairs),
        cmocka_unit_test(test_declination_is_moved),
        cmocka_unit_test(test_own_distance),
        cmocka_unit_test(test_reasons),
        cmocka_unit_test(test_longitudes_across_the_line),
        cmocka_unit_test(test_same_noon_everywhere),
        cmocka_unit_test(test_shared_habit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
