"""The packages that netwatch runs with: locked with their sums, and free to be given on together with it."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements.lock"


@pytest.fixture(scope="module")
def audit() -> ModuleType:
    sys.path.append(str(ROOT / "scripts"))
    import audit

    return audit


def test_all_that_is_asked_for_is_locked(audit: ModuleType) -> None:
    assert list(audit.lacking()) == []


def test_what_is_locked_may_be_checked_by_its_sum_and_names_no_place() -> None:
    """pip's hash-checking mode wants a sum for each package (pip's user guide, 'Secure installs')."""
    text = LOCK.read_text()
    entries = re.split(r"\n(?=[a-z])", text.strip())
    assert len(entries) > 30
    for entry in entries:
        first, *sums = entry.split("\n")
        assert re.match(r"[a-z0-9.-]+==[^ ]+( ; .+)? \\$", first), first
        assert sums
        assert all(re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", each) for each in sums), first
    assert "://" not in text


def test_one_version_a_python(audit: ModuleType) -> None:
    """Where a package has two, their markers exclude each other."""
    twice = {name for name, versions in audit.locked().items() if len(versions) > 1}
    for name in twice:
        markers = [
            Requirement(f"x; {each}").marker for each in re.findall(rf"^{name}==[^;]+; (.+) \\$", LOCK.read_text(), re.MULTILINE)
        ]
        for minor in range(11, 16):
            version = {"python_version": f"3.{minor}", "python_full_version": f"3.{minor}.1"}
            assert sum(marker is not None and marker.evaluate(version) for marker in markers) == 1, (name, minor)


@pytest.mark.skipif(
    Path(sys.prefix) != ROOT / ".venv", reason="these tests run outside of the environment that scripts/environment.py made"
)
def test_what_is_installed_is_what_was_locked(audit: ModuleType) -> None:
    assert list(audit.drifted()) == []


def test_what_runs_may_be_given_on(audit: ModuleType) -> None:
    """Each package tells its licence; MAY holds those that go together with GPL-2.0-only."""
    direct = audit.asked("dependencies")
    names = audit.runtime(direct)
    assert {"numpy", "scapy", "textual", "markupsafe", "et-xmlfile"} <= set(names)
    assert not {"pytest", "sacn", "mypy"} & set(names)
    assert list(audit.foreign(direct)) == []


def test_a_file_that_was_changed_is_told(audit: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    info = tmp_path / "pond-1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: pond\nVersion: 1\nLicense-Expression: AGPL-3.0-only\n")
    (info / "RECORD").write_text("pond.py,sha256=47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU,0\npond-1.dist-info/RECORD,,\n")
    (tmp_path / "pond.py").touch()
    monkeypatch.syspath_prepend(str(tmp_path))
    assert list(audit.changed("pond")) == []
    (tmp_path / "pond.py").write_text("print('not ours')")
    assert list(audit.changed("pond")) == ["pond: pond.py is not the file that was installed."]
    assert list(audit.foreign([Requirement("pond")])) == [
        "pond: its licence (AGPL-3.0-only) is not known to go together with GPL-2.0-only."
    ]


def test_each_direct_package_is_justified_where_developers_read(audit: ModuleType) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    for each in audit.asked("dependencies"):
        assert re.search(rf"^\| `{re.escape(each.name)}` \| .+ \| .+ \|$", text, re.MULTILINE), each.name
