-- The ledger on one SQLite file. `fact` is the truth; every table of the second part is a reading of it and can be
-- made again from it; the third part stands beside it: conversation, personal data, logs, checkpoints, who may come in. The migrations
-- 0001, 0002 … arrive at exactly this, by test.

CREATE TABLE fact (
  site TEXT NOT NULL, seq INTEGER NOT NULL, id TEXT NOT NULL, kind TEXT NOT NULL, at TEXT NOT NULL,
  noted_at TEXT NOT NULL, station TEXT NOT NULL, "by" TEXT, "set" TEXT, pack TEXT, load TEXT, patient TEXT,
  data TEXT NOT NULL, prev TEXT NOT NULL, hash TEXT NOT NULL,
  PRIMARY KEY (site, seq)
) WITHOUT ROWID;
CREATE UNIQUE INDEX fact_id ON fact (id);
CREATE INDEX fact_pack ON fact (pack, seq) WHERE pack IS NOT NULL;
CREATE INDEX fact_load ON fact (load, seq) WHERE load IS NOT NULL;
CREATE INDEX fact_set ON fact ("set", seq) WHERE "set" IS NOT NULL;
CREATE INDEX fact_patient ON fact (patient, seq) WHERE patient IS NOT NULL;
CREATE INDEX fact_case ON fact (json_extract(data, '$.case'), seq)
  WHERE json_extract(data, '$.case') IS NOT NULL;
CREATE INDEX fact_machine ON fact (json_extract(data, '$.machine'), seq)
  WHERE json_extract(data, '$.machine') IS NOT NULL;
CREATE INDEX fact_shelf ON fact (json_extract(data, '$.shelf')) WHERE json_extract(data, '$.shelf') IS NOT NULL;
CREATE INDEX fact_station ON fact (site, station, at);
CREATE INDEX fact_key ON fact (site, seq) WHERE kind = 'key_named';
CREATE TRIGGER fact_is_never_changed BEFORE UPDATE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
CREATE TRIGGER fact_is_never_deleted BEFORE DELETE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;

CREATE TABLE pack (
  site TEXT NOT NULL, code TEXT NOT NULL, "set" TEXT, turn INTEGER, enter TEXT, received_at TEXT, came_from TEXT,
  rewash INTEGER, wash TEXT, clean INTEGER, works INTEGER, packed_at TEXT, packed_by TEXT, short TEXT, gauze INTEGER,
  wrap TEXT, strip_lot TEXT, shelf_days INTEGER, implant INTEGER, prints INTEGER, labelled_at TEXT, load TEXT,
  loaded_at TEXT, unloaded_at TEXT, tape TEXT, shelf TEXT, opened_at TEXT, patient TEXT, "case" TEXT, used INTEGER,
  strip TEXT, compromised TEXT, recalls TEXT, accounted TEXT, overridden TEXT, seen_at TEXT, seen_station TEXT,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE INDEX pack_set ON pack (site, "set", turn);
CREATE INDEX pack_opened ON pack (site, opened_at) WHERE opened_at IS NOT NULL;
CREATE INDEX pack_overridden ON pack (site, seq) WHERE overridden <> '[]';
CREATE TABLE load (
  site TEXT NOT NULL, code TEXT NOT NULL, machine TEXT, began_at TEXT, packs TEXT, started_at TEXT,
  started_seq INTEGER, programme TEXT, load_kind TEXT, why TEXT, ended_at TEXT, display TEXT, result TEXT,
  verdict TEXT, basis TEXT, hold_s INTEGER, f0_hundredths INTEGER,
  plateau_c_hundredths INTEGER, heating_s INTEGER, drying_s INTEGER, log_sha256 TEXT, judged_at TEXT,
  biological_lot TEXT, control_lot TEXT, biological_due TEXT, biologicals TEXT, air_removal TEXT, strips TEXT,
  released_at TEXT, released_by TEXT, alone INTEGER, rejected TEXT, held TEXT, recalls TEXT, level_seq INTEGER,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE INDEX load_machine ON load (site, machine, started_seq);
CREATE INDEX load_began ON load (site, began_at);
CREATE INDEX load_unsettled ON load (site, seq) WHERE rejected IS NULL AND (load_kind IS NULL OR load_kind = 'goods')
  AND (held IS NOT NULL OR (released_at IS NULL AND result IS NULL) OR (biological_lot IS NOT NULL AND biologicals = '[]'));
CREATE TABLE "set" (
  site TEXT NOT NULL, code TEXT NOT NULL, name TEXT, kind TEXT, implant INTEGER, sheet TEXT, mark_colour TEXT,
  mark_pattern TEXT, wrap TEXT, bears_c INTEGER, hollow INTEGER, immersible INTEGER, turn INTEGER, pack TEXT, retired TEXT, seq INTEGER,
  PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE machine (
  site TEXT NOT NULL, code TEXT NOT NULL, kind TEXT, removal TEXT, name TEXT, programmes TEXT, steps TEXT,
  stopped TEXT, prove_since INTEGER, air_removal_at TEXT, services TEXT, counter INTEGER, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE person (
  site TEXT NOT NULL, code TEXT NOT NULL, roles TEXT, may_release INTEGER, enrolled_at TEXT, left_at TEXT,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE patient (
  site TEXT NOT NULL, code TEXT NOT NULL, now TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE INDEX patient_now ON patient (site, now) WHERE now IS NOT NULL;
CREATE TABLE "case" (
  site TEXT NOT NULL, code TEXT NOT NULL, patient TEXT, opened_at TEXT, packs TEXT, counts TEXT, closed_at TEXT,
  why TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE INDEX case_patient ON "case" (site, patient, opened_at);
CREATE INDEX case_opened ON "case" (site, opened_at);
CREATE INDEX case_open ON "case" (site, seq) WHERE closed_at IS NULL;
CREATE TABLE recall (
  site TEXT NOT NULL, code TEXT NOT NULL, load TEXT, reach TEXT, why TEXT, opened_at TEXT, packs TEXT, accounted TEXT,
  closed_at TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE site (
  site TEXT NOT NULL, code TEXT NOT NULL, name TEXT, "case" INTEGER, "set" INTEGER, key TEXT, seq INTEGER,
  PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE series (
  site TEXT NOT NULL, code TEXT NOT NULL, last INTEGER, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE label (
  site TEXT NOT NULL, code TEXT NOT NULL, prints INTEGER, voided TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;

CREATE TABLE hand (site TEXT NOT NULL, station TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, station)) WITHOUT ROWID;
CREATE TABLE answer (site TEXT NOT NULL, scan TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, scan)) WITHOUT ROWID;
CREATE TABLE name (
  site TEXT NOT NULL, code TEXT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, detail TEXT, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE cycle_log (
  site TEXT NOT NULL, load TEXT NOT NULL, sha256 TEXT NOT NULL, programme TEXT NOT NULL, body BLOB NOT NULL,
  PRIMARY KEY (site, load, sha256)
) WITHOUT ROWID;
CREATE INDEX cycle_log_sha256 ON cycle_log (site, sha256);
CREATE TABLE photo (
  site TEXT NOT NULL, load TEXT NOT NULL, sha256 TEXT NOT NULL, media TEXT NOT NULL, body BLOB NOT NULL,
  PRIMARY KEY (site, load, sha256)
) WITHOUT ROWID;
CREATE TABLE checkpoint (
  site TEXT NOT NULL, size INTEGER NOT NULL, root TEXT NOT NULL, at TEXT NOT NULL, key TEXT NOT NULL, signature TEXT NOT NULL,
  PRIMARY KEY (site, size)
) WITHOUT ROWID;
CREATE TABLE access (
  site TEXT NOT NULL, kind TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, kind, key)
) WITHOUT ROWID;
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
