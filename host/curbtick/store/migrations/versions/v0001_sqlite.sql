CREATE TABLE assignments (
    id INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    "by" VARCHAR(80),
    why TEXT,
    undone_ms INTEGER,
    PRIMARY KEY (id)
);

CREATE TABLE limit_sets (
    id INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    made_ms INTEGER NOT NULL,
    origin TEXT,
    payload BLOB NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (revision)
);

CREATE TABLE meta (
    "key" VARCHAR(40) NOT NULL,
    value VARCHAR(200),
    PRIMARY KEY ("key")
);

CREATE TABLE probes (
    id INTEGER NOT NULL,
    unique_id VARCHAR(32) NOT NULL,
    life INTEGER NOT NULL,
    name VARCHAR(80) NOT NULL,
    depot VARCHAR(80),
    first_seen_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (unique_id, life),
    UNIQUE (name)
);

CREATE TABLE rounds (
    id INTEGER NOT NULL,
    number INTEGER NOT NULL,
    name VARCHAR(80),
    technician VARCHAR(80),
    made_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (number)
);

CREATE TABLE vehicles (
    id INTEGER NOT NULL,
    name VARCHAR(80) NOT NULL,
    type VARCHAR(40),
    depot VARCHAR(80),
    is_reference BOOLEAN NOT NULL,
    created_ms INTEGER NOT NULL,
    retired_ms INTEGER,
    note TEXT,
    PRIMARY KEY (id)
);

CREATE INDEX ix_vehicles_name ON vehicles (name);

CREATE TABLE anchors (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    host_ms INTEGER NOT NULL,
    uncertainty_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    UNIQUE (probe_id, boot, ticks_ms, host_ms),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE boots (
    probe_id INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    offset_ms INTEGER,
    anchor_ticks_ms INTEGER,
    uncertainty_ms INTEGER,
    not_before_ms INTEGER,
    not_after_ms INTEGER NOT NULL,
    PRIMARY KEY (probe_id, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE bumper_results (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    bumper SMALLINT,
    positions SMALLINT,
    class_khz SMALLINT,
    result SMALLINT,
    limits_revision INTEGER,
    verdicts_1 SMALLINT,
    verdicts_2 SMALLINT,
    verdicts_3 SMALLINT,
    verdicts_4 SMALLINT,
    verdicts_5 SMALLINT,
    verdicts_6 SMALLINT,
    reasons_1 INTEGER,
    reasons_2 INTEGER,
    reasons_3 INTEGER,
    reasons_4 INTEGER,
    reasons_5 INTEGER,
    reasons_6 INTEGER,
    reading_seqs_1 INTEGER,
    reading_seqs_2 INTEGER,
    reading_seqs_3 INTEGER,
    reading_seqs_4 INTEGER,
    reading_seqs_5 INTEGER,
    reading_seqs_6 INTEGER,
    vehicle_id INTEGER,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX bumper_results_by_place ON bumper_results (vehicle_id, bumper, sort_ms);

CREATE INDEX bumper_results_by_time ON bumper_results (sort_ms);

CREATE TABLE bumpers (
    id INTEGER NOT NULL,
    vehicle_id INTEGER NOT NULL,
    bumper SMALLINT NOT NULL,
    positions SMALLINT NOT NULL,
    class_khz SMALLINT NOT NULL,
    from_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX bumpers_by_vehicle ON bumpers (vehicle_id, bumper, from_ms);

CREATE TABLE events (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    event SMALLINT,
    value INTEGER,
    extra INTEGER,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX events_by_time ON events (sort_ms);

CREATE TABLE findings (
    id INTEGER NOT NULL,
    vehicle_id INTEGER NOT NULL,
    bumper SMALLINT NOT NULL,
    position SMALLINT NOT NULL,
    what VARCHAR(20) NOT NULL,
    reasons INTEGER NOT NULL,
    state VARCHAR(10) NOT NULL,
    opened_ms INTEGER NOT NULL,
    opened_by_id INTEGER,
    proved_ms INTEGER,
    proved_by_id INTEGER,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX findings_by_place ON findings (vehicle_id, bumper, position);

CREATE INDEX findings_by_state ON findings (state);

CREATE TABLE hiss_marks (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    section SMALLINT,
    verdict SMALLINT,
    reasons INTEGER,
    band_low_hz INTEGER,
    band_high_hz INTEGER,
    background_cdb SMALLINT,
    level_cdb SMALLINT,
    above_background_cdb SMALLINT,
    tone_hz INTEGER,
    tone_cdb SMALLINT,
    listened_ms INTEGER,
    limits_revision INTEGER,
    battery_mv INTEGER,
    vehicle_id INTEGER,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX hiss_marks_by_time ON hiss_marks (sort_ms);

CREATE TABLE log (
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    kind SMALLINT NOT NULL,
    raw BLOB NOT NULL,
    PRIMARY KEY (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE pulls (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    bench VARCHAR(80),
    at_ms INTEGER NOT NULL,
    new_count INTEGER NOT NULL,
    doubled_count INTEGER NOT NULL,
    first_seq INTEGER,
    last_seq INTEGER,
    PRIMARY KEY (id),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE readings (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    bumper SMALLINT,
    position SMALLINT,
    positions SMALLINT,
    class_khz SMALLINT,
    verdict SMALLINT,
    reasons INTEGER,
    proofs SMALLINT,
    input SMALLINT,
    level_cdb SMALLINT,
    frequency_hz INTEGER,
    sweep_hz INTEGER,
    interval_us INTEGER,
    burst_us INTEGER,
    ringdown_us INTEGER,
    noise_cdb SMALLINT,
    high_floor_cdb SMALLINT,
    single_cdb SMALLINT,
    train_cdb SMALLINT,
    burst_count SMALLINT,
    due_count SMALLINT,
    sound_count INTEGER,
    listened_ms INTEGER,
    time_to_verdict_ms INTEGER,
    limits_revision INTEGER,
    supersedes_seq INTEGER,
    battery_mv INTEGER,
    temperature_ddeg SMALLINT,
    vehicle_id INTEGER,
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
    round_id INTEGER NOT NULL,
    place SMALLINT NOT NULL,
    vehicle_id INTEGER NOT NULL,
    rear_positions SMALLINT NOT NULL,
    rear_class_khz SMALLINT NOT NULL,
    front_positions SMALLINT NOT NULL,
    front_class_khz SMALLINT NOT NULL,
    PRIMARY KEY (round_id, place),
    FOREIGN KEY(round_id) REFERENCES rounds (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE TABLE runs (
    probe_id INTEGER NOT NULL,
    first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL,
    PRIMARY KEY (probe_id, first_seq),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE seal_marks (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    round_id INTEGER,
    vehicle SMALLINT,
    section SMALLINT,
    verdict SMALLINT,
    reasons INTEGER,
    tone_hz INTEGER,
    measured_hz INTEGER,
    reference_cdb SMALLINT,
    reference_after_cdb SMALLINT,
    level_cdb SMALLINT,
    noise_cdb SMALLINT,
    snr_cdb SMALLINT,
    below_reference_cdb SMALLINT,
    listened_ms INTEGER,
    limits_revision INTEGER,
    battery_mv INTEGER,
    vehicle_id INTEGER,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX seal_marks_by_time ON seal_marks (sort_ms);

CREATE TABLE self_tests (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    failed INTEGER,
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
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    what VARCHAR(10) NOT NULL,
    number INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE TABLE snippets (
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    reading_seq INTEGER,
    rate_hz INTEGER,
    start_us INTEGER,
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
    id INTEGER NOT NULL,
    probe_id INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    ticks_ms INTEGER NOT NULL,
    time_ms INTEGER,
    sort_ms INTEGER NOT NULL,
    reading_seq INTEGER,
    first INTEGER,
    count SMALLINT,
    PRIMARY KEY (id),
    UNIQUE (probe_id, seq, boot),
    FOREIGN KEY(probe_id) REFERENCES probes (id)
);

CREATE INDEX sounds_by_reading ON sounds (probe_id, reading_seq);

CREATE INDEX sounds_by_time ON sounds (sort_ms);

CREATE TABLE swaps (
    id INTEGER NOT NULL,
    vehicle_id INTEGER NOT NULL,
    bumper SMALLINT NOT NULL,
    position_a SMALLINT NOT NULL,
    position_b SMALLINT NOT NULL,
    at_ms INTEGER NOT NULL,
    "by" VARCHAR(80),
    undone_ms INTEGER,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE TABLE vehicle_names (
    id INTEGER NOT NULL,
    vehicle_id INTEGER NOT NULL,
    name VARCHAR(80) NOT NULL,
    until_ms INTEGER NOT NULL,
    PRIMARY KEY (id),
    FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
);

CREATE INDEX ix_vehicle_names_name ON vehicle_names (name);

CREATE TABLE assigned (
    assignment_id INTEGER NOT NULL,
    reading_id INTEGER NOT NULL,
    old_vehicle_id INTEGER,
    old_bumper SMALLINT,
    old_position SMALLINT,
    new_vehicle_id INTEGER,
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
    id INTEGER NOT NULL,
    finding_id INTEGER NOT NULL,
    step VARCHAR(20) NOT NULL,
    at_ms INTEGER NOT NULL,
    "by" VARCHAR(80),
    note TEXT,
    PRIMARY KEY (id),
    FOREIGN KEY(finding_id) REFERENCES findings (id)
);

CREATE INDEX steps_by_finding ON steps (finding_id);
