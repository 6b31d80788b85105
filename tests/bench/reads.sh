# SPDX-License-Identifier: MIT
# Reads: a day's result and a leaderboard of about 50 KB, plain, gzipped and asked
# for again with their ETag, beside nginx with the same bytes in files. The servers
# take turns. Read by `run`.

reads_sites=1000 reads_limit=94 reads_count=60000 reads_rounds=5 reads_s=1
[ "$quick" = 0 ] || reads_count=20000 reads_rounds=1 reads_s=0.5
reads_connections=64

# nginx_start FOLDER: serves it; sets $pid (its workers) and $port.
nginx_start() {
  for port in 28471 28473 28477 28479 28481; do
    cat >"$work/nginx.conf" <<END
daemon off;
user $(id -un);
worker_processes 2;
pid $work/nginx.pid;
error_log $work/nginx.log;
events { worker_connections 1024; }
http {
  access_log off;
  default_type application/json;
  sendfile on;
  tcp_nopush on;
  open_file_cache max=100;
  keepalive_requests 100000000;
  gzip_static on;
  gzip_vary on;
  client_body_temp_path $work/nginx-body; proxy_temp_path $work/nginx-proxy;
  fastcgi_temp_path $work/nginx-fastcgi; uwsgi_temp_path $work/nginx-uwsgi;
  scgi_temp_path $work/nginx-scgi;
  server { listen 127.0.0.1:$port; root $1; }
}
END
    setpriv --pdeathsig TERM "$nginx" -c "$work/nginx.conf" 2>"$work/nginx.err" &
    nginx_pid=$!
    started="$started $nginx_pid"
    for _ in 1 2 3 4 5 6 7 8 9 10; do
      sleep 0.1
      if [ -s "$work/nginx.pid" ] && curl -sf -o /dev/null "http://127.0.0.1:$port/result"; then
        return 0
      fi
      kill -0 "$nginx_pid" 2>/dev/null || break
    done
    stop "$nginx_pid"
  done
  echo "nginx did not start:" >&2
  cat "$work/nginx.err" "$work/nginx.log" >&2
  exit 1
}

etag_of() {
  curl -sS -o /dev/null -D - "http://127.0.0.1:$port$1" | tr -d '\r' | sed -n 's/^[Ee][Tt][Aa][Gg]: //p'
}

# prepare SERVER RESULT LEADERBOARD: the requests of each kind for this server.
prepare() {
  for what in result leaderboard; do
    path=$2
    [ $what = result ] || path=$3
    "$bench/scene" get "$path" $reads_count >"$work/$1-$what-plain"
    "$bench/scene" get "$path" $reads_count "Accept-Encoding: gzip" >"$work/$1-$what-gzip"
    "$bench/scene" get "$path" $reads_count "If-None-Match: $(etag_of "$path")" \
      >"$work/$1-$what-again"
  done
}

# read_all SERVER PROCESS...: one measurement of every kind there are requests for.
read_all() {
  server=$1
  shift
  pids=
  for one in "$@"; do pids="$pids --pid $one"; done
  for what in result leaderboard; do
    for kind in plain gzip again; do
      [ -e "$work/$server-$what-$kind" ] || continue
      expect=200
      [ $kind != again ] || expect=304
      # shellcheck disable=SC2086
      measure "$what/$kind/$server" --requests "$work/$server-$what-$kind" --expect $expect \
        --connections $reads_connections --warm 20 --seconds $reads_s $pids
    done
  done
}

reads() {
  new_store "$work/reads.sqlite"
  take_part 0 $reads_sites runs
  "$bench/load" --port "$port" --requests "$work/runs" --seconds 30 >/dev/null
  ours=$pid ours_port=$port
  result=/api/v1/days/$day/result
  leaderboard=/api/v1/days/$day/leaderboard?limit=$reads_limit
  prepare noonarcd $result "$leaderboard"

  mkdir -p "$work/files"
  ask GET $result "$work/files/result"
  ask GET "$leaderboard" "$work/files/leaderboard"
  gzip -6 -k -f "$work/files/result" "$work/files/leaderboard"
  nginx_start "$work/files"
  nginx_port=$port
  prepare nginx /result /leaderboard
  workers=$(cat "/proc/$nginx_pid/task/$nginx_pid/children")

  start bare "$bench/bare_intake" "$work/bare.sqlite" "$work/files/leaderboard"
  bare=$pid bare_port=$port
  "$bench/scene" get / $reads_count >"$work/bare-leaderboard-plain"

  : >"$work/measured"
  for round in $(seq $reads_rounds); do
    port=$ours_port
    read_all noonarcd "$ours"
    port=$nginx_port
    # shellcheck disable=SC2086
    read_all nginx $workers
    port=$bare_port
    read_all bare "$bare"
  done
  stop "$nginx_pid"
  stop "$bare"
  stop "$ours"
  pages=$(wc -c <"$work/files/leaderboard")

  echo "== reads: result and leaderboard ($pages bytes) of $reads_sites sites," \
    "$reads_connections connections; $(rounds $reads_rounds)"
  medians "$work/measured" | awk '
    { split($1, key, "/"); what = key[1] ", " key[2]; s = key[3]
      if (!(what in seen)) { seen[what] = 1; order[++kinds] = what }
      rate[what, s] = $2; p50[what, s] = $3; p99[what, s] = $4; cpu[what, s] = $5; bytes[what, s] = $9 }
    END {
      name["noonarcd"] = "noonarcd"; name["nginx"] = "nginx, from a file"
      name["bare"] = "bare libmicrohttpd"; split("nginx bare noonarcd", servers, " ")
      printf "%-20s %7s  %-20s %9s %8s %9s %9s %11s\n", "", "bytes", "server", "gets/s", "x nginx",
             "p50 ms", "p99 ms", "CPU us/get"
      for (k = 1; k <= kinds; k++) for (i = 1; i <= 3; i++) {
        w = order[k]; s = servers[i]
        if (!((w, s) in rate)) continue
        ratio = rate[w, s] / rate[w, "nginx"]
                printf "%-20s %7d  %-20s %9.0f %8.2f %9.2f %9.2f %11.1f", w, bytes[w, s], name[s],
               rate[w, s], ratio, p50[w, s], p99[w, s], cpu[w, s]
        if (s == "noonarcd") printf "  %s",
               (ratio >= 0.9 && cpu[w, s] <= cpu[w, "nginx"] ? "met" : "MISSED")
        print "" }
      print "  again: asked with its ETag, answered 304. Wanted: 0.90 of nginx or more, at no more CPU"
    }'
}
