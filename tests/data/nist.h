/* SPDX-License-Identifier: MIT */
/* nist: data sets of the NIST Statistical Reference Datasets, linear regression
 * (itl.nist.gov/div898/strd/lls), with their certified values. Norris and Pontius as
 * other public test suites quote them; the other three sets from memory; certified
 * values of all reproduced in exact rational arithmetic. */
#ifndef NOONARC_TESTS_NIST_H
#define NOONARC_TESTS_NIST_H

#define NORRIS 36
static const double norris_x[NORRIS] = {
    0.2, 337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
    0.6, 775.5, 666.9, 338.0, 447.5, 11.6,  556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
    0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5,
};
static const double norris_y[NORRIS] = {
    0.1, 338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
    0.1, 778.1, 668.8, 339.3, 448.9, 10.8,  557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
    0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2,
};
#define NORRIS_B0 (-0.262323073774029)
#define NORRIS_B0_SD 0.232818234301152
#define NORRIS_B1 1.00211681802045
#define NORRIS_B1_SD 0.429796848199937e-3
#define NORRIS_S 0.884796396144373

/* x = 150000, 300000 ... 3000000, the twenty of them twice. */
#define PONTIUS 40
#define PONTIUS_STEP 150000.0
static const double pontius_y[PONTIUS] = {
    .11019,  .21956,  .32949,  .43899,  .54803,  .65694,  .76562,  .87487,  .98292,  1.09146,
    1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    .11052,  .22018,  .32939,  .43886,  .54798,  .65739,  .76596,  .87474,  .98300,  1.09150,
    1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
};
static const double pontius_b[3] = {0.673565789473684e-3, 0.732059160401003e-6,
                                    -0.316081871345029e-14};
static const double pontius_sd[3] = {0.107938612033077e-3, 0.157817399981659e-9,
                                     0.486652849992036e-16};
#define PONTIUS_S 0.205177424076185e-3

/* y = b1 x without a constant; x = 60 ... 70, y = 130 ... 140. */
#define NOINT1 11
#define NOINT1_B1 2.07438016528926
#define NOINT1_SD 0.165289256198347e-1
#define NOINT1_S 3.56753034006338

#define NOINT2 3
static const double noint2_x[NOINT2] = {4, 5, 6};
static const double noint2_y[NOINT2] = {3, 4, 4};
#define NOINT2_B1 0.727272727272727
#define NOINT2_SD 0.420827318078432e-1
#define NOINT2_S 0.369274472937998

/* y = 1 + x + x^2 + x^3 + x^4 + x^5 for x = 0 ... 20: every coefficient is 1. */
#define WAMPLER1 21

#endif
