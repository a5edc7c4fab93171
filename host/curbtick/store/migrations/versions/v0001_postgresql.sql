CREATE TABLE assignments (
    id BIGSERIAL NOT NULL,
    at_ms BIGINT NOT NULL,
    by VARCHAR(80),
    why TEXT,
    undone_ms BIGINT,
    PRIMARY KEY (id)
);

CREATE TABLE limit_sets (
    id BIGSERIAL NOT NULL,
    revision BIGINT NOT NULL,
    made_ms BIGINT NOT NULL,
    origin TEXT,
    payload BYTEA NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (revision)
);

CREATE TABLE meta (
    key VARCHAR(40) NOT NULL,
    value VARCHAR(200),
    PRIMARY KEY (key)
);

CREATE TABLE probes (
    id BIGSERIAL NOT NULL,
    unique_id VARCHAR(32) NOT NULL,
    life INTEGER NOT NULL,
    name VARCHAR(80) NOT NULL,
    depot VARCHAR(80),
    first_seen_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (unique_id, life),
    UNIQUE (name)
);

CREATE TABLE rounds (
    id BIGSERIAL NOT NULL,
    number INTEGER NOT NULL,
    name VARCHAR(80),
    technician VARCHAR(80),
    made_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (number)
);

CREATE TABLE vehicles (
    id BIGSERIAL NOT NULL,
    name VARCHAR(80) NOT NULL,
    type VARCHAR(40),
    depot VARCHAR(80),
    is_reference BOOLEAN NOT NULL,
    created_ms BIGINT NOT NULL,
    retired_ms BIGINT,
    note TEXT,
    PRIMARY KEY (id)
);

CREATE INDEX ix_vehicles_name ON vehicles (name);

CREATE TABLE anchors (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    host_ms BIGINT NOT NULL,
    uncertainty_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (probe_id, boot, ticks_ms, host_ms),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE boots (
    probe_id BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    offset_ms BIGINT,
    anchor_ticks_ms BIGINT,
    uncertainty_ms BIGINT,
    not_before_ms BIGINT,
    not_after_ms BIGINT NOT NULL,
    PRIMARY KEY (probe_id, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE bumper_results (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    bumper SMALLINT,
    positions SMALLINT,
    class_khz SMALLINT,
    result SMALLINT,
    limits_revision BIGINT,
    verdicts_1 SMALLINT,
    verdicts_2 SMALLINT,
    verdicts_3 SMALLINT,
    verdicts_4 SMALLINT,
    verdicts_5 SMALLINT,
    verdicts_6 SMALLINT,
    reasons_1 BIGINT,
    reasons_2 BIGINT,
    reasons_3 BIGINT,
    reasons_4 BIGINT,
    reasons_5 BIGINT,
    reasons_6 BIGINT,
    reading_seqs_1 BIGINT,
    reading_seqs_2 BIGINT,
    reading_seqs_3 BIGINT,
    reading_seqs_4 BIGINT,
    reading_seqs_5 BIGINT,
    reading_seqs_6 BIGINT,
    vehicle_id BIGINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX bumper_results_by_place ON bumper_results (vehicle_id, bumper, sort_ms);

CREATE INDEX bumper_results_by_time ON bumper_results (sort_ms);

CREATE TABLE bumpers (
    id BIGSERIAL NOT NULL,
    vehicle_id BIGINT NOT NULL,
    bumper SMALLINT NOT NULL,
    positions SMALLINT NOT NULL,
    class_khz SMALLINT NOT NULL,
    from_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX bumpers_by_vehicle ON bumpers (vehicle_id, bumper, from_ms);

CREATE TABLE events (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    event SMALLINT,
    value BIGINT,
    extra BIGINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX events_by_time ON events (sort_ms);

CREATE TABLE findings (
    id BIGSERIAL NOT NULL,
    vehicle_id BIGINT NOT NULL,
    bumper SMALLINT NOT NULL,
    position SMALLINT NOT NULL,
    what VARCHAR(20) NOT NULL,
    reasons BIGINT NOT NULL,
    state VARCHAR(10) NOT NULL,
    opened_ms BIGINT NOT NULL,
    opened_by_id BIGINT,
    proved_ms BIGINT,
    proved_by_id BIGINT,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX findings_by_place ON findings (vehicle_id, bumper, position);

CREATE INDEX findings_by_state ON findings (state);

CREATE TABLE hiss_marks (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    section SMALLINT,
    verdict SMALLINT,
    reasons BIGINT,
    band_low_hz BIGINT,
    band_high_hz BIGINT,
    background_cdb SMALLINT,
    level_cdb SMALLINT,
    above_background_cdb SMALLINT,
    tone_hz BIGINT,
    tone_cdb SMALLINT,
    listened_ms BIGINT,
    limits_revision BIGINT,
    battery_mv INTEGER,
    vehicle_id BIGINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX hiss_marks_by_time ON hiss_marks (sort_ms);

CREATE TABLE log (
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    kind SMALLINT NOT NULL,
    raw BYTEA NOT NULL,
    PRIMARY KEY (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE pulls (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    bench VARCHAR(80),
    at_ms BIGINT NOT NULL,
    new_count INTEGER NOT NULL,
    doubled_count INTEGER NOT NULL,
    first_seq BIGINT,
    last_seq BIGINT,
    PRIMARY KEY (id),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE readings (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    bumper SMALLINT,
    position SMALLINT,
    positions SMALLINT,
    class_khz SMALLINT,
    verdict SMALLINT,
    reasons BIGINT,
    proofs SMALLINT,
    input SMALLINT,
    level_cdb SMALLINT,
    frequency_hz BIGINT,
    sweep_hz INTEGER,
    interval_us BIGINT,
    burst_us BIGINT,
    ringdown_us BIGINT,
    noise_cdb SMALLINT,
    high_floor_cdb SMALLINT,
    single_cdb SMALLINT,
    train_cdb SMALLINT,
    burst_count SMALLINT,
    due_count SMALLINT,
    sound_count INTEGER,
    listened_ms INTEGER,
    time_to_verdict_ms INTEGER,
    limits_revision BIGINT,
    supersedes_seq BIGINT,
    battery_mv INTEGER,
    temperature_ddeg SMALLINT,
    vehicle_id BIGINT,
    at_bumper SMALLINT,
    at_position SMALLINT,
    superseded SMALLINT NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX readings_by_place ON readings (vehicle_id, at_bumper, at_position, sort_ms);

CREATE INDEX readings_by_time ON readings (sort_ms);

CREATE TABLE round_vehicles (
    round_id BIGINT NOT NULL,
    place SMALLINT NOT NULL,
    vehicle_id BIGINT NOT NULL,
    rear_positions SMALLINT NOT NULL,
    rear_class_khz SMALLINT NOT NULL,
    front_positions SMALLINT NOT NULL,
    front_class_khz SMALLINT NOT NULL,
    PRIMARY KEY (round_id, place),
    FOREIGN KEY(round_id) REFERENCES rounds (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE TABLE runs (
    probe_id BIGINT NOT NULL,
    first_seq BIGINT NOT NULL,
    last_seq BIGINT NOT NULL,
    PRIMARY KEY (probe_id, first_seq),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE seal_marks (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    section SMALLINT,
    verdict SMALLINT,
    reasons BIGINT,
    tone_hz BIGINT,
    measured_hz BIGINT,
    reference_cdb SMALLINT,
    reference_after_cdb SMALLINT,
    level_cdb SMALLINT,
    noise_cdb SMALLINT,
    snr_cdb SMALLINT,
    below_reference_cdb SMALLINT,
    listened_ms BIGINT,
    limits_revision BIGINT,
    battery_mv INTEGER,
    vehicle_id BIGINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX seal_marks_by_time ON seal_marks (sort_ms);

CREATE TABLE self_tests (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    failed BIGINT,
    bias_code INTEGER,
    low_floor_cdb SMALLINT,
    high_floor_cdb SMALLINT,
    rate_permille INTEGER,
    beep_cdb SMALLINT,
    battery_mv INTEGER,
    temperature_ddeg SMALLINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX self_tests_by_time ON self_tests (sort_ms);

CREATE TABLE sends (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    what VARCHAR(10) NOT NULL,
    number BIGINT NOT NULL,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE snippets (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    reading_seq BIGINT,
    rate_hz BIGINT,
    start_us BIGINT,
    shift SMALLINT,
    sample_count INTEGER,
    envelope_step_us INTEGER,
    envelope_count SMALLINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX snippets_by_reading ON snippets (probe_id, reading_seq);

CREATE INDEX snippets_by_time ON snippets (sort_ms);

CREATE TABLE sounds (
    id BIGSERIAL NOT NULL,
    probe_id BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms BIGINT NOT NULL,
    time_ms BIGINT,
    sort_ms BIGINT NOT NULL,
    reading_seq BIGINT,
    first INTEGER,
    count SMALLINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX sounds_by_reading ON sounds (probe_id, reading_seq);

CREATE INDEX sounds_by_time ON sounds (sort_ms);

CREATE TABLE swaps (
    id BIGSERIAL NOT NULL,
    vehicle_id BIGINT NOT NULL,
    bumper SMALLINT NOT NULL,
    position_a SMALLINT NOT NULL,
    position_b SMALLINT NOT NULL,
    at_ms BIGINT NOT NULL,
    by VARCHAR(80),
    undone_ms BIGINT,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE TABLE vehicle_names (
    id BIGSERIAL NOT NULL,
    vehicle_id BIGINT NOT NULL,
    name VARCHAR(80) NOT NULL,
    until_ms BIGINT NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX ix_vehicle_names_name ON vehicle_names (name);

CREATE TABLE assigned (
    assignment_id BIGINT NOT NULL,
    reading_id BIGINT NOT NULL,
    old_vehicle_id BIGINT,
    old_bumper SMALLINT,
    old_position SMALLINT,
    new_vehicle_id BIGINT,
    new_bumper SMALLINT,
    new_position SMALLINT,
    PRIMARY KEY (assignment_id, reading_id),
    FOREIGN KEY(assignment_id) REFERENCES assignments (id),
    FOREIGN KEY(reading_id) REFERENCES readings (id),
    FOREIGN KEY(old_vehicle_id) REFERENCES vehicles (id),
    FOREIGN KEY(new_vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX assigned_by_reading ON assigned (reading_id);

CREATE TABLE steps (
    id BIGSERIAL NOT NULL,
    finding_id BIGINT NOT NULL,
    step VARCHAR(20) NOT NULL,
    at_ms BIGINT NOT NULL,
    by VARCHAR(80),
    note TEXT,
    PRIMARY KEY (id),
    FOREIGN KEY(finding_id) REFERENCES findings (id)
);

CREATE INDEX steps_by_finding ON steps (finding_id);
