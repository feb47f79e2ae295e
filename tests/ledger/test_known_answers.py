"""The building blocks give the answers that their standards print."""

from __future__ import annotations

import hmac
import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger import merkle
from handsfree.ledger.clock import milliseconds, stamp
from handsfree.ledger.entry import canonical, digest_of
from handsfree.ledger.ratchet import Secret, holds

# RFC 8032, section 7.1, tests 1, 2, 3 and SHA(abc): secret key, public key, message, signature.
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ),
]

# FIPS 180-2, appendix B (SHA-256 examples): message, digest.
SHA_256 = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]

# The test data of the reference implementation of Certificate Transparency, by the authors of RFC 6962,
# whose tree RFC 9162 keeps: leaves, the head of the tree of the first n of them, and two inclusion proofs.
TREE_LEAVES = [
    bytes.fromhex(leaf)
    for leaf in [
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    ]
]
TREE_HEADS = [
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
TREE_PROOFS = {
    0: [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    5: [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
}


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_ed25519_as_in_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    """RFC 8032, section 7.1: the key, the signature, and its verification."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    text, seal = bytes.fromhex(message), bytes.fromhex(signature)
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(text) == seal
    assert holds(bytes.fromhex(public), seal, text)
    assert not holds(bytes.fromhex(public), seal, text + b"\0")


def test_a_signature_whose_scalar_is_not_reduced_is_refused() -> None:
    """RFC 8032, section 5.1.7: S must be below the group order, else a seal could be altered unseen."""
    order = 2**252 + 27742317777372353535851937790883648493
    _, public, message, signature = ED25519[1]
    scalar = int.from_bytes(bytes.fromhex(signature)[32:], "little") + order
    altered = bytes.fromhex(signature)[:32] + scalar.to_bytes(32, "little")
    assert not holds(bytes.fromhex(public), altered, bytes.fromhex(message))


@pytest.mark.parametrize(("message", "digest"), SHA_256)
def test_sha_256_as_in_fips_180(message: bytes, digest: str) -> None:
    """FIPS 180-2, appendix B."""
    assert digest_of(message) == digest


def test_the_ratchet_turns_by_the_hmac_of_rfc_4231() -> None:
    """RFC 4231, test case 2 checks the HMAC; the ratchet uses it with its two words."""
    known = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.digest(b"Jefe", b"what do ya want for nothing?", "sha256").hex() == known
    secret = Secret(bytes(range(32)))
    assert secret.following().value == hmac.digest(bytes(range(32)), b"next", "sha256")
    seed = hmac.digest(bytes(range(32)), b"seal", "sha256")
    assert secret.public() == Ed25519PrivateKey.from_private_bytes(seed).public_key().public_bytes_raw()
    assert str(secret) == "Secret()"


@pytest.mark.parametrize("count", range(9))
def test_tree_heads_as_in_certificate_transparency(count: int) -> None:
    """The head of the first n leaves."""
    assert merkle.root(TREE_LEAVES[:count]).hex() == TREE_HEADS[count]


@pytest.mark.parametrize("index", TREE_PROOFS)
def test_inclusion_proofs_as_in_certificate_transparency(index: int) -> None:
    """The path of a leaf, and that it leads to the head of all eight."""
    proof = merkle.path(index, TREE_LEAVES)
    assert [step.hex() for step in proof] == TREE_PROOFS[index]
    head = merkle.root_from(TREE_LEAVES[index], index, 8, proof)
    assert head is not None
    assert head.hex() == TREE_HEADS[8]


@pytest.mark.parametrize("count", range(1, 9))
def test_every_leaf_of_every_tree_is_proved_and_nothing_else(count: int) -> None:
    """A path leads to the head from its own leaf and place only, and not when a step is lost or added."""
    leaves = TREE_LEAVES[:count]
    head = merkle.root(leaves)
    for index, leaf in enumerate(leaves):
        proof = merkle.path(index, leaves)
        assert merkle.root_from(leaf, index, count, proof) == head
        assert merkle.root_from(leaf + b"x", index, count, proof) != head
        assert merkle.root_from(leaf, count, count, proof) is None
        assert merkle.root_from(leaf, -1, count, proof) is None
        assert merkle.root_from(leaf, index, count, [*proof, head]) is None
        assert not proof or merkle.root_from(leaf, index, count, proof[:-1]) is None
        others = [other for other in range(count) if other != index]
        assert all(merkle.root_from(leaf, other, count, proof) != head for other in others)


def test_canonical_form_as_in_rfc_8785() -> None:
    """RFC 8785, section 3.2.3: members in the order of their UTF-16 code units."""
    members = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    order = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]
    assert list(json.loads(canonical(members)).values()) == order


def test_canonical_text_and_literals_as_in_rfc_8785() -> None:
    """RFC 8785, section 3.2.4 without its fractions, which this record refuses: the UTF-8 bytes."""
    members = {"string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/", "literals": [None, True, False]}
    printed = (
        "7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 6c 73 65 5d 2c"
        "22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c"
        "22 2f 22 7d"
    )
    assert canonical(members) == bytes.fromhex(printed)


@pytest.mark.parametrize(
    ("text", "ms"),
    [  # RFC 3339, section 5.8, written in UTC and to the millisecond; POSIX time by the calendar
        ("1985-04-12T23:20:50.520Z", 482_196_050_520),
        ("1996-12-20T00:39:57.000Z", 851_042_397_000),
        ("1937-01-01T11:40:27.870Z", -1_041_337_172_130),
        ("1970-01-01T00:00:00.000Z", 0),
        ("0001-01-01T00:00:00.000Z", -62_135_596_800_000),
        ("9999-12-31T23:59:59.999Z", 253_402_300_799_999),
    ],
)
def test_times_as_in_rfc_3339(text: str, ms: int) -> None:
    """The examples of RFC 3339, to and fro."""
    assert milliseconds(text) == ms
    assert stamp(ms) == text
