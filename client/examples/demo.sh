#!/bin/sh
# Plans the change of the demo line from one tile to the next, finds a worn pump by a
# year of readings, plans again with its correction, logs both plans, audits the log, and shows that one altered byte does not escape the audit.
#
# usage: demo.sh LINEPACE LINES FOLDER
#
# LINEPACE is the program, LINES the folder of the demo line, FOLDER an empty one
# that takes what is made. Needs the tools of any POSIX system and GNU grep.
set -eu
linepace=$1
lines=$2
folder=$3

private=$(mktemp -d)
trap 'rm -rf "$private"' EXIT
key=$private/throw-away.pem
"$linepace" keygen "$key" >"$folder/keys.json"

# The sheet first: this is what a technician takes to the drives.
"$linepace" plan --line "$lines/line.yaml" --product "$lines/product-b.yaml" --running "$lines/product-a.yaml" \
	--transitions "$lines/transitions.yaml" \
	--batch B-2291 --recipe R-17 --equipment LINE-1 --by "shift 2" --reason "product change" --at now \
	--signing-key "$key" --record "$folder/record.json"

echo "THE TAKE-AWAY BELT RUNS TWICE AS FAST AS ITS COUNT SAYS: which mistake explains it?"
echo
"$linepace" calc diagnose --line "$lines/line.yaml" --drive takeaway "$lines/takeaway-too-fast.yaml" | sed '/^CAUTIONS/,$d'

echo "IT IS MENDED, AND ITS MOTOR CHECKED BY A TACHOMETER: does the drive keep to its regulation?"
echo
"$linepace" calc check-reading --line "$lines/line.yaml" --drive takeaway "$lines/takeaway-tachometer.yaml" | sed '/^CAUTIONS/,$d'

echo "A CATCH TEST AT THE GLAZE PUMP: what it moves and what leaks back, a year later"
echo
"$linepace" calc catch --line "$lines/line.yaml" --drive glaze-pump "$lines/glaze-catch.yaml" | sed '/^WHAT TO KNOW/,$d'

echo "TWO INTEGERS CARRY THE SCALE INTO THE DISPLAY OF THE TAKE-AWAY BELT"
"$linepace" calc scale --line "$lines/line.yaml" --drive takeaway "$lines/takeaway-fraction.yaml" | sed -n '/^SCALE FRACTION/,/^$/p'

echo "THE COMMISSIONING SHEET OF THE KILN, at the speed of the product"
"$linepace" commission --line "$lines/line.yaml" --product "$lines/product-b.yaml" --drive kiln-rollers | sed -n '/^    SET/,/^$/p'

echo "WHAT THE COUNTS OF THE THREE SCREWS REALLY BLEND, chosen together"
"$linepace" calc blend --line "$lines/line.yaml" "$lines/body-blend.yaml" | sed -n '/^COMPOSITION/,/^$/p; /^RATIO/,/^$/p'

echo "HOW FAR THE THROUGHPUT OF BOTH BODIES CAN GO"
"$linepace" calc window --line "$lines/line.yaml" "$lines/body-windows.yaml" | sed '/^CAUTIONS/,$d'

echo "THE THREE SCREWS START TOGETHER, as fast as the slowest can"
"$linepace" calc ramps --line "$lines/line.yaml" "$lines/body-start.yaml" | sed -n '/^SET ON/,/^$/p; /^OFF RATIO/,/^$/p'

"$linepace" calc transition --picture "$folder/kiln-change.svg" "$lines/kiln-change.yaml" >/dev/null
echo "THE TILES IN THE KILN WHILE ITS SPEED CHANGES are drawn in $folder/kiln-change.svg"
echo

echo "A YEAR OF THE GLAZE PUMP'S METER: does it still deliver what it did? Drawn in $folder/glaze-drift.svg"
echo
"$linepace" calc assess --line "$lines/line.yaml" --drive glaze-pump --csv "$lines/glaze-year.csv" \
	--time "read at" --time-layout dmy --zone Europe/Vienna --rpm "motor r/min" --pulses "bell meter pulses" \
	--event "done before" --fixed-gate "10 min" --chart "$folder/glaze-drift.svg" "$lines/glaze-drift.yaml" >"$private/drift.txt" 2>"$private/gaps.txt" || {
	cat "$private/gaps.txt" >&2
	exit 1
}
sed 's/^linepace: note: [^:]*: //' "$private/gaps.txt"
echo
sed -n '/^WHAT TO DO/,/^$/p; /^DELIVERY NOW/,/^$/p; /^CORRECTION/,/^$/p' "$private/drift.txt"

# What the assessment gives for the file of the line goes there, below all else.
{ cat "$lines/line.yaml" && sed -n '/^corrections:/,/^      readingCount:/p' "$private/drift.txt"; } >"$folder/line-corrected.yaml"
echo "A CATCH TEST BORE IT OUT: the plan again, with the correction"
"$linepace" plan --line "$folder/line-corrected.yaml" --product "$lines/product-b.yaml" \
	--batch B-2291 --recipe R-17 --equipment LINE-1 --by "shift 2" --reason "glaze pump corrected" --at now \
	--signing-key "$key" --record "$folder/corrected.json" | sed -n '/^[0-9]* *glaze-pump: /,/^$/p'

echo "BOTH RECORDS GO INTO THE BATCH LOG"
"$linepace" log --log "$folder/line-1.db" "$folder/record.json" "$folder/corrected.json"
echo
"$linepace" list --log "$folder/line-1.db"
echo
"$linepace" audit --log "$folder/line-1.db" --keys "$folder/keys.json"

# A copy in which one digit of the kiln's count is another one, as somebody with
# access to the file might have it.
cp "$folder/line-1.db" "$folder/altered.db"
at=$(LC_ALL=C grep -obUa '"count":13726' "$folder/altered.db" | head -n 1 | cut -d: -f1)
printf 4 | dd of="$folder/altered.db" bs=1 seek=$((at + 8)) conv=notrunc status=none

echo "ONE BYTE IS ALTERED IN A COPY: the kiln's count, 13726, becomes 43726"
echo
code=0
"$linepace" audit --log "$folder/altered.db" --keys "$folder/keys.json" 2>&1 || code=$?
echo
if test "$code" != 1; then
	echo "demo: the audit of the altered copy ended with exit code $code, not 1" >&2
	exit 1
fi
echo "The audit caught it: exit code 1. The signing key is deleted; the rest is here:"
ls "$folder"/*.json "$folder"/*.db "$folder"/*.svg
