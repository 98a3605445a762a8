-- The two roles and the database, for whoever makes a PostgreSQL for Bayproof (psql, as its superuser).
-- Migrations don't make roles: they run as the owner. May be run again at any time.
\set ON_ERROR_STOP on

SELECT 'CREATE ROLE bayproof_owner' WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'bayproof_owner') \gexec
SELECT 'CREATE ROLE bayproof_service' WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'bayproof_service') \gexec

-- Owns the tables and migrates them; may make databases (tests clone one each).
ALTER ROLE bayproof_owner LOGIN NOSUPERUSER NOCREATEROLE CREATEDB NOREPLICATION NOBYPASSRLS;
-- What the service runs as: row security holds for it.
ALTER ROLE bayproof_service LOGIN NOSUPERUSER NOCREATEROLE NOCREATEDB NOREPLICATION NOBYPASSRLS;

-- As PostgreSQL 15 and later have it from the start: only a database's owner makes things in `public`.
\connect template1
ALTER SCHEMA public OWNER TO pg_database_owner;
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
\connect postgres

SELECT 'CREATE DATABASE bayproof OWNER bayproof_owner' WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = 'bayproof') \gexec
