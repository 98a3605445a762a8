#!/bin/bash
# Compares services/store/.sqlx with what the queries really are against a freshly migrated
# PostgreSQL; with the argument `write`, writes it. Needs no sqlx-cli and no database of yours.
set -euo pipefail
cd "$(dirname "$0")/../.."
kept=services/store/.sqlx
fresh=$(mktemp -d)

cargo build --quiet --package cluster --example hold
exec {said}< <(exec "${CARGO_TARGET_DIR:-target}/debug/examples/hold")
holder=$!
trap 'kill "$holder"; rm -rf "$fresh"' EXIT
read -r DATABASE_URL <&"$said"
for migration in migrations/*.sql; do
  psql --no-psqlrc --quiet --single-transaction -v ON_ERROR_STOP=1 -f "$migration" "$DATABASE_URL"
done

touch services/store/src/lib.rs # the macros run only when the crate is compiled
export DATABASE_URL SQLX_OFFLINE=false SQLX_OFFLINE_DIR=$fresh
cargo check --quiet --package store --all-targets

if [ "${1:-}" = write ]; then
  rm -rf "$kept"
  cp -r "$fresh" "$kept"
elif ! diff -r "$kept" "$fresh"; then
  echo "services/store/.sqlx is out of date: run services/store/check-queries.sh write" >&2
  exit 1
fi
