"""Spreadsheets as people have them, written by Python's ``csv`` and by openpyxl. Their headings: common practice, no source."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netwatch.plan.headings import field
from netwatch.plan.read import read
from netwatch.plan.rig import Plan, PlanError
from netwatch.plan.universes import lights
from tests.plan.garden import bare, garden, rows


def sheet(folder: Path, text: str, name: str = "sheet.csv", encoding: str = "utf-8") -> Plan:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return read(path)


def is_a_plan_or_a_sentence(path: Path) -> bool:
    try:
        return bool(read(path).devices)
    except PlanError as error:
        return str(error).endswith(".")


def table(found: list[list[str]], delimiter: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(found)
    return out.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_garden_from_any_dialect(tmp_path: Path, delimiter: str, encoding: str) -> None:
    found = [[*row, "h\u00f6her"] for row in rows()]
    plan = sheet(tmp_path, table(found, delimiter), encoding=encoding)
    assert bare(plan.devices) == bare(garden().devices)
    assert [each for each in plan.remarks if "not known" not in each] == []


def test_the_separator_may_be_told(tmp_path: Path) -> None:
    """A first line 'sep=;' is what a spreadsheet program writes for itself (common practice, no source)."""
    plan = sheet(tmp_path, "sep=;\r\nName;IP\r\nrack, left;10.0.0.1\r\n")
    assert [(each.name, each.origin.rpartition(", ")[2]) for each in plan.devices] == [("rack, left", "row 3")]


def test_the_garden_from_a_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "Cables"
    book.active.append(["Cable", "Length"])
    page = book.create_sheet("Network")
    page.append(["Hollowbrook Garden"])
    page.merge_cells("A1:I1")
    for row in rows():
        page.append([int(cell) if cell.isdigit() else cell or None for cell in row])
    book.create_sheet("Old").sheet_state = "hidden"
    book.save(tmp_path / "plan.xlsx")
    plan = read(tmp_path / "plan.xlsx")
    assert bare(plan.devices) == bare(garden().devices)
    assert [each.partition(": ")[2] for each in plan.remarks] == ["the sheet 'Network' was read; left out: 'Cables'."]
    assert plan.devices[0].origin.endswith("plan.xlsx (Network), row 3")


def test_a_workbooks_own_ways(tmp_path: Path) -> None:
    """Cells merged downwards, dates made of '1-8', numbers with a point, the value of a formula that was never computed."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Place", "Name", "IP", "sACN universe"])
    page.append(["Orchard", "hut", "10.0.0.1", 1.0])
    page.append([None, "shed", "10.0.0.2", datetime(2026, 1, 8)])
    page.append(["Pond", "jetty", "=CONCATENATE(1)", 3])
    page.merge_cells("A2:A3")
    book.save(tmp_path / "plan.xlsx")
    plan = read(tmp_path / "plan.xlsx")
    assert [each.place for each in plan.devices] == ["Orchard", "Orchard", "Pond"]
    assert [each.receives for each in plan.devices] == [lights(1), (), lights(3)]
    assert [each.partition("row ")[2] for each in plan.remarks] == [
        "3, column D (sACN universe): '2026-01-08' is a date, which the spreadsheet made of something like 1-8; "
        "format the column as text and type it again."
    ]


def test_headings_of_two_rows_and_other_columns(tmp_path: Path) -> None:
    plan = sheet(tmp_path, "\n".join((
        "Hollowbrook Garden;;;;;;",
        ";Network;;;Light;;",
        "Unit;IP address (fixed);Subnet mask;MAC;Sends;Universe 1;Universe 2;Colour",
        "desk;10.0.0.10;255.255.0.0;;1-4;;;red",
        "node;10.0.0.11/16;;02-00-00-00-00-0B;;1;0.0.3;",
        "Total: 2;;;;;;;",
    )))
    desk, node = plan.devices
    assert (desk.sends, desk.receives, desk.prefix) == (lights("1-4"), (), 16)
    assert (node.receives, node.prefix, node.mac) == (lights("1, 0.0.3"), 16, "02:00:00:00:00:0b")
    assert [str(each.network) for each in plan.subnets] == ["10.0.0.0/16"]
    assert [each.partition("sheet.csv, ")[2] for each in plan.remarks] == [
        "row 3, column H (Colour): this heading is not known; the column is left out.",
        "row 3, column F (Universe 1): taken for what each box receives; head a column 'Sends' for what it sends.",
        "row 6: 'Total: 2' is taken for a title or a remark and left out.",
    ]


def test_net_sub_and_universe_in_three_columns(tmp_path: Path) -> None:
    plan = sheet(tmp_path, "Name,Net,Subnet,Universe,Type\nnode,0,1,5,node\ndesk,0,0,3,lighting desk\n")
    assert plan.devices[0].receives == lights("0.1.5")
    assert plan.devices[1].sends == lights("0.0.3")


def test_both_numbers_in_a_row_belong_together(tmp_path: Path) -> None:
    plan = sheet(tmp_path, "Name,sACN,Art-Net,Desk\nnode,1-3,0.0.0-0.0.2,\nhut,9,,B1\n")
    told = [(each.sacn, each.artnet, each.desk) for each in plan.numbering]
    assert told == [(1, 0, ""), (2, 1, ""), (3, 2, ""), (9, None, "B1")]


@pytest.mark.parametrize(("body", "said"), [
    ("node;010.000.000.005;1;", "row 2, column B (IP): '010.000.000.005' has zeros in front, which some systems read as 8.0.0.5"),
    ("node;10.0.0;1;", "row 2, column B (IP): '10.0.0' is no address"),
    ("node;10.0.0.5;0;", "row 2, column C (sACN): there is no sACN universe 0"),
    ("node;10.0.0.5;1.0;", "row 2, column C (sACN): '1.0' names no universe; write 1 for sACN universe 1"),
    ("node;10.0.0.5;0:1:3;", "write 0.1.3 for Art-Net"),
    ("node;10.0.0.5;U12;", "row 2, column C (sACN): 'U12' names no universe; write 12."),
    ("node;10.0.0.5;08. Jan;", "is a date, which the spreadsheet made of something like 1-8"),
    ("node;10.0.0.5;1;12\nnode;10.0.0.5;1;12", "row 3: the same as row 2; it is left out."),
    ("node;10.0.0.5;1;x\n;;;\nnode 2;10.0.0.6;2;loose", "row 1, column D: a column without a heading (a merged one?)"),
])
def test_what_is_not_understood_is_told_with_its_place(tmp_path: Path, body: str, said: str) -> None:
    plan = sheet(tmp_path, f"Name;IP;sACN;\n{body}\n")
    assert plan.devices[0].name == "node"
    assert any(said in each for each in plan.remarks), plan.remarks
    assert all(each.endswith(".") and "\n" not in each for each in plan.remarks)


def test_a_mask_behind_the_address_is_its_mask(tmp_path: Path) -> None:
    plan = sheet(tmp_path, "Name;IP\nnode;2.0.0.5/8\n")
    assert (str(plan.devices[0].address), plan.devices[0].prefix, str(plan.subnets[0].network)) == ("2.0.0.5", 8, "2.0.0.0/8")


def test_dmx_addresses_are_no_network_addresses(tmp_path: Path) -> None:
    plan = sheet(tmp_path, "Name;Place;Address;Universe\nwash 1;Orchard;1;1\nwash 2;Orchard;25;1\n")
    assert [each.address for each in plan.devices] == [None, None]
    assert any("taken for DMX addresses" in each for each in plan.remarks)


@pytest.mark.parametrize(("data", "said"), [
    (b"", "no row of headings was found"),
    (b"Colour;Length\nred;3\n", "no row of headings was found"),
    (b"Name;IP\n", "no device stands below the headings in row 1"),
    (b"Name;IP\n;;\n-;-\n", "no device stands below"),
    (b"\xd0\xcf\x11\xe0" + bytes(500), "is an old .xls file, or one with a password; save it as .xlsx or CSV"),
    (b"PK\x03\x04" + bytes(500), "is no whole .xlsx file"),
    (bytes(500), "neither text nor .xlsx"),
    (b"\x81\x8d\x8f\x90\x9d", "neither text nor .xlsx"),
    (b"\xff\xfeN", "neither text nor .xlsx"),
])
def test_a_file_that_is_no_plan(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(data)
    with pytest.raises(PlanError) as caught:
        read(path)
    assert said in str(caught.value)
    with pytest.raises(PlanError, match="can't be read"):
        read(tmp_path / "none.csv")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400) | st.text(max_size=200).map(lambda text: f"Name;IP;Universe\n{text}".encode("utf-8", "replace")))
def test_any_bytes_are_a_plan_or_a_sentence(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(data)
    assert is_a_plan_or_a_sentence(path)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
@given(st.integers(0, 1_000_000), st.binary(min_size=1, max_size=8))
def test_a_damaged_workbook_is_a_plan_or_a_sentence(tmp_path: Path, place: int, damage: bytes) -> None:
    path = tmp_path / "whole.xlsx"
    if not path.exists():
        book = openpyxl.Workbook()
        for row in rows():
            book.active.append(row)
        book.save(path)
    data = bytearray(path.read_bytes())
    at = place % len(data)
    data[at : at + len(damage)] = damage
    (tmp_path / "damaged.xlsx").write_bytes(data)
    assert is_a_plan_or_a_sentence(tmp_path / "damaged.xlsx")


@pytest.mark.parametrize(("heading", "means"), [
    ("IP Address", "address"), ("IP_address:", "address"), ("Subnet Mask", "mask"), ("MAC", "mac"), ("Universe 3", "universe"),
    ("Universe A", "universe"), ("sACN Universe [1-63999]", "sacn"), ("Art-Net", "artnet"), ("Colour", ""),
    ("DMX address", "skip"), ("", ""),
])
def test_headings(heading: str, means: str) -> None:
    assert field(heading) == means


def test_a_workbook_without_a_workbook_inside_is_told(tmp_path: Path) -> None:
    """A sound zip file whose list of contents names no sheets (ECMA-376 part 2, 10.1.2); found by fuzzing."""
    book = openpyxl.Workbook()
    book.save(tmp_path / "whole.xlsx")
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as whole, zipfile.ZipFile(tmp_path / "odd.xlsx", "w") as odd:
        for name in whole.namelist():
            odd.writestr(name, whole.read(name).replace(b"spreadsheetml.sheet.main+xml", b"x"))
    with pytest.raises(PlanError, match=r"no whole \.xlsx file"):
        read(tmp_path / "odd.xlsx")


def test_what_crept_into_a_cell_unseen_is_left_out(tmp_path: Path) -> None:
    """A soft hyphen, a joiner and a mark of direction, as a copy from a page brings them (found by fuzzing, in headings)."""
    plan = sheet(tmp_path, "Na\u00adme,IP\u200b,P\x1blace\nlan\u00adtern walk,\u202a10.0.0.21\u202c,by the\u200d pond\n")
    (device,) = plan.devices
    assert (device.name, str(device.address), device.place) == ("lantern walk", "10.0.0.21", "by the pond")
    assert plan.remarks == ()
