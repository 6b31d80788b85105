# SPDX-License-Identifier: MIT
# Intake: runs acknowledged after they are on the disk, beside a bare C program and
# a Node server of the same durability. Every round gives each server a store of
# its own and the same requests; the servers take turns. Read by `run`.

intake_count=8000 intake_warm=500 intake_rounds=5 intake_s=2
[ "$quick" = 0 ] || intake_count=3000 intake_rounds=1 intake_s=0.6

serve_bare() {
  start bare "$bench/bare_intake" "$work/round.sqlite"
}
serve_noonarcd() {
  cp "$work/day.sqlite" "$work/round.sqlite"
  start noonarcd "$build/noonarcd" serve --listen 127.0.0.1:0 --store "$work/round.sqlite"
}
serve_batch() {
  start batch node "$bench/peer/server.js" "$work/round.sqlite" batch
}
serve_each() {
  start each node "$bench/peer/server.js" "$work/round.sqlite" each
}

intake() {
  new_store "$work/day.sqlite"
  take_part 0 $((intake_count + intake_warm)) runs
  stop "$pid"

  : >"$work/measured"
  for round in $(seq $intake_rounds); do
    for connections in 16 64 256; do
      for server in bare noonarcd batch each; do
        rm -f "$work"/round.sqlite*
        "serve_$server"
        measure "$connections/$server" --requests "$work/runs" --connections "$connections" \
          --warm $intake_warm --seconds $intake_s --pid "$pid"
        stop "$pid"
      done
    done
  done
  rm -f "$work"/round.sqlite*

  echo "== intake: durable runs of 12 readings, an answer each; $(rounds $intake_rounds)"
  medians "$work/measured" | awk '
    BEGIN {
      name["bare"] = "bare C, group commit"; name["noonarcd"] = "noonarcd"
      name["batch"] = "Node, batching"; name["each"] = "Node, a commit each"
      printf "%11s  %-22s %9s %7s %9s %9s %12s %9s\n", "connections", "server", "runs/s",
             "x bare", "p50 ms", "p99 ms", "CPU us/run", "most MB"
    }
    { split($1, key, "/"); n = key[1]; s = key[2]; rate[n, s] = $2
      printf "%11d  %-22s %9.0f %7.2f %9.2f %9.2f %12.1f %9.1f\n", n, name[s], $2,
             $2 / rate[n, "bare"], $3, $4, $5, $6
      if (s == "noonarcd") { p99[n] = $4; cpu[n] = $5; mb[n] = $6 } }
    function of(n, s) { return rate[n, s] > 0 ? rate[n, "noonarcd"] / rate[n, s] : 0 }
    function judge(what, value, form, wanted, least) {
      printf "  %-46s " form "   wanted " form "  %s\n", what, value, wanted,
             (value > 0 && (least ? value >= wanted : value <= wanted)) ? "met" : "MISSED" }
    END {
      for (n = 16; n <= 256; n *= 4) {
        judge(n " connections: of the bare server", of(n, "bare"), "%7.2f", 0.9, 1)
        judge(n " connections: of the batching Node server", of(n, "batch"), "%7.2f", 1.3, 1)
        judge(n " connections: of the committing Node server", of(n, "each"), "%7.2f", 5, 1)
      }
      judge("64 connections: p99, ms", p99[64], "%7.2f", 20, 0)
      judge("64 connections: CPU per run, us", cpu[64], "%7.1f", 70, 0)
      judge("256 connections: most resident, MB", mb[256], "%7.1f", 40, 0)
    }'
}
