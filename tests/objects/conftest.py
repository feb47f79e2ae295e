"""A folder that has the shape of a visit's; what its record says does not matter to objects."""

import pytest


@pytest.fixture
def visit(tmp_path):
    folder = tmp_path / "a-visit"
    for name, data in {
        "ledger.jsonl": b'{"seq":0}\n{"seq":1}\n',
        "sources/jobsheet.yaml": b"job: 1\n",
        "sources/ger\xe4t.yaml": b"maker: x\n",
        f"sound/{'ab' * 32}.flac": b"fLaC" + bytes(range(256)) * 8,
        "notes.txt": b"no part of a record",
    }.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder
