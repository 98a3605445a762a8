-- The clock is read in nearly every transaction; in this language its query is planned once in a session, not each time.
CREATE OR REPLACE FUNCTION service_now() RETURNS timestamptz LANGUAGE plpgsql VOLATILE AS $$
BEGIN
    RETURN coalesce(
        (SELECT shown_anchor + (clock_timestamp() - real_anchor) * rate FROM service_clock),
        clock_timestamp());
END
$$;
