# What CI runs, and what a developer runs, one target each. Needs Go, make and
# git; everything else comes through the Go module proxy. `make test` installs
# what it needs beyond that from Debian's packages: a C compiler for the race
# detector, and Python and curl for the example scripts.

SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help

# The processors that a build must run on; core is tested for newer ones too.
export GOAMD64 := v1

MODULE := linepace.example
BUF := go tool -modfile=tools/buf/go.mod buf
BENCH ?= .
FUZZTIME ?= 10s

# What GOAMD64=v3 may use, by the names in /proc/cpuinfo (abm has LZCNT).
V3_NEEDS := avx avx2 bmi1 bmi2 f16c fma abm movbe
V3_LACKS = $(filter-out $(shell grep -m1 ^flags /proc/cpuinfo),$(V3_NEEDS))

.PHONY: help demo packages test lint gen gen-check fma-check unit race core-processors bench fuzz

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "%-16s %s\n", $$1, $$2 }' Makefile

demo: ## plan a product change of the demo line, find a worn pump, log, audit the log (in build/demo)
	@rm -rf build/demo && mkdir -p build/demo
	@go build -o build/demo/linepace ./client/cmd/linepace
	@sh client/examples/demo.sh build/demo/linepace testdata/rooftile build/demo

packages: ## install what the tests need from Debian's packages, where it is absent
	@missing=; \
	command -v "$$(go env CC)" >/dev/null || missing+=" gcc libc6-dev"; \
	command -v python3 >/dev/null || missing+=" python3"; \
	command -v curl >/dev/null || missing+=" curl"; \
	test -z "$$missing" && exit; \
	echo "packages: installing$$missing"; \
	if test "$$(id -u)" = 0; then sudo=; else sudo=sudo; fi; \
	$$sudo apt-get update -q && $$sudo apt-get install -qy --no-install-recommends $$missing

# In this order, so that a slip shows early and the whole of the tests last.
.NOTPARALLEL:
test: packages lint gen-check fma-check race core-processors unit ## everything that CI runs

unit: ## all tests
	go test ./...

race: ## tests of the concurrent packages under the race detector
	@packages=$$(go list ./... | grep -E '^$(MODULE)/(proto|server|gateway|client)(/|$$)'); \
	echo go test -race $$packages; \
	CGO_ENABLED=1 go test -race $$packages

# -short takes a twentieth of the two million random cases; the tables of bits are whole.
core-processors: ## tests of core again, as compiled for and run on other processors
	GODEBUG=cpu.fma=off go test -short ./core/...
ifeq ($(V3_LACKS),)
	GOAMD64=v3 go test -short ./core/...
else
	@echo "core-processors: GOAMD64=v3 NOT RUN: this processor lacks $(V3_LACKS)"
endif

lint: ## buf lint, gofmt, go vet, staticcheck
	$(BUF) lint
	@files=$$(gofmt -l .); test -z "$$files" || { echo "gofmt would change:"; echo "$$files"; exit 1; } >&2
	go vet ./...
	go -C tools/thirdparty vet ./...
	go tool staticcheck ./...

gen: ## generate Go from the contract, and the .proto files that it imports
	go -C tools/thirdparty run . -out "$(CURDIR)/proto/third_party"
	$(BUF) generate

gen-check: ## fail when a generated file is not what `make gen` writes
	@tmp=$$(mktemp -d); trap 'rm -rf "$$tmp"' EXIT; \
	go -C tools/thirdparty run . -out "$$tmp/proto/third_party"; \
	$(BUF) generate -o "$$tmp"; \
	{ diff -r proto/third_party "$$tmp/proto/third_party" && \
	  diff -r -x '*.proto' -x '*_test.go' proto/linepace "$$tmp/proto/linepace"; } >&2 || \
	{ echo "gen-check: generated files differ (<: here, >: generated): run make gen, delete what it does not write" >&2; exit 1; }; \
	echo "gen-check: generated files are up to date"

fma-check: ## fail when core holds a fused multiply-add
	go run ./tools/fmacheck $(MODULE)/core/...

bench: ## all benchmarks, or those that BENCH=regexp matches
	go test -run '^$$' -bench '$(BENCH)' -benchmem ./...

fuzz: ## each fuzz target for FUZZTIME (10s)
	@targets=$$(grep -rEo --include='*_test.go' '^func Fuzz[A-Za-z0-9_]+' . | sort) || { echo "fuzz: no target found" >&2; exit 1; }; \
	while IFS=: read -r file func; do \
		echo "fuzz: $${func#func } in $$file"; \
		go test -run '^$$' -fuzz "^$${func#func }\$$" -fuzztime $(FUZZTIME) "$$(dirname "$$file")"; \
	done <<<"$$targets"
