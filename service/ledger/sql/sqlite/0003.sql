-- Version 3: who may come in: PINs, sessions, enrolled devices, one-time codes, failed tries, sign-ins.

CREATE TABLE access (
  site TEXT NOT NULL, kind TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (site, kind, key)
) WITHOUT ROWID;
