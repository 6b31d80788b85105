/* SPDX-License-Identifier: MIT */
/* matching_sums: rows of exact_as_a_library in matching_test.c: vertices, density, heaviest
 * weight, and the sum that networkx 3.6.1 finds (max_weight_matching). */
{40, 1.0, 1000, 19389}, {60, 0.1, 1000000, 21563234}, {60, 0.5, 7, 209},
    {90, 0.06, 1000000000, 32014481918}, {120, 0.3, 100000, 5704063}, {150, 0.05, 3, 212},
