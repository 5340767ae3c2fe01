"""The Foldmark service: custody, steam cycles, ledger, stations, pages."""
