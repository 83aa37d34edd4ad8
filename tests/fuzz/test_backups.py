"""Backups bent, cut off and made of anything: unpacked whole or refused, and nothing is written elsewhere."""

import io
import json
import tarfile
import tempfile
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from pinpool.service.backups import FORMAT, VERSION, CannotBackUp, _refuse_what_is_newer, _told, _unpacked
from tests.fuzz.effort import tries
from tests.fuzz.hostile import bent

NAMES = [
    "a.jpg",
    "../a",
    "/etc/a",
    "media/../../a",
    "media",
    "manifest.json",
    "",
    ".",
    "\0",
    "a" * 300,
    "database/x",
    "é\udcff",
]
KINDS = [
    tarfile.REGTYPE,
    tarfile.SYMTYPE,
    tarfile.LNKTYPE,
    tarfile.DIRTYPE,
    tarfile.CHRTYPE,
    tarfile.FIFOTYPE,
    b"S",
    b"x",
]


def packed(parts: list[tuple[str, bytes, bytes]], manifest: Any, mode: str = "w") -> bytes:
    """A tar file of parts by name, kind and content, its manifest first."""
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode=mode) as tar:  # type: ignore[call-overload]
        for name, kind, content in [("manifest.json", tarfile.REGTYPE, json.dumps(manifest).encode()), *parts]:
            part = tarfile.TarInfo(name)
            part.type, part.size, part.linkname = kind, len(content), "../../outside"
            tar.addfile(part, io.BytesIO(content))
    return file.getvalue()


def told_of(*contents: bytes) -> dict[str, Any]:
    """The manifest of a backup of files called 0, 1 and so on."""
    files = {}
    with tempfile.TemporaryDirectory() as folder:
        for number, content in enumerate(contents):
            path = Path(folder, str(number))
            path.write_bytes(content)
            files[path.name] = _told(path)
    facts = {"format": FORMAT, "version": VERSION, "engine": connection.vendor, "pinpool": "0.1.0"}
    return {**facts, "migrations": [["auth", "0001_initial"]], "tables": {"auth_user": 1}, "files": files}


MANIFEST = told_of(b"one", b"two")
GOOD = packed([("0", tarfile.REGTYPE, b"one"), ("1", tarfile.REGTYPE, b"two")], MANIFEST)


def unpacked(data: bytes) -> dict[str, Any] | None:
    """The manifest, or None where the backup is refused; looks that nothing lies beside the folder."""
    with tempfile.TemporaryDirectory() as around:
        file, folder = Path(around, "backup.tar"), Path(around, "inside", "folder")
        folder.mkdir(parents=True)
        file.write_bytes(data)
        try:
            manifest = _unpacked(file, folder)
            _refuse_what_is_newer(manifest)
        except CannotBackUp:
            manifest = None
        assert {path.name for path in Path(around).iterdir()} == {"backup.tar", "inside"}
        assert {path.name for path in folder.parent.iterdir()} == {"folder"}
        assert not any(path.is_symlink() for path in folder.rglob("*"))
    return manifest


def test_a_good_one() -> None:
    assert unpacked(GOOD) == MANIFEST


@tries(60, 10_000)
@given(
    parts=st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from(KINDS), st.binary(max_size=9)), max_size=4),
    manifest=bent(MANIFEST), form=st.sampled_from([tarfile.PAX_FORMAT, tarfile.GNU_FORMAT]),
)  # fmt: skip
def test_any_parts(parts: list[tuple[str, bytes, bytes]], manifest: Any, form: int) -> None:
    try:
        data = packed(parts, manifest)
    except (ValueError, UnicodeError):
        return
    unpacked(data)


@tries(60, 10_000)
@given(at=st.integers(0, len(GOOD)), put=st.binary(max_size=4), cut=st.one_of(st.none(), st.integers(0, len(GOOD))))
def test_broken_files(at: int, put: bytes, cut: int | None) -> None:
    unpacked((GOOD[:at] + put + GOOD[at + len(put) :])[:cut])


@pytest.mark.parametrize("mode", ["w:gz", "w:bz2", "w:xz"])
def test_what_could_unpack_to_anything_is_refused(mode: str) -> None:
    """A backup is never packed tighter than its files are."""
    data = packed([("0", tarfile.REGTYPE, b"one"), ("1", tarfile.REGTYPE, b"two")], MANIFEST, mode)
    assert unpacked(data) is None
    assert unpacked(data[:-20]) is None
