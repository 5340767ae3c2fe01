-- Version 4: ways to what the board and the search ask: what is open, what happened on a day, and where.

CREATE INDEX fact_station ON fact (site, station, at);
CREATE INDEX pack_opened ON pack (site, opened_at) WHERE opened_at IS NOT NULL;
CREATE INDEX pack_overridden ON pack (site, seq) WHERE overridden <> '[]';
CREATE INDEX load_unsettled ON load (site, seq) WHERE rejected IS NULL AND (load_kind IS NULL OR load_kind = 'goods')
  AND (held IS NOT NULL OR (released_at IS NULL AND result IS NULL) OR (biological_lot IS NOT NULL AND biologicals = '[]'));
DROP INDEX case_patient;
CREATE INDEX case_patient ON "case" (site, patient, opened_at);
CREATE INDEX case_opened ON "case" (site, opened_at);
CREATE INDEX case_open ON "case" (site, seq) WHERE closed_at IS NULL;
CREATE INDEX patient_now ON patient (site, now) WHERE now IS NOT NULL;
