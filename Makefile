# Two commands matter: `go run ./cmd/dustlog demo` and `make test`.

CACHE := $(or $(XDG_CACHE_HOME),$(HOME)/.cache)/dustlog
TOOLS := $(CACHE)/tools
export DUSTLOG_INFLUXD := $(TOOLS)/influxd

.PHONY: test tools check unit race browser cross docs validate fuzz bench build clean

test: tools check unit race browser cross ## everything, with what it needs

tools: ## install Chromium, InfluxDB 1.8.10 and the linter, if missing
	@.ci/tools $(TOOLS)

check: ## format, lint, import arrows, tidy modules, generated pages up to date
	@test -z "$$(gofmt -l .)" || { gofmt -l .; echo "run gofmt -w on these"; exit 1; }
	go vet ./...
	cd browsertests && go vet ./...
	$(TOOLS)/golangci-lint run ./...
	go mod tidy -diff
	cd browsertests && go mod tidy -diff
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

SHELL := /bin/bash

build: ## the program, here
	CGO_ENABLED=0 go build -trimpath -o dustlog ./cmd/dustlog

docs: ## write the generated pages
	go run ./internal/validation/page

validate: ## simulate tens of thousands of before/after studies, then write the generated pages
	go test -count=1 -timeout 4h -run '^Test' ./internal/compare/simulate -full -v
	go run ./internal/validation/page

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

clean:
	rm -rf dustlog dustlog-demo
