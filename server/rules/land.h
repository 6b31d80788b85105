/* SPDX-License-Identifier: MIT */
/* land: whether a position may be on land, by a coarse grid (a quarter of a degree)
 * made when building from Natural Earth's land at 1:10 million; land.mjs tells how.
 * It errs on the side of land: within a cell of any coast, some 14 to 55 km, it says
 * yes, and so it does on islands that the map has. Lakes count as land. */
#ifndef NOONARC_LAND_H
#define NOONARC_LAND_H

#include <stdbool.h>

/* lat_deg -90..90, lon_deg -180..180. */
bool land_is_near(double lat_deg, double lon_deg);

/* The table: for each row of cells from the south, pairs of the first column with land
 * and the first without, columns from 180 W; begin[row] is where a row's pairs begin. */
extern const int land_cells_per_degree;
extern const unsigned short land_begin[];
extern const unsigned short land_stretch[];

#endif
