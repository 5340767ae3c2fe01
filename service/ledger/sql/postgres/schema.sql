-- The ledger in a PostgreSQL database: the same tables as on a file, for one site or a group. `fact` has one partition
-- a site, made when the site opens. WORDS is text that compares byte by byte, as on a file.

CREATE DOMAIN WORDS AS TEXT COLLATE "C";

CREATE TABLE fact (
  site WORDS NOT NULL, seq BIGINT NOT NULL, id WORDS NOT NULL, kind WORDS NOT NULL,
  at WORDS NOT NULL, noted_at WORDS NOT NULL, station WORDS NOT NULL,
  "by" WORDS, "set" WORDS, pack WORDS, load WORDS,
  patient WORDS, data WORDS NOT NULL, prev WORDS NOT NULL,
  hash WORDS NOT NULL,
  PRIMARY KEY (site, seq)
) PARTITION BY LIST (site);
CREATE UNIQUE INDEX fact_id ON fact (id, site);
CREATE INDEX fact_pack ON fact (pack, seq) WHERE pack IS NOT NULL;
CREATE INDEX fact_load ON fact (load, seq) WHERE load IS NOT NULL;
CREATE INDEX fact_set ON fact ("set", seq) WHERE "set" IS NOT NULL;
CREATE INDEX fact_patient ON fact (patient, seq) WHERE patient IS NOT NULL;
CREATE INDEX fact_case ON fact ((data::json ->> 'case'), seq) WHERE (data::json ->> 'case') IS NOT NULL;
CREATE INDEX fact_machine ON fact ((data::json ->> 'machine'), seq) WHERE (data::json ->> 'machine') IS NOT NULL;
CREATE INDEX fact_shelf ON fact ((data::json ->> 'shelf')) WHERE (data::json ->> 'shelf') IS NOT NULL;
CREATE INDEX fact_station ON fact (site, station, at);
CREATE INDEX fact_key ON fact (site, seq) WHERE kind = 'key_named';
CREATE FUNCTION fact_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'a fact is never changed and never deleted' USING ERRCODE = 'integrity_constraint_violation'; END $$;
CREATE TRIGGER fact_is_kept BEFORE UPDATE OR DELETE ON fact FOR EACH ROW EXECUTE FUNCTION fact_is_kept();
CREATE TRIGGER fact_is_not_emptied BEFORE TRUNCATE ON fact FOR EACH STATEMENT EXECUTE FUNCTION fact_is_kept();

CREATE TABLE pack (
  site WORDS NOT NULL, code WORDS NOT NULL, "set" WORDS, turn BIGINT, enter WORDS, received_at WORDS, came_from WORDS,
  rewash BIGINT, wash WORDS, clean BIGINT, works BIGINT, packed_at WORDS, packed_by WORDS, short WORDS, gauze BIGINT,
  wrap WORDS, strip_lot WORDS, shelf_days BIGINT, implant BIGINT, prints BIGINT, labelled_at WORDS, load WORDS,
  loaded_at WORDS, unloaded_at WORDS, tape WORDS, shelf WORDS, opened_at WORDS, patient WORDS, "case" WORDS,
  used BIGINT, strip WORDS, compromised WORDS, recalls WORDS, accounted WORDS, overridden WORDS, seen_at WORDS,
  seen_station WORDS, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE INDEX pack_set ON pack (site, "set", turn);
CREATE INDEX pack_opened ON pack (site, opened_at) WHERE opened_at IS NOT NULL;
CREATE INDEX pack_overridden ON pack (site, seq) WHERE overridden <> '[]';
CREATE TABLE load (
  site WORDS NOT NULL, code WORDS NOT NULL, machine WORDS, began_at WORDS, packs WORDS, started_at WORDS,
  started_seq BIGINT, programme WORDS, load_kind WORDS, why WORDS, ended_at WORDS, display WORDS, result WORDS,
  verdict WORDS, basis WORDS, hold_s BIGINT, f0_hundredths BIGINT,
  plateau_c_hundredths BIGINT, heating_s BIGINT, drying_s BIGINT, log_sha256 WORDS, judged_at WORDS,
  biological_lot WORDS, control_lot WORDS, biological_due WORDS, biologicals WORDS, air_removal WORDS, strips WORDS,
  released_at WORDS, released_by WORDS, alone BIGINT, rejected WORDS, held WORDS, recalls WORDS, level_seq BIGINT,
  seq BIGINT, PRIMARY KEY (site, code)
);
CREATE INDEX load_machine ON load (site, machine, started_seq);
CREATE INDEX load_began ON load (site, began_at);
CREATE INDEX load_unsettled ON load (site, seq) WHERE rejected IS NULL AND (load_kind IS NULL OR load_kind = 'goods')
  AND (held IS NOT NULL OR (released_at IS NULL AND result IS NULL) OR (biological_lot IS NOT NULL AND biologicals = '[]'));
CREATE TABLE "set" (
  site WORDS NOT NULL, code WORDS NOT NULL, name WORDS, kind WORDS, implant BIGINT, sheet WORDS, mark_colour WORDS,
  mark_pattern WORDS, wrap WORDS, bears_c BIGINT, hollow BIGINT, immersible BIGINT, turn BIGINT, pack WORDS, retired WORDS, seq BIGINT,
  PRIMARY KEY (site, code)
);
CREATE TABLE machine (
  site WORDS NOT NULL, code WORDS NOT NULL, kind WORDS, removal WORDS, name WORDS, programmes WORDS, steps WORDS,
  stopped WORDS, prove_since BIGINT, air_removal_at WORDS, services WORDS, counter BIGINT, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE TABLE person (
  site WORDS NOT NULL, code WORDS NOT NULL, roles WORDS, may_release BIGINT, enrolled_at WORDS, left_at WORDS,
  seq BIGINT, PRIMARY KEY (site, code)
);
CREATE TABLE patient (
  site WORDS NOT NULL, code WORDS NOT NULL, now WORDS, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE INDEX patient_now ON patient (site, now) WHERE now IS NOT NULL;
CREATE TABLE "case" (
  site WORDS NOT NULL, code WORDS NOT NULL, patient WORDS, opened_at WORDS, packs WORDS, counts WORDS,
  closed_at WORDS, why WORDS, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE INDEX case_patient ON "case" (site, patient, opened_at);
CREATE INDEX case_opened ON "case" (site, opened_at);
CREATE INDEX case_open ON "case" (site, seq) WHERE closed_at IS NULL;
CREATE TABLE recall (
  site WORDS NOT NULL, code WORDS NOT NULL, load WORDS, reach WORDS, why WORDS, opened_at WORDS, packs WORDS,
  accounted WORDS, closed_at WORDS, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE TABLE site (
  site WORDS NOT NULL, code WORDS NOT NULL, name WORDS, "case" BIGINT, "set" BIGINT, key WORDS, seq BIGINT,
  PRIMARY KEY (site, code)
);
CREATE TABLE series (
  site WORDS NOT NULL, code WORDS NOT NULL, last BIGINT, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE TABLE label (
  site WORDS NOT NULL, code WORDS NOT NULL, prints BIGINT, voided WORDS, seq BIGINT, PRIMARY KEY (site, code)
);

CREATE TABLE hand (site WORDS NOT NULL, station WORDS NOT NULL, body WORDS NOT NULL, PRIMARY KEY (site, station));
CREATE TABLE answer (site WORDS NOT NULL, scan WORDS NOT NULL, body WORDS NOT NULL, PRIMARY KEY (site, scan));
CREATE TABLE name (
  site WORDS NOT NULL, code WORDS NOT NULL, kind WORDS NOT NULL, name WORDS NOT NULL, detail WORDS, PRIMARY KEY (site, code)
);
CREATE TABLE cycle_log (
  site WORDS NOT NULL, load WORDS NOT NULL, sha256 WORDS NOT NULL, programme WORDS NOT NULL, body BYTEA NOT NULL,
  PRIMARY KEY (site, load, sha256)
);
CREATE INDEX cycle_log_sha256 ON cycle_log (site, sha256);
CREATE TABLE photo (
  site WORDS NOT NULL, load WORDS NOT NULL, sha256 WORDS NOT NULL, media WORDS NOT NULL, body BYTEA NOT NULL,
  PRIMARY KEY (site, load, sha256)
);
CREATE TABLE checkpoint (
  site WORDS NOT NULL, size BIGINT NOT NULL, root WORDS NOT NULL, at WORDS NOT NULL, key WORDS NOT NULL, signature WORDS NOT NULL,
  PRIMARY KEY (site, size)
);
CREATE TABLE access (
  site WORDS NOT NULL, kind WORDS NOT NULL, key WORDS NOT NULL, body WORDS NOT NULL, PRIMARY KEY (site, kind, key)
);
CREATE TABLE about (key WORDS PRIMARY KEY, value WORDS NOT NULL);
CREATE TABLE writing (site TEXT PRIMARY KEY, holder TEXT NOT NULL);
