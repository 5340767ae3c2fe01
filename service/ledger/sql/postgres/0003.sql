-- Version 3: who may come in: PINs, sessions, enrolled devices, one-time codes, failed tries, sign-ins.

CREATE TABLE access (
  site WORDS NOT NULL, kind WORDS NOT NULL, key WORDS NOT NULL, body WORDS NOT NULL, PRIMARY KEY (site, kind, key)
);
