-- Who may do what with a history on PostgreSQL. `curbtick db roles --apply` runs this; it may be run again.
--
-- curbtick_reader   sees everything, changes nothing
-- curbtick_bench    adds records and entries, and brings what follows from them up to date; never changes either
-- curbtick_steward  makes limit sets, which every bench then sends; changes versions, copies, repairs
--
-- They are groups without a login. A login of its own for each bench:
--   CREATE ROLE bench_north LOGIN IN ROLE curbtick_bench;   then \password bench_north

DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'curbtick_reader') THEN
        CREATE ROLE curbtick_reader NOLOGIN;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'curbtick_bench') THEN
        CREATE ROLE curbtick_bench NOLOGIN;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'curbtick_steward') THEN
        CREATE ROLE curbtick_steward NOLOGIN;
    END IF;
END
$$;

REVOKE ALL ON ALL TABLES IN SCHEMA public, cache FROM PUBLIC, curbtick_reader, curbtick_bench;
REVOKE ALL ON ALL SEQUENCES IN SCHEMA public, cache FROM PUBLIC, curbtick_reader, curbtick_bench;
REVOKE CREATE ON SCHEMA public, cache FROM PUBLIC, curbtick_bench;
GRANT USAGE ON SCHEMA public, cache TO curbtick_reader, curbtick_bench;
GRANT SELECT ON ALL TABLES IN SCHEMA public, cache TO curbtick_reader, curbtick_bench;

-- A bench adds to the history,
GRANT INSERT ON records, entries TO curbtick_bench;

-- but for limit sets, which are the steward's,
ALTER TABLE entries ENABLE ROW LEVEL SECURITY;
DROP POLICY IF EXISTS seen_by_all ON entries;
CREATE POLICY seen_by_all ON entries FOR SELECT USING (true);
DROP POLICY IF EXISTS added_by_benches ON entries;
CREATE POLICY added_by_benches ON entries FOR INSERT TO curbtick_bench WITH CHECK (kind <> 'limits_made');
DROP POLICY IF EXISTS stewards ON entries;
CREATE POLICY stewards ON entries TO curbtick_steward USING (true) WITH CHECK (true);

-- and brings up to date what follows from it, of which nothing is ever taken into the history.
GRANT INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA cache TO curbtick_bench;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA cache TO curbtick_bench;

GRANT ALL ON SCHEMA public, cache TO curbtick_steward;
GRANT ALL ON ALL TABLES IN SCHEMA public, cache TO curbtick_steward;
GRANT ALL ON ALL SEQUENCES IN SCHEMA public, cache TO curbtick_steward;
