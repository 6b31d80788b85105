/* SPDX-License-Identifier: MIT */
/* resources: the handlers of every resource, named as their lines in the route
 * table: method, then resource. A write has its first half in NAME_check. */
#ifndef NOONARC_RESOURCES_H
#define NOONARC_RESOURCES_H

#include "server/api/exchange.h"

/* sites.c */
api_read get_sites, get_sites_csv, get_sites_geojson, get_site;
api_read post_sites_check, post_sites_csv_check, put_site_check;
api_write post_sites, post_sites_csv, put_site;

/* privacy.c */
api_read get_site_data, delete_site_check;
api_write delete_site;

/* secrets.c */
api_read post_school_key_check, post_class_code_check, delete_class_code_check;
api_write post_school_key, post_class_code, delete_class_code;

/* days.c */
api_read get_days, get_day, get_day_history, post_days_check;
api_read post_day_state_check, post_day_move_check, put_day_blind_check, put_approval_check;
api_write post_days, post_day_state, post_day_move, put_day_blind, put_approval;

/* seasons.c */
api_read get_seasons, get_season, post_seasons_check, put_season_check;
api_write post_seasons, put_season;

/* invitations.c */
api_read get_invitations, post_invitations_check, post_site_invitation_check;
api_write post_invitations, post_site_invitation;

/* participation.c */
api_read get_day_sites, get_day_sites_csv, get_day_sites_geojson;
api_read put_day_site_check, delete_day_site_check;
api_write put_day_site, delete_day_site;

/* plans.c */
api_read get_plan;

/* suns.c */
api_read get_sun;

/* runs.c */
api_read get_run, get_site_run, get_day_runs, post_runs_check, delete_run_check;
api_write post_runs, delete_run;

/* readings.c */
api_read get_readings_csv, post_readings_csv_check;
api_write post_readings_csv;

/* sessions.c */
api_read get_session, post_session_check, delete_session_check;
api_write post_session, delete_session;

/* organisers.c */
api_read get_organisers, post_organisers_check, delete_organiser_check, put_password_check;
api_write post_organisers, delete_organiser, put_password;

/* audits.c */
api_read get_audit, get_audit_csv;

/* sky.c */
api_read get_sky, get_sky_csv, put_sky_check;
api_write put_sky;

/* partners.c */
api_read get_partners, get_partners_csv, get_partner, post_partners_check;
api_write post_partners;

/* results.c */
api_quick quick_result, quick_leaderboard;
api_read get_pairs, get_pairs_csv, get_site_pairs, get_result, get_leaderboard, get_reductions_csv,
    get_reductions_geojson, get_line_csv;

/* editions.c */
api_read get_day_everything;
api_read get_editions, get_edition, get_edition_bundle, post_day_editions_check;
api_read post_season_editions_check;
api_read get_site_editions, put_site_editions_check;
api_write post_day_editions, post_season_editions, put_site_editions;

/* reviews.c */
api_read get_day_review, get_run_reviews, post_run_reviews_check;
api_write post_run_reviews;

#endif
