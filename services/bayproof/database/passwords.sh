#!/bin/bash
# Run once by the PostgreSQL image, after services/cluster/roles.sql has made the roles: gives each
# the password that the service connects with.
set -euo pipefail
psql -v ON_ERROR_STOP=1 --no-psqlrc --quiet --username postgres --dbname postgres \
  -v owner="${BAYPROOF_OWNER_PASSWORD:?}" -v service="${BAYPROOF_SERVICE_PASSWORD:?}" <<'SQL'
ALTER ROLE bayproof_owner PASSWORD :'owner';
ALTER ROLE bayproof_service PASSWORD :'service';
SQL
