"""Writes the senders' files that are not plain text: workbooks, Parquet, UTF-16 and Windows-1252 (run by hand, once).

All of it is invented. The text files beside this one were written by hand.
"""

from datetime import date, datetime
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet

HERE = Path(__file__).parent


def book(name, **sheets):
    made = openpyxl.Workbook()
    made.remove(made.active)
    made.properties.created = made.properties.modified = datetime(2026, 1, 1)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title.replace("_", " "))
        for row in rows:
            sheet.append(row)
        if title == "Visits":
            sheet.merge_cells("C3:D3")
            sheet.merge_cells("E3:F3")
    made.save(HERE / name)


def wide():
    book(
        "s02_wide_visits.xlsx",
        Visits=[
            ["Rig and keel checks, Larkin & Daughter, dye throughout"],
            [],
            ["Boat", "Day", "Chainplate", None, "Below", None, "Remarks"],
            [None, None, "port", "stbd", "keel bolt", "rudder", None],
            ["SAL", date(2015, 4, 2), "no indication", "crack", "n/a", None, "port side polished"],
            ["NES", datetime(2016, 5, 1, 0, 0), "no indication", None, "no indication", None, None],
            [],
            ["TER", date(2017, 6, 9), None, None, None, None, "mast not pulled"],
            ["TER", date(2018, 6, 9), "no indication", "hairline?", None, None, None],
            ["SAL", date(2019, 4, 2), "no indication", "no indication", None, "no indication", None],
            ["Total", 5, 4, 3, 2, 1, None],
        ],
    )


def workbook():
    book(
        "s04_several_sheets.xlsx",
        Cover=[["Harbour Sailing School"], ["printed 3 March 2026"]],
        Yachts=[
            ["Our yachts"],
            ["No.", "Name", "Year", "Sea"],
            [101, "Wren", 1998, "salt"],
            [102, "Dunlin", 2004, "salty"],
        ],
        Parts=[
            ["Yacht", "Where", "What", "Stuff", "Put in"],
            [101, "chain plate P", "chainplate", 316, 1998],
            [101, "keel bolt 1", "keel bolt", "bronze", date(2010, 3, 4)],
            [102, "chain plate P", "Chain plate", "316", "2004-05"],
            [102, "chain plate S", "chainplate", None, "2004-05"],
        ],
        Tests=[
            ["Yacht", "Where", "When", "How", "Found", "mm"],
            [101, "chain plate P", date(2012, 3, 1), "dye pen", "no indication", None],
            [101, "keel bolt 1", date(2012, 3, 1), "UT", "crack", 3.5],
            [102, "chain plate P", date(2013, 3, 1), "dye pen", "nothing", None],
            [102, "chain plate X", date(2013, 3, 1), "dye pen", "no indication", None],
        ],
    )


def sheet_a_boat():
    rows = [["Fitting", "Date", "Result"], ["CP-P", "03.04.2016", "no indication"], ["CP-S", "03.04.2016", "Riss"]]
    other = [["Fitting", "Date", "Result"], ["CP-P", "04.05.2017", "keine Anzeige"], ["CP-9", "04.05.2017", "Riss"]]
    book("s05_sheet_a_boat.xlsx", Summary=[["two boats this year"]], SAL=rows, NES=other)


def parquet():
    columns = {
        "vessel": ["SAL", "NES", "TER"],
        "part": ["CP-P", "CP-P", "KB1"],
        "kind": ["chainplate", "chainplate", "keel bolt"],
        "alloy": [316.0, 304.0, None],
        "fitted": [date(2005, 1, 1), None, date(1999, 7, 1)],
    }
    pyarrow.parquet.write_table(pa.table(columns), HERE / "s13_parts.parquet")


def other_encodings():
    utf16 = (
        "Boat\tFitting\tDate\tMethod\tResult\tCrack length\tPart temp\tDwell\n"
        "SAL\tCP-P\t4/13/2016\tPT\tcrack\t0.5\t68\t600\n"
        "SAL\tCP-S\t4/13/2016\tPT\tno indication\t\t41\t20 min\n"
        "NES\tCP-P\t13/4/2016\tPT\tno indication\t\t68\t600\n"
        "NES\tCP-S\t5/1/2016\tPT\tcrack\t3 mm\t20 °C\t10\n"
    )
    (HERE / "s07_utf16_us.tsv").write_bytes(utf16.encode("utf-16"))
    french = (
        "Contrôle des ferrures;;;;\r\n"
        "Bateau;Pièce;Date;Méthode;Résultat\r\n"
        "SAL;CP-P;13/04/2016;ressuage;aucune indication\r\n"
        "SAL;CP-S;13/04/2016;ressuage;fissurée\r\n"
        "NES;CP-P;02/05/2016;visuel;RAS\r\n"
        "NES;CP-S;31/02/2016;ressuage;fissure\r\n"
        "NES;KB1;02/05/2016;à l'œil nu;fissure\r\n"
    )
    (HERE / "s06_francais.csv").write_bytes(french.encode("cp1252"))


if __name__ == "__main__":
    wide()
    workbook()
    sheet_a_boat()
    parquet()
    other_encodings()
