/* SPDX-License-Identifier: MIT */
/* land: one row of the table, its stretches one by one (there are some forty at most). */
#include "server/rules/land.h"

#include <math.h>

static int cell(double from_edge_deg, int cells) {
    int at = (int)floor(from_edge_deg * land_cells_per_degree);
    return at < 0 ? 0 : at < cells ? at : cells - 1;
}

bool land_is_near(double lat_deg, double lon_deg) {
    int row = cell(lat_deg + 90.0, 180 * land_cells_per_degree);
    int column = cell(lon_deg + 180.0, 360 * land_cells_per_degree);
    for (unsigned at = land_begin[row]; at < land_begin[row + 1]; at += 2)
        if (column >= land_stretch[at] && column < land_stretch[at + 1])
            return true;
    return false;
}
