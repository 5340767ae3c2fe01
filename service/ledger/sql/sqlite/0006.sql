-- Version 6: codes issued by the ledger: the last number of each series, labels printed again or voided; the highest shelf.

CREATE TABLE series (
  site TEXT NOT NULL, code TEXT NOT NULL, last INTEGER, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;
CREATE TABLE label (
  site TEXT NOT NULL, code TEXT NOT NULL, prints INTEGER, voided TEXT, seq INTEGER, PRIMARY KEY (site, code)
) WITHOUT ROWID;

CREATE INDEX fact_shelf ON fact (json_extract(data, '$.shelf')) WHERE json_extract(data, '$.shelf') IS NOT NULL;
