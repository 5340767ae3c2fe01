-- The ledger on one SQLite file. `fact` is the truth; every table of the second part is a reading of it and can be
-- made again from it; the third part is conversation and personal data, and is left out of replay.

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
CREATE TRIGGER fact_is_never_changed BEFORE UPDATE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
CREATE TRIGGER fact_is_never_deleted BEFORE DELETE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;

CREATE TABLE pack (
  code TEXT PRIMARY KEY, "set" TEXT, turn INTEGER, enter TEXT, received_at TEXT, came_from TEXT, rewash INTEGER,
  wash TEXT, clean INTEGER, works INTEGER, packed_at TEXT, packed_by TEXT, short TEXT, gauze INTEGER, wrap TEXT,
  strip_lot TEXT, shelf_days INTEGER, implant INTEGER, prints INTEGER, labelled_at TEXT, load TEXT, loaded_at TEXT,
  unloaded_at TEXT, tape TEXT, shelf TEXT, opened_at TEXT, patient TEXT, "case" TEXT, used INTEGER, strip TEXT,
  compromised TEXT, recalls TEXT, accounted TEXT, overridden TEXT, seen_at TEXT, seen_station TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE INDEX pack_set ON pack ("set", turn);
CREATE TABLE load (
  code TEXT PRIMARY KEY, machine TEXT, began_at TEXT, packs TEXT, started_at TEXT, started_seq INTEGER,
  programme TEXT, load_kind TEXT, why TEXT, ended_at TEXT, display TEXT, result TEXT, verdict TEXT, basis TEXT,
  hold_s INTEGER, f0_hundredths INTEGER, log_sha256 TEXT, judged_at TEXT, biological_lot TEXT, control_lot TEXT, biological_due TEXT,
  biologicals TEXT, air_removal TEXT, strips TEXT, released_at TEXT, released_by TEXT, alone INTEGER, rejected TEXT,
  held TEXT, recalls TEXT, level_seq INTEGER, seq INTEGER
) WITHOUT ROWID;
CREATE INDEX load_machine ON load (machine, started_seq);
CREATE TABLE "set" (
  code TEXT PRIMARY KEY, name TEXT, kind TEXT, implant INTEGER, sheet TEXT, mark_colour TEXT, mark_pattern TEXT,
  wrap TEXT, bears_c INTEGER, turn INTEGER, pack TEXT, retired TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE TABLE machine (
  code TEXT PRIMARY KEY, kind TEXT, removal TEXT, name TEXT, programmes TEXT, steps TEXT, stopped TEXT,
  air_removal_at TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE TABLE person (
  code TEXT PRIMARY KEY, roles TEXT, may_release INTEGER, enrolled_at TEXT, left_at TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE TABLE patient (code TEXT PRIMARY KEY, now TEXT, seq INTEGER) WITHOUT ROWID;
CREATE TABLE "case" (
  code TEXT PRIMARY KEY, patient TEXT, opened_at TEXT, packs TEXT, counts TEXT, closed_at TEXT, why TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE INDEX case_patient ON "case" (patient);
CREATE TABLE recall (
  code TEXT PRIMARY KEY, load TEXT, reach TEXT, why TEXT, opened_at TEXT, packs TEXT, accounted TEXT,
  closed_at TEXT, seq INTEGER
) WITHOUT ROWID;
CREATE TABLE site (code TEXT PRIMARY KEY, name TEXT, "case" INTEGER, "set" INTEGER, seq INTEGER) WITHOUT ROWID;

CREATE TABLE hand (station TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE answer (scan TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE name (code TEXT PRIMARY KEY, kind TEXT NOT NULL, name TEXT NOT NULL, detail TEXT) WITHOUT ROWID;
CREATE TABLE cycle_log (sha256 TEXT NOT NULL, load TEXT NOT NULL, programme TEXT NOT NULL, body BLOB NOT NULL,
  PRIMARY KEY (load, sha256)) WITHOUT ROWID;
