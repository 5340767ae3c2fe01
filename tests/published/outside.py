"""A program from outside: it knows the published format of facts and nothing of Foldmark's code.

`python tests/published/outside.py facts.jsonl` checks every hash, the chain and every code, and prints, for each load and
reach, the packs and patients that the facts alone give.
"""

import hashlib
import json
import sys
from pathlib import Path

from stdnum.iso7064 import mod_37_2

KEYS = [
    "seq",
    "id",
    "kind",
    "at",
    "noted_at",
    "site",
    "station",
    "by",
    "set",
    "pack",
    "load",
    "patient",
    "data",
    "prev",
    "hash",
]


def check_chain(facts):
    """Raise AssertionError at the first fact that does not hold."""
    heads = {}
    for fact in facts:
        assert sorted(fact) == sorted(KEYS), fact.get("seq")
        seq, prev = heads.get(fact["site"], (0, "0" * 64))
        assert fact["seq"] == seq + 1, f"hole before {fact['seq']}"
        assert fact["prev"] == prev, f"broken at {fact['seq']}"
        body = {key: value for key, value in fact.items() if key != "hash"}
        text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert hashlib.sha256(text.encode()).hexdigest() == fact["hash"], f"changed: {fact['seq']}"
        for key in ("set", "pack", "load", "by"):
            if fact[key]:
                assert mod_37_2.is_valid(fact[key].replace("-", "")), fact[key]
        heads[fact["site"]] = (fact["seq"], fact["hash"])
    return heads


def live(facts):
    """The facts that count: undone ones left out."""
    undone = {f["data"]["of"] for f in facts if f["kind"] == "amended" and f["data"]["undo"]}
    return [f for f in facts if f["id"] not in undone]


class Record:
    """What the facts say of loads, packs, turns, patients and biologicals."""

    def __init__(self, facts):
        self.inside, self.turns, self.patients, self.started, self.negative = {}, {}, {}, [], set()
        for f in live(facts):
            kind, data = f["kind"], f["data"]
            if kind in {"wash_loaded", "loaded"}:
                self.inside.setdefault(f["load"], {})[f["pack"]] = True
            elif kind == "taken_out":
                self.inside[f["load"]].pop(f["pack"])
            elif kind == "received":
                self.turns.setdefault(f["set"], {})[f["pack"]] = data["turn"]
            elif kind == "opened" and f["patient"]:
                self.patients.setdefault(f["pack"], set()).add(f["patient"])
            elif kind == "cycle_started":
                self.started.append(f["load"])
            elif kind == "indicator_read" and data["indicator"] == "biological" and data["result"] == "negative":
                self.negative.add(f["load"])

    def loads(self):
        return sorted({*self.inside, *self.started})

    def packs(self, load, reach):
        found = set(self.inside.get(load, {}))
        if reach == "since":
            row = [other for other in self.started if other[:6] == load[:6]]
            first = last = row.index(load)
            while first > 0 and row[first - 1] not in self.negative:
                first -= 1
            while last + 1 < len(row) and row[last + 1] not in self.negative:
                last += 1
            found = {pack for other in row[first : last + 1] for pack in self.inside.get(other, {})}
        if reach == "onward":
            for turns in self.turns.values():
                mine = [turn for pack, turn in turns.items() if pack in self.inside.get(load, {})]
                found |= {pack for pack, turn in turns.items() if mine and turn > min(mine)}
        return sorted(found)

    def recall(self, load, reach):
        packs = self.packs(load, reach)
        return {"packs": packs, "patients": sorted({who for pack in packs for who in self.patients.get(pack, ())})}


def recalls(facts):
    """Load → reach → packs and patients."""
    record = Record(facts)
    return {
        load: {
            reach: record.recall(load, reach)
            for reach in ("load", "since", "onward")
            if reach != "since" or (load[0] == "L" and load in record.started)
        }
        for load in record.loads()
    }


def main(path):
    with Path(path).open(encoding="utf-8") as file:
        facts = [json.loads(line) for line in file]
    check_chain(facts)
    print(json.dumps({"ok": True, "facts": len(facts), "recalls": recalls(facts)}))


if __name__ == "__main__":
    main(sys.argv[1])
