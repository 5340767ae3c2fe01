"""HTTP in front of the stations and the ledger: JSON in, JSON out, problem documents for what goes wrong."""
