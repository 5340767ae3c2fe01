-- Version 5: what charts follow of each cycle, and the machine log: services and counter; what a set bears; what a machine must prove; a log found by its hash.

ALTER TABLE load RENAME TO load_4;
CREATE TABLE load (
  site TEXT NOT NULL, code TEXT NOT NULL, machine TEXT, began_at TEXT, packs TEXT, started_at TEXT,
  started_seq INTEGER, programme TEXT, load_kind TEXT, why TEXT, ended_at TEXT, display TEXT, result TEXT,
  verdict TEXT, basis TEXT, hold_s INTEGER, f0_hundredths INTEGER,
  plateau_c_hundredths INTEGER, heating_s INTEGER, drying_s INTEGER, log_sha256 TEXT, judged_at TEXT,
  biological_lot TEXT, control_lot TEXT, biological_due TEXT, biologicals TEXT, air_removal TEXT, strips TEXT,
  released_at TEXT, released_by TEXT, alone INTEGER, rejected TEXT, held TEXT, recalls TEXT, level_seq INTEGER,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO load SELECT
  old.site, old.code, old.machine, old.began_at, old.packs, old.started_at, old.started_seq, old.programme,
  old.load_kind, old.why, old.ended_at, old.display, old.result, old.verdict, old.basis, old.hold_s,
  old.f0_hundredths, NULL, NULL, NULL, old.log_sha256, old.judged_at, old.biological_lot, old.control_lot,
  old.biological_due, old.biologicals, old.air_removal, old.strips, old.released_at, old.released_by, old.alone,
  old.rejected, old.held, old.recalls, old.level_seq, old.seq
FROM load_4 AS old;
DROP TABLE load_4;
CREATE INDEX load_machine ON load (site, machine, started_seq);
CREATE INDEX load_began ON load (site, began_at);
CREATE INDEX load_unsettled ON load (site, seq) WHERE rejected IS NULL AND (load_kind IS NULL OR load_kind = 'goods')
  AND (held IS NOT NULL OR (released_at IS NULL AND result IS NULL) OR (biological_lot IS NOT NULL AND biologicals = '[]'));

ALTER TABLE machine RENAME TO machine_4;
CREATE TABLE machine (
  site TEXT NOT NULL, code TEXT NOT NULL, kind TEXT, removal TEXT, name TEXT, programmes TEXT, steps TEXT,
  stopped TEXT, prove_since INTEGER, air_removal_at TEXT, services TEXT, counter INTEGER, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO machine SELECT
  old.site, old.code, old.kind, old.removal, old.name, old.programmes, old.steps, old.stopped, 0, old.air_removal_at,
  '[]', NULL, old.seq
FROM machine_4 AS old;
DROP TABLE machine_4;

ALTER TABLE "set" RENAME TO set_4;
CREATE TABLE "set" (
  site TEXT NOT NULL, code TEXT NOT NULL, name TEXT, kind TEXT, implant INTEGER, sheet TEXT, mark_colour TEXT,
  mark_pattern TEXT, wrap TEXT, bears_c INTEGER, hollow INTEGER, immersible INTEGER, turn INTEGER, pack TEXT, retired TEXT, seq INTEGER,
  PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO "set" SELECT
  old.site, old.code, old.name, old.kind, old.implant, old.sheet, old.mark_colour, old.mark_pattern, old.wrap,
  old.bears_c, 0, 1, old.turn, old.pack, old.retired, old.seq
FROM set_4 AS old;
DROP TABLE set_4;

CREATE INDEX fact_machine ON fact (json_extract(data, '$.machine'), seq)
  WHERE json_extract(data, '$.machine') IS NOT NULL;
CREATE INDEX cycle_log_sha256 ON cycle_log (site, sha256);

CREATE TABLE photo (
  site TEXT NOT NULL, load TEXT NOT NULL, sha256 TEXT NOT NULL, media TEXT NOT NULL, body BLOB NOT NULL,
  PRIMARY KEY (site, load, sha256)
) WITHOUT ROWID;
