#!/bin/bash
# What `dustlog collect` costs while it idles: four sensors behind pseudo-terminals at
# 1 Hz. Prints CPU time as per cent of one core, and resident memory.
#
#   bench/idle.sh [SECONDS]      default 30; Linux
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-30}
work=$(mktemp -d)
pids=()
trap 'kill "${pids[@]}" 2>/dev/null || true; rm -rf "$work"' EXIT

CGO_ENABLED=0 go build -trimpath -ldflags '-s -w' -o "$work/dustlog" ./cmd/dustlog
CGO_ENABLED=0 go build -o "$work/fakes" ./internal/sensor/sensortest/fakes
"$work/fakes" sps30 sds011 pms5003 sngcja5 > "$work/paths" &
pids+=($!)
until [ "$(wc -l < "$work/paths")" -eq 4 ]; do read -r -t 0.1 <> <(:) || true; done

echo "store = \"$work/idle.db\"" > "$work/dustlog.toml"
while read -r model path; do
  printf '[[sensor]]\nname = "%s"\nmodel = "%s"\nport = "%s"\nposition = "room"\n' "$model" "$model" "$path"
done < "$work/paths" >> "$work/dustlog.toml"

"$work/dustlog" collect --quiet --config "$work/dustlog.toml" &
collector=$!
pids+=("$collector")
ticks() { awk '{print $14 + $15}' "/proc/$collector/stat"; }
sleep 5 # start-up is not idling
before=$(ticks)
sleep "$seconds"
after=$(ticks)
awk -v t=$((after - before)) -v hz="$(getconf CLK_TCK)" -v s="$seconds" \
  'BEGIN {printf "CPU: %.2f %% of one core over %d s\n", 100 * t / hz / s, s}'
grep -E 'VmRSS|RssAnon|Threads' "/proc/$collector/status"
kill -INT "$collector"
wait "$collector"
"$work/dustlog" sensors --config "$work/dustlog.toml"
