#!/bin/sh
# A home-made board: one temperature, one heater relay, one compressor relay. It knows MQTT and nothing else.
# usage: board.sh PORT NAME FOLDER DRIFT      (all temperatures in thousandths of a degree, DRIFT per half second)
port=$1 name=$2 folder=$3 drift=$4
: >>"$folder/heard"
[ -e "$folder/temperature" ] || echo 20000 >"$folder/temperature"

while :; do
    mosquitto_sub -h 127.0.0.1 -p "$port" -q 1 -t "$name/relay/+" -F '%t %p' 2>/dev/null
    sleep 0.2
done | while read -r topic payload; do
    echo "$payload" >"$folder/${topic##*/}"
    echo "${topic##*/} $payload" >>"$folder/heard"
done &
trap 'kill 0' TERM

while :; do
    read -r now <"$folder/temperature"
    [ -e "$folder/put" ] && read -r now <"$folder/put" && rm "$folder/put"
    now=$((now + drift))
    [ "$(cat "$folder/heat" 2>/dev/null)" = 1 ] && now=$((now + 60))
    [ "$(cat "$folder/cool" 2>/dev/null)" = ON ] && now=$((now - 60))
    echo "$now" >"$folder/temperature.new" && mv "$folder/temperature.new" "$folder/temperature"
    echo "$now" >>"$folder/course"
    whole=$((now / 1000)) rest=$((now % 1000))
    mosquitto_pub -h 127.0.0.1 -p "$port" -t "$name/probes" \
        -m "$(printf '{"rssi": -61, "p": [%d.%03d, "n/a"]}' "$whole" "$rest")" 2>/dev/null
    sleep 0.5
done
