# SPDX-License-Identifier: MIT
# Growth: what a run and a day's figures cost when many sites are in already. Sites and
# readings come in as spreadsheets up to each mark; then more runs come in one by one,
# first as fast as they are answered, then 5 000 a second while somebody looks at the
# result and at the pairs of runs just acknowledged. Read by `run`; GROWTH= names the last
# mark.

growth_marks="1000 10000 100000 1000000"
growth_last=${GROWTH:-100000}
growth_limit_s=${GROWTH_S:-180}
[ "$quick" = 0 ] || growth_last=1000
growth_chunk=1500 # sites a spreadsheet: their readings stay under 1 MiB
growth_closed=2000 growth_rated=10000

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

# Milliseconds of one GET, or ">60000" when it takes longer than a minute.
get_ms() {
  curl -s --max-time 60 -o /dev/null -w '%{time_total}' "http://127.0.0.1:$port$1" >"$work/took" &&
    awk '{ printf "%.1f", 1000 * $1 }' "$work/took" || echo ">60000"
}

# Seconds that noonarcd takes to $1 a copy of the store.
store_s() {
  cp "$work/growth.sqlite" "$work/copy.sqlite"
  seconds timeout 300 "$build/noonarcd" "$1" --store "$work/copy.sqlite" || echo ">300"
  rm -f "$work"/copy.sqlite*
}

# One line of the table: $1 the mark, $2 what importing a site took.
grown() {
  get_ms "/api/v1/days/$day/sites/s0000000/pairs" >/dev/null # the day is in memory from here on
  closed=$("$bench/load" --port "$port" --requests "$work/closed" --seconds 4 --pid "$pid") || true
  get_ms /api/v1/days/$day/result >/dev/null # and so are its figures
  rated=$("$bench/load" --port "$port" --requests "$work/rated" --seconds 4 --rate 5000 \
    --watch /api/v1/days/$day/result) || true
  stop "$pid"
  start noonarcd "$build/noonarcd" serve --listen 127.0.0.1:0 --store "$work/growth.sqlite"
  anew_ms=$(get_ms /api/v1/days/$day/result)
  sleep 3 # nobody looks after the day any more
  "$bench/load" --port "$port" --requests "$work/one" --connections 1 >/dev/null || true
  again_ms=$(get_ms /api/v1/days/$day/result)
  board_ms=$(get_ms "/api/v1/days/$day/leaderboard?limit=100")
  most_mb=$(awk '/^VmHWM/ { printf "%.0f", $2 / 1024 }' "/proc/$pid/status")
  stop "$pid"
  echo "$1 $2 $closed $rated $anew_ms $again_ms $board_ms $most_mb $(store_s rebuild) $(store_s check)" |
    tee -a "$work/grown" | awk '{
      printf "%8d %9d %8.0f %8.2f %6.0f %8.0f %8s %8s %9s %8s %8s %6s %9s %8s\n", $1, $2,
             $3, $5, $6, $13, $21, $22, $23, $24, $25, $26, $27, $28 }'
}

# Where one machine ends, by what the last mark took: the figures have to be made anew in
# half of the 200 ms, and the server has to fit.
growth_ends() {
  tail -n 1 "$work/grown" | awk -v kb="$(awk '/^MemTotal/ { print $2 }' /proc/meminfo)" '{
    printf "  one machine: up to some %.0f 000 sites a day show within 200 ms (%.2f us a site to " \
           "make the figures anew), %.0f 000 fit in its memory (%.1f KB a site)\n",
           100 * $1 / $24 / 1000, 1000 * $24 / $1, kb / ($26 * 1024 / $1) / 1000, $26 * 1024 / $1 }'
}

growth() {
  growth_end=$(($(date +%s) + growth_limit_s))
  : >"$work/grown"
  new_store "$work/growth.sqlite"
  echo "== growth: what a run costs with so many sites in already (64 connections)"
  printf '%8s %9s %8s %8s %6s %8s %8s %8s %9s %8s %8s %6s %9s %8s\n' sites "import us" runs/s \
    "p99 ms" "CPU us" "of 5000" "stale ms" "pairs ms" "anew ms" "again ms" "board ms" MB \
    "rebuild s" "check s"
  from=0 own=9000000
  for mark in $growth_marks; do
    [ "$mark" -le "$growth_last" ] || break
    # The sites that come in one by one have numbers of their own.
    take_part $own $growth_closed closed
    take_part $((own + growth_closed)) $growth_rated rated
    take_part $((own + growth_closed + growth_rated)) 1 one
    own=$((own + growth_closed + growth_rated + 1))
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
  echo "  import: a site with its 12 readings; of 5000: runs answered of 5 000 a second offered;"
  echo "  stale, pairs: how long it took at most until an acknowledged run had come with an answer"
  echo "  in the result (and so in the leaderboard, made with it) and in its site's pairs: wanted"
  echo "  at most 200 ms, where somebody has looked before; anew: the result after a start, noons"
  echo "  read from the store; again: when one run came in since"
  [ ! -s "$work/grown" ] || growth_ends
  "$bench/figures_bench" "$growth_last"
}
