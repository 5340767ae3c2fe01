-- Version 2: several sites may share a ledger, so every table has a `site`; signed checkpoints; `about`.

ALTER TABLE pack RENAME TO pack_1;
CREATE TABLE pack (
  site TEXT NOT NULL, code TEXT NOT NULL, "set" TEXT, turn INTEGER, enter TEXT, received_at TEXT, came_from TEXT,
  rewash INTEGER, wash TEXT, clean INTEGER, works INTEGER, packed_at TEXT, packed_by TEXT, short TEXT, gauze INTEGER,
  wrap TEXT, strip_lot TEXT, shelf_days INTEGER, implant INTEGER, prints INTEGER, labelled_at TEXT, load TEXT,
  loaded_at TEXT, unloaded_at TEXT, tape TEXT, shelf TEXT, opened_at TEXT, patient TEXT, "case" TEXT, used INTEGER,
  strip TEXT, compromised TEXT, recalls TEXT, accounted TEXT, overridden TEXT, seen_at TEXT, seen_station TEXT,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO pack SELECT (SELECT min(site) FROM fact),
  old.code, old."set", old.turn, old.enter, old.received_at, old.came_from, old.rewash, old.wash, old.clean,
  old.works, old.packed_at, old.packed_by, old.short, old.gauze, old.wrap, old.strip_lot, old.shelf_days, old.implant,
  old.prints, old.labelled_at, old.load, old.loaded_at, old.unloaded_at, old.tape, old.shelf, old.opened_at,
  old.patient, old."case", old.used, old.strip, old.compromised, old.recalls, old.accounted, old.overridden,
  old.seen_at, old.seen_station, old.seq
FROM pack_1 AS old;
DROP TABLE pack_1;
CREATE INDEX pack_set ON pack (site, "set", turn);

ALTER TABLE load RENAME TO load_1;
CREATE TABLE load (
  site TEXT NOT NULL, code TEXT NOT NULL, machine TEXT, began_at TEXT, packs TEXT, started_at TEXT,
  started_seq INTEGER, programme TEXT, load_kind TEXT, why TEXT, ended_at TEXT, display TEXT, result TEXT,
  verdict TEXT, basis TEXT, hold_s INTEGER, f0_hundredths INTEGER, log_sha256 TEXT, judged_at TEXT,
  biological_lot TEXT, control_lot TEXT, biological_due TEXT, biologicals TEXT, air_removal TEXT, strips TEXT,
  released_at TEXT, released_by TEXT, alone INTEGER, rejected TEXT, held TEXT, recalls TEXT, level_seq INTEGER,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO load SELECT (SELECT min(site) FROM fact),
  old.code, old.machine, old.began_at, old.packs, old.started_at, old.started_seq, old.programme, old.load_kind,
  old.why, old.ended_at, old.display, old.result, old.verdict, old.basis, old.hold_s, old.f0_hundredths,
  old.log_sha256, old.judged_at, old.biological_lot, old.control_lot, old.biological_due, old.biologicals,
  old.air_removal, old.strips, old.released_at, old.released_by, old.alone, old.rejected, old.held, old.recalls,
  old.level_seq, old.seq
FROM load_1 AS old;
DROP TABLE load_1;
CREATE INDEX load_machine ON load (site, machine, started_seq);
CREATE INDEX load_began ON load (site, began_at);

ALTER TABLE "set" RENAME TO set_1;
CREATE TABLE "set" (
  site TEXT NOT NULL, code TEXT NOT NULL, name TEXT, kind TEXT, implant INTEGER, sheet TEXT, mark_colour TEXT,
  mark_pattern TEXT, wrap TEXT, bears_c INTEGER, turn INTEGER, pack TEXT, retired TEXT, seq INTEGER,
  PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO "set" SELECT (SELECT min(site) FROM fact),
  old.code, old.name, old.kind, old.implant, old.sheet, old.mark_colour, old.mark_pattern, old.wrap, old.bears_c,
  old.turn, old.pack, old.retired, old.seq
FROM set_1 AS old;
DROP TABLE set_1;

ALTER TABLE machine RENAME TO machine_1;
CREATE TABLE machine (
  site TEXT NOT NULL, code TEXT NOT NULL, kind TEXT, removal TEXT, name TEXT, programmes TEXT, steps TEXT,
  stopped TEXT, air_removal_at TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO machine SELECT (SELECT min(site) FROM fact),
  old.code, old.kind, old.removal, old.name, old.programmes, old.steps, old.stopped, old.air_removal_at, old.seq
FROM machine_1 AS old;
DROP TABLE machine_1;

ALTER TABLE person RENAME TO person_1;
CREATE TABLE person (
  site TEXT NOT NULL, code TEXT NOT NULL, roles TEXT, may_release INTEGER, enrolled_at TEXT, left_at TEXT,
  seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO person SELECT (SELECT min(site) FROM fact),
  old.code, old.roles, old.may_release, old.enrolled_at, old.left_at, old.seq
FROM person_1 AS old;
DROP TABLE person_1;

ALTER TABLE patient RENAME TO patient_1;
CREATE TABLE patient (
  site TEXT NOT NULL, code TEXT NOT NULL, now TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO patient SELECT (SELECT min(site) FROM fact),
  old.code, old.now, old.seq
FROM patient_1 AS old;
DROP TABLE patient_1;

ALTER TABLE "case" RENAME TO case_1;
CREATE TABLE "case" (
  site TEXT NOT NULL, code TEXT NOT NULL, patient TEXT, opened_at TEXT, packs TEXT, counts TEXT, closed_at TEXT,
  why TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO "case" SELECT (SELECT min(site) FROM fact),
  old.code, old.patient, old.opened_at, old.packs, old.counts, old.closed_at, old.why, old.seq
FROM case_1 AS old;
DROP TABLE case_1;
CREATE INDEX case_patient ON "case" (site, patient);

ALTER TABLE recall RENAME TO recall_1;
CREATE TABLE recall (
  site TEXT NOT NULL, code TEXT NOT NULL, load TEXT, reach TEXT, why TEXT, opened_at TEXT, packs TEXT, accounted TEXT,
  closed_at TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO recall SELECT (SELECT min(site) FROM fact),
  old.code, old.load, old.reach, old.why, old.opened_at, old.packs, old.accounted, old.closed_at, old.seq
FROM recall_1 AS old;
DROP TABLE recall_1;

ALTER TABLE site RENAME TO site_1;
CREATE TABLE site (
  site TEXT NOT NULL, code TEXT NOT NULL, name TEXT, "case" INTEGER, "set" INTEGER, key TEXT, seq INTEGER,
  PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO site (site, "code", "name", "case", "set", "seq")
SELECT code, "code", "name", "case", "set", "seq" FROM site_1;
DROP TABLE site_1;

ALTER TABLE hand RENAME TO hand_1;
CREATE TABLE hand (site TEXT NOT NULL, station TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, station)) WITHOUT ROWID;
INSERT INTO hand SELECT (SELECT min(site) FROM fact), station, body FROM hand_1;
DROP TABLE hand_1;

ALTER TABLE answer RENAME TO answer_1;
CREATE TABLE answer (site TEXT NOT NULL, scan TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, scan)) WITHOUT ROWID;
INSERT INTO answer SELECT (SELECT min(site) FROM fact), scan, body FROM answer_1;
DROP TABLE answer_1;

ALTER TABLE name RENAME TO name_1;
CREATE TABLE name (
  site TEXT NOT NULL, code TEXT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, detail TEXT, PRIMARY KEY (site, code)
) WITHOUT ROWID;
INSERT INTO name SELECT (SELECT min(site) FROM fact), code, kind, name, detail FROM name_1;
DROP TABLE name_1;

ALTER TABLE cycle_log RENAME TO cycle_log_1;
CREATE TABLE cycle_log (
  site TEXT NOT NULL, load TEXT NOT NULL, sha256 TEXT NOT NULL, programme TEXT NOT NULL, body BLOB NOT NULL,
  PRIMARY KEY (site, load, sha256)
) WITHOUT ROWID;
INSERT INTO cycle_log SELECT (SELECT min(site) FROM fact), load, sha256, programme, body FROM cycle_log_1;
DROP TABLE cycle_log_1;

CREATE TABLE checkpoint (
  site TEXT NOT NULL, size INTEGER NOT NULL, root TEXT NOT NULL, at TEXT NOT NULL, key TEXT NOT NULL, signature TEXT NOT NULL,
  PRIMARY KEY (site, size)
) WITHOUT ROWID;
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE INDEX fact_key ON fact (site, seq) WHERE kind = 'key_named';
