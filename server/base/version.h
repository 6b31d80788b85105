/* SPDX-License-Identifier: MIT */
/* version: of both programs, which are released together. */
#ifndef NOONARC_VERSION_H
#define NOONARC_VERSION_H

#define NOONARC_VERSION "1.0.0"

#endif
