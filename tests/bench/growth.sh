# SPDX-License-Identifier: MIT
# Growth: what a run costs when many are in already. Sites and readings come in as
# spreadsheets up to each mark; then more runs come in one by one, first as fast as
# they are answered, then 5 000 a second while somebody looks at the result. Read
# by `run`; GROWTH= names the last mark.

growth_marks="1000 10000 100000 1000000"
growth_last=${GROWTH:-100000}
growth_limit_s=${GROWTH_S:-120}
[ "$quick" = 0 ] || growth_last=1000
growth_chunk=1500 # sites a spreadsheet: their readings stay under 1 MiB
growth_probes=2000

# import FROM TO: sites and their readings, in spreadsheets.
import() {
  at=$1
  while [ "$at" -lt "$2" ] && [ "$(date +%s)" -lt "$growth_end" ]; do
    part=$(($2 - at < growth_chunk ? $2 - at : growth_chunk))
    "$bench/scene" sites "$at" $part >"$work/sites.csv"
    "$bench/scene" readings "$at" $part >"$work/readings.csv"
    ask POST /api/v1/sites.csv "$work/answer" -H 'Content-Type: text/csv' \
      --data-binary "@$work/sites.csv"
    ask POST "/api/v1/days/$day/readings.csv" "$work/answer" -H 'Content-Type: text/csv' \
      --data-binary "@$work/readings.csv"
    at=$((at + part))
  done
}

# Milliseconds of one GET, or "> N000" when it takes longer than N s.
get_ms() {
  curl -s --max-time 10 -o /dev/null -w '%{time_total}' "http://127.0.0.1:$port$1" >"$work/took" &&
    awk '{ printf "%.1f", 1000 * $1 }' "$work/took" || echo ">10000"
}

rebuild_s() {
  cp "$work/growth.sqlite" "$work/rebuild.sqlite"
  seconds timeout 60 "$build/noonarcd" rebuild --store "$work/rebuild.sqlite" || echo ">60"
  rm -f "$work"/rebuild.sqlite*
}

# One line of the table: $1 the mark, $2 what importing a site took.
grown() {
  closed=$("$bench/load" --port "$port" --requests "$work/closed" --seconds 4 --pid "$pid") || true
  rated=$("$bench/load" --port "$port" --requests "$work/rated" --seconds 4 --rate 5000 \
    --watch /api/v1/days/$day/result) || true
  result_ms=$(get_ms /api/v1/days/$day/result)
  board_ms=$(get_ms "/api/v1/days/$day/leaderboard?limit=100")
  stop "$pid"
  echo "$1 $2 $closed $rated $result_ms $board_ms $(rebuild_s)" | awk '{
    printf "%8d %10d %9.0f %9.2f %11.1f %8.1f %9.0f %9.0f %10s %9s %9s\n",
           $1, $2, $3, $5, $6, $7, $12, $20, $21, $22, $23 }'
}

growth() {
  growth_end=$(($(date +%s) + growth_limit_s))
  new_store "$work/growth.sqlite"
  echo "== growth: what a run costs with so many sites in already (64 connections)"
  printf '%8s %10s %9s %9s %11s %8s %9s %9s %10s %9s %9s\n' sites "import us" runs/s "p99 ms" \
    "CPU us/run" "most MB" "of 5000/s" "stale ms" "result ms" "board ms" "rebuild s"
  from=0
  for mark in $growth_marks; do
    [ "$mark" -le "$growth_last" ] || break
    # The sites that come in one by one have numbers of their own.
    take_part $((9000000 + mark)) $growth_probes closed
    take_part $((9000000 + mark + growth_probes)) $growth_probes rated
    before=$(date +%s%N)
    import "$from" "$mark"
    if [ "$at" -lt "$mark" ]; then
      echo "  $mark sites: not in $growth_limit_s s, $at came in"
      break
    fi
    grown "$mark" $((($(date +%s%N) - before) / 1000 / (mark - from)))
    from=$mark
    start noonarcd "$build/noonarcd" serve --listen 127.0.0.1:0 --store "$work/growth.sqlite"
  done
  stop "$pid"
  rm -f "$work"/growth.sqlite*
  echo "  import: a site with its 12 readings; of 5000/s: runs answered of those offered; stale:"
  echo "  how long an acknowledged run was missing in the result; wanted at most 200 ms"
}
