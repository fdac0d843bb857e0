#!/bin/sh
# Asks a Linepace server for a plan and prints the answer, JSON on one line.
#
# usage: plan.sh [REQUEST.json [URL]]
#
# Needs curl. A refused request ends with exit code 22; the answer then lists each
# wrong field by its path. A plan that is not runnable is an answer like any other:
# read its verdict.
set -eu
here=$(dirname "$0")
request=${1:-$here/plan.json}
url=${2:-http://127.0.0.1:8071}

curl --silent --show-error --fail-with-body --max-time 30 \
	--header 'Content-Type: application/json' \
	--data-binary "@$request" \
	"$url/v1/changeovers:plan"
