"""The ledger: facts kept for good, in one chain a site, and the tables read from them."""
