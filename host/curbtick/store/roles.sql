-- Who may do what with a history on PostgreSQL. `curbtick db roles --apply` runs this; it may be run again.
--
-- curbtick_reader   sees everything, changes nothing
-- curbtick_bench    pulls, assigns, notes work; no reading or record is ever deleted or rewritten by it
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

REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, curbtick_reader, curbtick_bench;
REVOKE ALL ON ALL SEQUENCES IN SCHEMA public FROM PUBLIC, curbtick_reader, curbtick_bench;
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO curbtick_reader, curbtick_bench;
GRANT SELECT ON ALL TABLES IN SCHEMA public TO curbtick_reader, curbtick_bench;

-- A bench adds to everything but the marks of the history's version and the limit sets,
GRANT INSERT ON ALL TABLES IN SCHEMA public TO curbtick_bench;
REVOKE INSERT ON meta, limit_sets FROM curbtick_bench;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO curbtick_bench;

-- brings what it computed up to date,
GRANT UPDATE ON boots, runs, probes, benches, vehicles, findings, swaps, assignments TO curbtick_bench;
GRANT DELETE ON runs TO curbtick_bench;

-- and of what a probe measured changes only when and where it belongs, never what it says.
GRANT UPDATE (time_ms, sort_ms, superseded, vehicle_id, at_bumper, at_position) ON readings TO curbtick_bench;
GRANT UPDATE (time_ms, sort_ms, vehicle_id) ON bumper_results, seal_marks, hiss_marks TO curbtick_bench;
GRANT UPDATE (time_ms, sort_ms) ON snippets, sounds, self_tests, events, crashes TO curbtick_bench;

GRANT ALL ON SCHEMA public TO curbtick_steward;
GRANT ALL ON ALL TABLES IN SCHEMA public TO curbtick_steward;
GRANT ALL ON ALL SEQUENCES IN SCHEMA public TO curbtick_steward;
