"""The tree of RFC 6962, held to published vectors and to its own definition."""

import hashlib
import json
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.ledger.tree import EMPTY, Frontier, Tree, consistent, included, leaf_hash, node_hash

# RFC 6962 section 2.1 over the well-known test leaves; values as published in transparency-dev/merkle
# testonly/constants.go (READ) and recomputed with hashlib. The project's CHECKS, section 6.
LEAVES = [
    bytes.fromhex(x)
    for x in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
# The same section, 2.1.1 and 2.1.2 (READ-2: quoted in public test suites; COMPUTED).
PATHS = {
    (5, 8): ["bc1a0643", "ca854ea1", "d37ee418"],
    (0, 8): ["96a296d2", "5f083f0a", "6b47aaf2"],
    (0, 1): [],
}
STEPS = {
    (6, 8): ["0ebc5d34", "ca854ea1", "d37ee418"],
    (2, 5): ["5f083f0a", "bc1a0643"],
    (1, 8): ["96a296d2", "5f083f0a", "6b47aaf2"],
    (1, 1): [],
}
VECTORS = Path(os.environ.get("FOLDMARK_DATA", Path(__file__).parents[4] / "shared" / "data")) / "rfc6962_vectors.json"


def root(leaves):
    """RFC 6962 section 2.1, word for word."""
    if not leaves:
        return hashlib.sha256().digest()
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    half = 1
    while half * 2 < len(leaves):
        half *= 2
    return node_hash(root(leaves[:half]), root(leaves[half:]))


def test_published_roots():
    frontier = Frontier()
    assert EMPTY.hex() == ROOTS[0] == frontier.root().hex() == Tree([]).root().hex()
    for size, leaf in enumerate(LEAVES, 1):
        frontier.add(leaf)
        assert frontier.root().hex() == Tree(LEAVES[:size]).root().hex() == Tree(LEAVES).root(size).hex() == ROOTS[size]


def test_published_paths():
    tree = Tree(LEAVES)
    for (leaf, size), path in PATHS.items():
        assert [step.hex()[:8] for step in tree.inclusion(leaf, size)] == path
    for (old, new), path in STEPS.items():
        assert [step.hex()[:8] for step in tree.consistency(old, new)] == path


@pytest.mark.skipif(not VECTORS.exists(), reason="the shared vectors are not here: the values above hold without them")
def test_every_vector_of_the_shared_file():
    told, tree = json.loads(VECTORS.read_text()), Tree(LEAVES)
    for row in told["inclusion"]:
        assert [step.hex() for step in tree.inclusion(row["leaf"], row["size"])] == row["path"]
    for row in told["consistency"]:
        assert [step.hex() for step in tree.consistency(row["old"], row["new"])] == row["proof"]


@given(st.lists(st.binary(max_size=4), max_size=70))
def test_both_trees_have_the_root_of_the_definition(leaves):
    frontier = Frontier()
    for leaf in leaves:
        frontier.add(leaf)
    assert frontier.root() == Tree(leaves).root() == root(leaves)


def test_every_path_holds_and_no_other_does():
    leaves = [bytes([n]) for n in range(33)]
    tree = Tree(leaves)
    for size in range(1, 34):
        top = tree.root(size)
        for index in range(size):
            path = tree.inclusion(index, size)
            assert included(leaves[index], index, size, path, top)
            assert not included(leaves[index] + b"x", index, size, path, top)
            assert not included(leaves[index], index, size, [*path, top], top)
            assert not included(leaves[index], index, size, path[:-1], top) or not path
            assert not included(leaves[index], index + 1, size, path, top)
            # A size that needs a path of another length cannot be passed off.
            others = [n for n in range(index + 1, 34) if len(tree.inclusion(index, n)) != len(path)]
            assert not any(included(leaves[index], index, other, path, top) for other in others)


# The case list of transparency-dev/merkle testdata/consistency: one bit changed, shortened, lengthened, sizes ±1, swapped.
def test_consistency_holds_and_every_change_of_it_is_refused():
    leaves = [bytes([n]) for n in range(20)]
    tree = Tree(leaves)
    for new in range(1, 21):
        for old in range(1, new + 1):
            path, one, two = tree.consistency(old, new), tree.root(old), tree.root(new)
            assert consistent(old, one, new, two, path)
            if old == new:
                assert not consistent(old, one, new, two, [one])
                continue
            assert not consistent(old, two, new, one, path)
            assert not consistent(new, one, old, two, path)
            assert not consistent(old, one, new, two, path[:-1])
            assert not consistent(old, one, new, two, [*path, one])
            assert not consistent(old + 1, one, new, two, path) or old + 1 == new
            assert not consistent(0, one, new, two, path)
            for at, step in enumerate(path):
                bent = [*path]
                bent[at] = bytes([step[0] ^ 1, *step[1:]])
                assert not consistent(old, one, new, two, bent)


@pytest.mark.parametrize(("ask", "words"), [
    (lambda t: t.inclusion(3), "leaf 3 is not"), (lambda t: t.consistency(0), "does not begin"), (lambda t: t.root(4), "has 3 leaves"),
])  # fmt: skip
def test_what_a_tree_does_not_hold_is_refused(ask, words):
    with pytest.raises(ValueError, match=words):
        ask(Tree(LEAVES[:3]))
