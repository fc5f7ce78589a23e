# Two commands matter: `go run ./cmd/dustlog demo` and `make test`. `make help` lists the rest.

CACHE := $(or $(XDG_CACHE_HOME),$(HOME)/.cache)/dustlog
TOOLS := $(CACHE)/tools
export DUSTLOG_INFLUXD := $(TOOLS)/influxd

.DEFAULT_GOAL := test
.PHONY: help test tools check unit race browser cross package docs validate soak fuzz bench build release clean

help: ## this list
	@sed -nE 's/^([a-z]+):.*## (.*)/\1\t\2/p' $(MAKEFILE_LIST) | expand -t 11

test: tools check unit race browser cross package ## everything, with what it needs

tools: ## install Chromium, InfluxDB 1.8.10 and the linter, if missing
	@.ci/tools $(TOOLS)

check: ## format, lint, import arrows, tidy modules, generated pages up to date
	@test -z "$$(gofmt -l .)" || { gofmt -l .; echo "run gofmt -w on these"; exit 1; }
	go vet ./...
	cd browsertests && go vet ./...
	cd packaging && go vet ./...
	$(TOOLS)/golangci-lint run ./...
	go mod tidy -diff
	cd browsertests && go mod tidy -diff
	cd packaging && go mod tidy -diff
	go run ./internal/validation/page -check

unit: ## all tests of the main module
	go test -timeout 20m ./...

race: ## the same under the race detector, without the longest runs
	CGO_ENABLED=1 go test -timeout 20m -race -short ./...

browser: ## the report in a real browser
	cd browsertests && go test ./...

PLATFORMS := linux/arm/6 linux/arm64 linux/amd64 windows/amd64 darwin/arm64

cross: ## build for every platform, without cgo
	@for p in $(PLATFORMS); do \
	  IFS=/ read -r os arch arm <<< "$$p"; \
	  echo "building for $$p"; \
	  CGO_ENABLED=0 GOOS=$$os GOARCH=$$arch GOARM=$$arm go build -o /dev/null ./cmd/dustlog || exit 1; \
	done

package: ## make a release twice, and install its Debian package in a folder
	cd packaging && go test -timeout 20m ./...

SHELL := /bin/bash

build: ## the program, here
	CGO_ENABLED=0 go build -trimpath -o dustlog ./cmd/dustlog

docs: ## write the generated pages
	go run ./internal/validation/page

validate: ## simulate tens of thousands of before/after studies, then write the generated pages
	go test -count=1 -timeout 4h -run '^Test' ./internal/compare/simulate -full -v
	go run ./internal/validation/page

soak: ## a day's faults in 20 minutes, then docs/reliability.md; Linux, as root
	go run ./bench/soak -page docs/reliability.md

FUZZTIME ?= 60s

fuzz: ## every fuzz target for FUZZTIME
	@for pkg in $$(go list ./...); do \
	  for target in $$(go test -list '^Fuzz' $$pkg | grep '^Fuzz'); do \
	    echo "$$pkg $$target"; \
	    go test -run '^$$' -fuzz "^$$target$$" -fuzztime $(FUZZTIME) $$pkg || exit 1; \
	  done; \
	done

bench: ## benchmarks
	go test -run '^$$' -bench . -benchmem ./...

release: ## programs, packages and checksums of VERSION (as in 1.2.0) for all platforms, in dist
	cd packaging && go run . -version $(VERSION) -out ../dist

clean: ## what build, demo and release leave
	rm -rf dustlog dustlog-demo dist
