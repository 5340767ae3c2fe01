-- Version 5: what charts follow of each cycle, and the machine log: services and counter; what a set bears; what a machine must prove; a log found by its hash.

ALTER TABLE load ADD COLUMN plateau_c_hundredths BIGINT, ADD COLUMN heating_s BIGINT, ADD COLUMN drying_s BIGINT;
ALTER TABLE machine ADD COLUMN services WORDS, ADD COLUMN counter BIGINT, ADD COLUMN prove_since BIGINT;
UPDATE machine SET services = '[]', prove_since = 0;
ALTER TABLE "set" ADD COLUMN hollow BIGINT, ADD COLUMN immersible BIGINT;
UPDATE "set" SET hollow = 0, immersible = 1;

CREATE INDEX fact_machine ON fact ((data::json ->> 'machine'), seq) WHERE (data::json ->> 'machine') IS NOT NULL;
CREATE INDEX cycle_log_sha256 ON cycle_log (site, sha256);

CREATE TABLE photo (
  site WORDS NOT NULL, load WORDS NOT NULL, sha256 WORDS NOT NULL, media WORDS NOT NULL, body BYTEA NOT NULL,
  PRIMARY KEY (site, load, sha256)
);
