"""Files that are broken, hostile or no files: each ends in three lines with the right exit code, or in rows set aside.

Source: the exit codes and the three lines of the README; the kinds of attack are common practice, from memory (zip
bombs: D. Fifield, "A better zip bomb", 2019; ECMA-376 for the parts of a workbook). Big ones are made small here;
BOBSTAY_BIG_FILES=1 makes them as big as they are meant and bounds the memory of the process.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import duckdb
import pytest

from bobstay.cli import run_command
from bobstay.ingest import lines
from bobstay.report.names import page_names
from ingest_files import BOATS, LOOKS, fleet, take

BIG = bool(os.environ.get("BOBSTAY_BIG_FILES"))
PEAK_MB = 1500


@pytest.fixture
def told(tmp_path, capsys, monkeypatch):
    """Return a way to run a command in this process: its code and what it says in its three lines."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: object) -> tuple[int, list[str]]:
        capsys.readouterr()
        code = run_command([str(a) for a in arguments])
        lines_said = capsys.readouterr().err.splitlines()
        assert not any("Traceback" in line for line in lines_said)
        if code not in {0, 4}:
            assert [line.split(":")[0] for line in lines_said] == ["error", "where", "to do"], lines_said
        return code, lines_said

    return command


def test_what_is_no_file_is_refused_at_once(tmp_path, told):
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "device.csv").symlink_to("/dev/zero")
    (tmp_path / "loop.csv").symlink_to("loop.csv")
    (tmp_path / "empty").mkdir()
    wanted = {"pipe.csv": "a pipe or a device", "device.csv": "a pipe or a device", "loop.csv": "not there"}
    wanted |= {"empty": "no file of a known kind", "gone.csv": "not there", "n" * 300 + ".csv": "too long"}
    for name, words in wanted.items():
        code, said = told("ingest", *fleet(tmp_path), name, "--store", "s.duckdb")
        assert code == 2, name
        assert words in said[0], name
        assert not (tmp_path / "s.duckdb").exists()
    for option in ("--settings", "--mapping"):
        for name in ("empty", "pipe.csv"):
            assert told("ingest", *fleet(tmp_path), option, name, "--store", "s.duckdb")[0] == 2
    assert told("propose", "pipe.csv")[0] == 2
    assert told("propose", "boats.csv", "--out", "empty")[0] == 2


def test_a_link_is_followed_and_a_name_that_is_no_text_is_written_out(tmp_path):
    boats, fittings, looks = fleet(tmp_path)
    strange = tmp_path / os.fsdecode(b"looks\xff.csv")
    strange.write_text(LOOKS.replace("L", "M"))
    (tmp_path / "link.csv").symlink_to(looks)
    taken = take(tmp_path, [boats, fittings, tmp_path / "link.csv", strange])
    assert [f.file for f in taken.report.files] == ["boats.csv", "fittings.csv", "looks.csv", "looks\\udcff.csv"]
    assert len(taken.tables["inspections"]) == 6


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
CELL = '<c r="{}" t="inlineStr"><is><t>{}</t></is></c>'


def book(path: Path, rows: str, *, shared: str = "") -> Path:
    """Write the least that is a workbook, with these rows of XML in its one sheet."""
    main = "http://schemas.openxmlformats.org/"
    link = f'<Relationship Id="r{{}}" Type="{main}officeDocument/2006/relationships/{{}}" Target="{{}}"/>'
    parts = {
        "_rels/.rels": link.format(1, "officeDocument", "xl/workbook.xml"),
        "xl/_rels/workbook.xml.rels": link.format(1, "worksheet", "worksheets/sheet1.xml")
        + link.format(2, "sharedStrings", "sharedStrings.xml"),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, links in parts.items():
            archive.writestr(name, f'<Relationships xmlns="{main}package/2006/relationships">{links}</Relationships>')
        archive.writestr(
            "xl/workbook.xml",
            f'<workbook xmlns="{main}spreadsheetml/2006/main" xmlns:r="{main}officeDocument/2006/relationships">'
            '<sheets><sheet name="looks" sheetId="1" r:id="r1"/></sheets></workbook>',
        )
        archive.writestr("xl/sharedStrings.xml", f'<sst xmlns="{main}spreadsheetml/2006/main">{shared}</sst>')
        archive.writestr("xl/worksheets/sheet1.xml", SHEET.format(rows))
    return path


def named_row(number: int, cells: list[str]) -> str:
    return (
        f'<row r="{number}">'
        + "".join(CELL.format(f"{chr(65 + n)}{number}", c) for n, c in enumerate(cells))
        + "</row>"
    )


HEAD, FIRST = (named_row(n, LOOKS.splitlines()[n - 1].split(",")) for n in (1, 2))


def _wrong_books(folder: Path) -> dict[Path, str]:
    """Write workbooks that must be refused, each with the words that say why."""
    good = book(folder / "good.xlsx", HEAD + FIRST)
    whole = good.read_bytes()
    (folder / "cut.xlsx").write_bytes(whole[: len(whole) // 2])
    (folder / "locked.xlsx").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(4000))
    lied = whole.replace(_size_of(good), (7).to_bytes(4, "little"))
    assert lied != whole
    (folder / "lying.xlsx").write_bytes(lied)
    many = "x" * 1000
    used = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(3, 3003))
    shared = f"<si><t>{'y' * 150_000}</t></si>"
    return {
        folder / "cut.xlsx": "not an XLSX workbook that can be read",
        folder / "locked.xlsx": "locked with a password",
        folder / "lying.xlsx": "not an XLSX workbook that can be read",
        book(folder / "far.xlsx", HEAD + '<row r="1048576">' + CELL.format("XFD1048576", "x") + "</row>"): "cells",
        book(folder / "far_formula.xlsx", HEAD + '<row r="1048576"><c r="XFD1048576"><f>1+1</f></c></row>'): "cells",
        book(folder / "far_odd.xlsx", HEAD + "<row r='1048576'><c a='>' r='XFD1048576'><v>1</v></c></row>"): "cells",
        book(folder / "long.xlsx", HEAD + named_row(2, [many * 300])): "bytes in one text",
        book(folder / "shared.xlsx", HEAD + used, shared=shared): "bytes of text",
        book(folder / "bomb.xlsx", HEAD + " " * (257 << 20)): "bytes unpacked",
    }


def _size_of(path: Path) -> bytes:
    """Return the four bytes by which the archive says how long its sheet is unpacked."""
    with zipfile.ZipFile(path) as archive:
        return archive.getinfo("xl/worksheets/sheet1.xml").file_size.to_bytes(4, "little")


def test_workbooks_that_are_broken_locked_or_bombs_are_refused(tmp_path, told):
    parts = fleet(tmp_path)[:2]
    for path, words in _wrong_books(tmp_path).items():
        code, said = told("ingest", *parts, path, "--store", "s.duckdb")
        assert (code, words in said[0]) == (3, True), (path.name, said)
        assert path.name in said[1]
        assert not (tmp_path / "s.duckdb").exists()
    assert told("ingest", *parts, "good.xlsx", "--store", "s.duckdb")[0] == 0


def test_cells_that_only_have_a_look_make_no_workbook_too_large(tmp_path):
    """Spreadsheet programs format whole columns: those cells are empty and far away. Common practice, no source."""
    path = book(tmp_path / "wide.xlsx", HEAD + FIRST + '<row r="1048576"><c r="XFD1048576" s="1"/></row>')
    assert take(tmp_path, [*fleet(tmp_path)[:2], path]).report.rows_read == 6


def _ingest_in_a_process(store: Path, *paths: Path) -> float:
    """Take files in within a process of its own; return the most memory it held, in MB."""
    text = "import resource,sys; from bobstay.cli import run_command; code = run_command(sys.argv[1:]); "
    text += "sys.stderr.write(str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)); sys.exit(code)"
    command = [sys.executable, "-c", text, "ingest", "--store", str(store), *map(str, paths)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return int(done.stderr.splitlines()[-1]) / unit


def test_a_line_without_end_and_a_huge_cell_cost_their_rows_and_little_memory(tmp_path):
    boats, fittings, looks = fleet(tmp_path)
    size = (1 << 30) if BIG else lines.LINE_LIMIT + 5
    with (tmp_path / "line.csv").open("wb") as file:
        file.write(LOOKS.encode() + b"L4,B1,CP1,2014,visual,relevant,")
        file.seek(size, os.SEEK_CUR)  # a hole reads as NUL bytes
        file.write(b"\nL5,B1,CP1,2015,visual,relevant,\n")
    huge = b"x" * (100_000_000 if BIG else lines.LINE_LIMIT + 5)
    head = LOOKS.splitlines()[0].encode()
    with (tmp_path / "cell.csv").open("wb") as file:
        file.write(
            head + b",note\nL6,B1,CP1,2014-02,visual,relevant,," + huge + b"\nL7,B1,CP1,2015-02,visual,relevant,,\n"
        )
    peak = _ingest_in_a_process(tmp_path / "s.duckdb", boats, fittings, tmp_path / "line.csv", tmp_path / "cell.csv")
    assert peak < PEAK_MB
    with duckdb.connect(str(tmp_path / "s.duckdb"), read_only=True) as con:
        aside = con.execute(
            "SELECT file, line, reason, length(row_json) < 20000 FROM set_aside ORDER BY ALL"
        ).fetchall()
        used = con.execute("SELECT inspection_id FROM inspections ORDER BY ALL").fetchall()
    too_long = f"the line is longer than {lines.LINE_LIMIT >> 20} MB"
    assert aside == [("cell.csv", 2, too_long, True), ("line.csv", 5, too_long, True)]
    assert [name for (name,) in used] == ["L1", "L2", "L3", "L5", "L7"]
    del looks


def test_a_nul_byte_costs_its_row(tmp_path):
    taken = take(tmp_path, fleet(tmp_path, looks_csv=LOOKS.replace("L2,B1", "L\0,B1")))
    assert [(r[1], r[3]) for r in taken.reasons()] == [(3, "a NUL byte stands in the row")]


def test_ids_that_are_paths_make_no_path(tmp_path):
    ids = [
        "../../x",
        "a/b",
        "/etc/passwd",
        "..",
        ".",
        "CON",
        "con.txt",
        "nul",
        "x" * 300,
        "x" * 301,
        "A",
        "a",
        "=",
        "\\\\h\\s",
    ]
    names = page_names(ids)
    assert len({name.casefold() for name in names.values()}) == len(ids)
    for name in names.values():
        assert (tmp_path / f"{name}.html").resolve().parent == tmp_path.resolve()
        assert len(name) <= 200
        assert name.casefold() not in {"con", "nul", ".", ".."}
        (tmp_path / f"{name}.html").write_text("")  # a name that the system takes


def test_the_truth_of_the_demo_is_no_input(tmp_path, told):
    """`bobstay run data_demo/*.csv` must not take what only the maker of the fleet knows for records."""
    truth = Path(__file__).parents[2] / "data_demo" / "truth.csv"
    code, said = told("ingest", *fleet(tmp_path), truth, "--store", "s.duckdb")
    assert code == 3
    assert "truth.csv" in said[1]
    assert "true_boat_id" in said[1]
    assert "no column has a name that is known" in said[0]
    assert not (tmp_path / "s.duckdb").exists()


def test_a_file_read_by_another_mapping_is_refused_with_the_way_out(tmp_path, told):
    """What a store holds must not be read twice in two ways; the hint is checked, not only the code."""
    (tmp_path / "theirs.csv").write_text("Boot,Teil,Tag,Wie,Befund\nB1,CP1,2014-05-01,visual,relevant\n")
    text = 'files = ["theirs.csv"]\n[[part]]\ntable = "inspections"\n[part.columns]\n'
    text += 'Boot = "boat_id"\nTeil = "fitting_id"\n'
    text += 'Tag = "inspected_on"\nWie = "method"\nBefund = "result"\n'
    (tmp_path / "one.toml").write_text(text)
    (tmp_path / "two.toml").write_text(text + "\n# changed\n")
    arguments = ("ingest", *fleet(tmp_path), "theirs.csv", "--store", "s.duckdb", "--mapping")
    assert told(*arguments, "one.toml")[0] == 0
    code, said = told(*arguments, "two.toml")
    assert code == 2
    assert "another mapping" in said[0]
    assert "new store" in said[2]


def test_json_is_json_also_where_the_terminal_has_few_letters(tmp_path):
    boats, fittings, looks = fleet(tmp_path, boats_csv=BOATS.replace("Sallow", "Sällow 日本"))
    env = {
        "PATH": os.environ["PATH"],
        "LC_ALL": "C",
        "PYTHONUTF8": "0",
        "PYTHONCOERCECLOCALE": "0",
        "HOME": "/nonexistent",
    }
    command = [sys.executable, "-m", "bobstay"]
    store = ["--store", str(tmp_path / "s.duckdb")]
    take(tmp_path, [boats, fittings, looks])
    told = subprocess.run([*command, "history", "B1", "--json", *store], env=env, capture_output=True, check=False)
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout.decode("ascii"))["boat"]["boat_name"] == "Sällow 日本"
