# SPDX-License-Identifier: MIT
# What the parts of the load bench share: starting and stopping servers so that
# none outlives the bench, calling the load generator, medians. Read by `run`.
#   $bench    the built programs       $work    scratch, emptied at the start
#   $quick    1: a short version

started=
nginx=/usr/sbin/nginx
day=2027-03-18

# start NAME COMMAND...: sets $pid and $port once NAME listens. A server ends with
# this shell, also when the shell is killed.
start() {
  name=$1
  shift
  : >"$work/$name.out"
  setpriv --pdeathsig TERM "$@" >"$work/$name.out" 2>"$work/$name.log" &
  pid=$!
  started="$started $pid"
  for _ in $(seq 100); do
    port=$(sed -n 's/^listening on .*:\([0-9]*\)\/*$/\1/p' "$work/$name.out")
    [ -z "$port" ] || return 0
    kill -0 "$pid" 2>/dev/null || break
    sleep 0.05
  done
  echo "$name did not start:" >&2
  cat "$work/$name.log" >&2
  exit 1
}

stop() {
  kill "$1" 2>/dev/null || true
  wait "$1" 2>/dev/null || true
  others=
  for one in $started; do
    [ "$one" = "$1" ] || others="$others $one"
  done
  started=$others
}

stop_all() {
  for one in $started; do stop "$one"; done
}

# ask METHOD PATH FILE [curl options]: the answer into FILE; fails on a refusal.
ask() {
  method=$1 path=$2 file=$3
  shift 3
  curl -sS --fail-with-body --max-time 60 -X "$method" -o "$file" \
    -H "Authorization: Bearer $(cat "$work/organiser.key")" "$@" "http://127.0.0.1:$port$path" || {
    echo "$method $path was refused:" >&2
    head -c 500 "$file" >&2
    exit 1
  }
}

# A new store with an organiser and the day open; serves it.
new_store() {
  rm -f "$1" "$1-wal" "$1-shm"
  "$build/noonarcd" organiser "Bench" --store "$1" >"$work/organiser.key" 2>/dev/null
  start noonarcd "$build/noonarcd" serve --listen 127.0.0.1:0 --store "$1"
  ask POST /api/v1/days "$work/answer" -H 'Content-Type: application/json' \
    -d "{\"date\": \"$day\", \"lon_tolerance_deg\": 0.5}"
}

# take_part FIRST COUNT NAME: registers and joins sites, and writes their runs as
# requests into $work/NAME. A spreadsheet has 1 MiB at most.
take_part() {
  "$bench/scene" sites "$1" "$2" >"$work/sites.csv"
  ask POST /api/v1/sites.csv "$work/keys.json" -H 'Content-Type: text/csv' \
    --data-binary "@$work/sites.csv"
  "$bench/scene" joins "$1" "$2" "$day" "$(cat "$work/organiser.key")" >"$work/joins"
  "$bench/load" --port "$port" --requests "$work/joins" --expect 200 >/dev/null
  "$bench/scene" runs "$1" "$2" "$day" "$work/keys.json" >"$work/$3"
}

# measure KEY load's options...: one more line of KEY's measurements. What failed
# is told and does not end the bench.
measure() {
  key=$1
  shift
  line=$("$bench/load" --port "$port" "$@") || echo "bench: $key: some requests failed: $line" >&2
  [ -z "$line" ] || echo "$key $line" >>"$work/measured"
}

# medians: "KEY COLUMN..." in any order -> a line a key with each column's median.
medians() {
  awk '
    { if (!($1 in n)) order[++keys] = $1; row = ++n[$1]; columns = NF
      for (c = 2; c <= NF; c++) cell[$1, c, row] = $c + 0 }
    END {
      for (k = 1; k <= keys; k++) {
        key = order[k]; line = key
        for (c = 2; c <= columns; c++) {
          count = n[key]
          for (i = 1; i <= count; i++) sorted[i] = cell[key, c, i]
          for (i = 2; i <= count; i++) {
            value = sorted[i]
            for (j = i - 1; j >= 1 && sorted[j] > value; j--) sorted[j + 1] = sorted[j]
            sorted[j + 1] = value
          }
          line = line " " sorted[int((count + 1) / 2)]
        }
        print line
      }
    }' "$1"
}

# Seconds a command took, on standard output; its own output is dropped.
seconds() {
  before=$(date +%s%N)
  "$@" >/dev/null
  echo "$before $(date +%s%N)" | awk '{ printf "%.2f", ($2 - $1) / 1e9 }'
}
