-- Version 6: codes issued by the ledger: the last number of each series, labels printed again or voided; the highest shelf.

CREATE TABLE series (
  site WORDS NOT NULL, code WORDS NOT NULL, last BIGINT, seq BIGINT, PRIMARY KEY (site, code)
);
CREATE TABLE label (
  site WORDS NOT NULL, code WORDS NOT NULL, prints BIGINT, voided WORDS, seq BIGINT, PRIMARY KEY (site, code)
);

CREATE INDEX fact_shelf ON fact ((data::json ->> 'shelf')) WHERE (data::json ->> 'shelf') IS NOT NULL;
