"""Make the invented records of the guide: `python tests/data/guide/make_seasons.py` writes them anew.

Every boat, place, person and record is invented. Parts crack by a Weibull law, looks miss and cry wolf; the mess
that is put in (a boat that nobody knows, a day that is none, words that are not enough) is what the guide reads.
"""

from __future__ import annotations

import csv
import random
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

HERE = Path(__file__).parent
YEAR = 365.25
# method -> chance that it shows a crack which is there; one look in 30 shows one that is not
FOUND = {"visual": 0.3, "penetrant": 0.75}
FALSE_CALL = 1 / 30


@dataclass(frozen=True, slots=True)
class Kind:
    """A class of fitting: its type, metal, way in, consequence, Weibull shape and scale in years."""

    place: str
    fitting_type: str
    material: str
    access: str
    consequence: int
    shape: float
    scale: float


CHAINPLATE_P = Kind("CP-P", "chainplate", "stainless 304", "afloat", 4, 3.2, 17)
CHAINPLATE_S = Kind("CP-S", "chainplate", "stainless 304", "afloat", 4, 3.2, 17)
TANG = Kind("MT", "mast tang", "stainless 316", "aloft", 4, 2.8, 24)
KEEL_BOLT = Kind("KB1", "keel bolt", "stainless 316", "hauled", 5, 2.5, 34)
RUDDER = Kind("RS", "rudder stock", "stainless 316", "hauled", 5, 2.5, 40)
SEACOCK = Kind("SC1", "seacock", "brass", "hauled", 5, 3.0, 21)
GOOSENECK = Kind("GN", "gooseneck", "aluminium", "afloat", 2, 2.0, 26)
PINTLE = Kind("PT", "pintle", "stainless 304", "afloat", 3, 2.6, 19)


@dataclass(frozen=True, slots=True)
class Look:
    """One look at one fitting, as it came out."""

    boat: str
    kind: Kind
    day: date
    method: str
    shows: bool
    is_cracked: bool


def fleet_looks(
    rng: random.Random, boats: dict[str, date], kinds: list[Kind], *, first: int, last: int, every: float
) -> tuple[list[Look], dict[tuple[str, str], list[date]]]:
    """Return every look and, by boat and place, the days on which a part was put in (found cracks are renewed)."""
    looks: list[Look] = []
    put_in: dict[tuple[str, str], list[date]] = {}
    for boat, built in boats.items():
        for kind in kinds:
            days = [built]
            cracks = built + timedelta(days=YEAR * rng.weibullvariate(kind.scale, kind.shape))
            day = max(date(first, 1, 10), built) + timedelta(days=rng.randrange(int(every * YEAR)))
            while day < date(last, 4, 1):
                method = "penetrant" if rng.random() < 0.65 else "visual"
                is_cracked = cracks <= day
                shows = rng.random() < (FOUND[method] if is_cracked else FALSE_CALL)
                looks.append(Look(boat, kind, day, method, shows, is_cracked))
                if shows and is_cracked:
                    days.append(day)
                    cracks = day + timedelta(days=YEAR * rng.weibullvariate(kind.scale, kind.shape))
                day += timedelta(days=int(every * YEAR * rng.uniform(0.7, 1.3)))
            put_in[boat, kind.place] = days
    return sorted(looks, key=lambda k: (k.day, k.boat, k.kind.place)), put_in


def write(path: Path, header: list[str], rows: list[list[object]], *, delimiter: str = ",", top: str = "") -> None:
    """Write one file of a season; `top` stands above its header."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(top)
        out = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        out.writerows([header, *rows])


def fitting_rows(put_in: dict[tuple[str, str], list[date]], kinds: list[Kind]) -> list[list[object]]:
    """Return a row an installation; a part that was renewed was taken out for an indication on the next one's day."""
    by_place = {kind.place: kind for kind in kinds}
    rows: list[list[object]] = []
    for (boat, place), days in put_in.items():
        kind = by_place[place]
        for i, day in enumerate(days):
            gone = days[i + 1] if i + 1 < len(days) else ""
            why = "indication" if gone else ""
            rows.append([boat, place, kind.fitting_type, kind.material, day, gone, why, kind.access, kind.consequence])
    return rows


FITTINGS = [
    "boat_id",
    "fitting_id",
    "fitting_type",
    "material",
    "installed",
    "removed",
    "removal_reason",
    "access",
    "consequence",
]
BOATS = ["boat_id", "boat_name", "design", "built", "joined", "service", "water", "home_port"]


def boat_rows(boats: dict[str, date], names: list[str], told: list[object]) -> list[list[object]]:
    """Return a row a boat: id, name, `told[0]` her design, when she was built, and the rest of `told`."""
    return [[b, name, told[0], built, *told[1:]] for (b, built), name in zip(boats.items(), names, strict=True)]


def write_slots(folder: Path, name: str, first: date, weeks: int, told: list[object]) -> None:
    """Write weekly slots from `first` on; `told` is boats_max, hours_max and access."""
    write(
        folder / "slots.csv",
        ["slot_id", "starts_on", "boats_max", "hours_max", "access"],
        [[name, first + timedelta(weeks=week), *told] for week in range(weeks)],
    )


def yard_book(looks: list[Look]) -> list[list[object]]:
    """Return the yard's book of the charter fleet in the yard's own words, with what is wrong in it."""
    rows: list[list[object]] = [
        [
            k.boat,
            k.kind.place,
            f"{k.day.day}.{k.day.month}.{k.day.year}",
            {"penetrant": "dye penetrant", "visual": "visual"}[k.method],
            "crack" if k.shows else "no ind.",
            ("confirmed, part renewed" if k.is_cracked else "unfounded") if k.shows else "",
        ]
        for k in looks
    ]
    rows.insert(40, ["K17", "CP-P", "9.3.2016", "visual", "no ind.", ""])
    rows.insert(90, ["K03", "CP-S", "31.2.2019", "dye penetrant", "no ind.", ""])
    rows.insert(120, ["K05", "MT", "14.3.2020", "visual", "looks fine", ""])
    rows.append(["Total", "", "", "", "", ""])
    return rows


def charter() -> None:
    """Write the season of the charter fleet: her own lists in our columns, a yard's book in the yard's."""
    rng, folder = random.Random(11), HERE / "charter"
    names = [
        "Ardea",
        "Bittern",
        "Curlew",
        "Dunlin",
        "Egret",
        "Fulmar",
        "Gannet",
        "Heron",
        "Ibis",
        "Jaeger",
        "Knot",
        "Lapwing",
        "Merlin",
        "Noddy",
    ]
    boats = {f"K{i + 1:02d}": date(1999 + (i * 5) % 16, 4, 1) for i in range(len(names))}
    kinds = [CHAINPLATE_P, CHAINPLATE_S, TANG, KEEL_BOLT, SEACOCK]
    looks, put_in = fleet_looks(rng, boats, kinds, first=2012, last=2026, every=2.0)
    told: list[object] = ["Korvik 38", "2012-01-01", "charter", "salt", "Korvik"]
    write(folder / "boats.csv", BOATS, boat_rows(boats, names, told))
    write(folder / "fittings.csv", FITTINGS, fitting_rows(put_in, kinds))
    write(
        folder / "yard_book.csv",
        ["Yacht", "Item", "Date", "Test", "Finding", "Follow-up"],
        yard_book(looks),
        delimiter=";",
        top="Korvik yard; rig and hull book\n\n",
    )
    write_slots(folder, "crane", date(2026, 11, 2), 8, [2, 30, "afloat;aloft;hauled"])
    write(
        folder / "availability.csv",
        ["boat_id", "from", "to"],
        [[b, "2026-11-01", "2027-01-31"] for b in boats if b not in {"K02", "K09"}]
        + [[b, "2026-12-07", "2027-01-31"] for b in ("K02", "K09")],
    )
    write(
        folder / "prices.csv",
        ["access", "fitting_type", "action", "cost", "hours"],
        [
            ["hauled", "", "", 900, 3],
            ["aloft", "", "", 120, 1],
            ["", "chainplate", "replace", 420, 4],
            ["", "chainplate", "test", 40, 0.5],
            ["", "keel bolt", "replace", 650, 8],
        ],
    )


def school() -> None:
    """Write the season of a sailing school: a logbook with a row a visit, a column for each fitting."""
    rng, folder = random.Random(5), HERE / "school"
    names = ["Alder", "Birch", "Cedar", "Damson", "Elder", "Fir"]
    boats = {f"S{i + 1}": date(2012 + i % 4, 3, 1) for i in range(len(names))}
    kinds = [GOOSENECK, PINTLE, CHAINPLATE_P, CHAINPLATE_S]
    looks, put_in = fleet_looks(rng, boats, kinds, first=2018, last=2026, every=2.5)
    told: list[object] = ["Lark dinghy", "2018-01-01", "school", "fresh", "Lake Ennis"]
    write(folder / "boats.csv", BOATS, boat_rows(boats, names, told))
    write(folder / "fittings.csv", FITTINGS, fitting_rows(put_in, kinds))
    visits: dict[tuple[str, date], dict[str, str]] = {}
    for look in looks:
        cells = visits.setdefault((look.boat, look.day), {})
        cells[look.kind.place] = "crack" if look.shows else "clear"
    rows: list[list[object]] = [
        [boat, f"{day.day}/{day.month}/{day.year}", *(cells.get(k.place, "") for k in kinds)]
        for (boat, day), cells in sorted(visits.items(), key=lambda item: item[0][1])
    ]
    rows[5][3] = "ok I think"
    write(folder / "logbook.csv", ["Boat", "Day", "Gooseneck", "Pintle", "Chainplate port", "Chainplate stbd"], rows)
    write_slots(folder, "shed", date(2026, 11, 2), 6, [1, 8, "afloat;aloft"])


def club() -> None:
    """Write the season of a club's technical officer: boats, a rule, a notice, a new name."""
    rng, folder = random.Random(23), HERE / "club"
    boats = {f"N{i + 1:02d}": date(1990 + (i * 7) % 22, 5, 1) for i in range(20)}
    kinds = [CHAINPLATE_P, CHAINPLATE_S, KEEL_BOLT, RUDDER]
    looks, put_in = fleet_looks(rng, boats, kinds, first=2010, last=2026, every=3.0)
    told: list[object] = ["Nordwind 30", "2010-01-01", "club", "brackish", "Sund"]
    write(folder / "boats.csv", BOATS, boat_rows(boats, [f"Member {b[1:]}" for b in boats], told))
    write(
        folder / "fittings.csv",
        [*FITTINGS, "supplier", "batch"],
        [[*row, "Halm", "H-07" if i % 9 == 0 else "H-12"] for i, row in enumerate(fitting_rows(put_in, kinds))],
    )
    head = ["inspection_id", "boat_id", "fitting_id", "inspected_on", "method", "result", "disposition", "action"]
    rows: list[list[object]] = [
        [
            f"C{i:03d}",
            k.boat,
            k.kind.place,
            k.day,
            k.method,
            "relevant" if k.shows else "no_indication",
            ("confirmed" if k.is_cracked else "unfounded") if k.shows else "",
            "replaced" if k.shows and k.is_cracked else "",
        ]
        for i, k in enumerate(looks)
    ]
    half = len(rows) // 2
    for row in rows[half:]:
        if row[1] == "N04":
            row[1] = "NORDLYS"
    write(folder / "members_2010_2018.csv", head, rows[:half])
    write(folder / "members_2019_2026.csv", head, rows[half:])
    write(folder / "aliases.csv", ["boat_id", "alias"], [["N04", "NORDLYS"]])
    write(
        folder / "rules.csv",
        ["issuer", "fitting_type", "material", "kind", "years", "source"],
        [["Sund Sailing Federation (invented)", "keel bolt", "", "retest", 6, "invented rule 4.2"]],
    )
    write(
        folder / "notices.csv",
        ["notice_id", "issued_on", "fitting_type", "supplier", "batch", "action", "source"],
        [["HALM-1", "2026-06-01", "chainplate", "Halm", "H-07", "test", "invented letter of the maker"]],
    )
    write_slots(folder, "club crane", date(2026, 11, 7), 4, [3, 40, "afloat;hauled"])
    found = next(row for row in rows if row[6] == "confirmed")
    write(folder / "correction.csv", head, [[*found[:5], "no_indication", "", ""]])


if __name__ == "__main__":
    charter()
    school()
    club()
