"""What a worksheet brings back. It is no table of the store: its lines become looks, found by their codes."""

from __future__ import annotations

from bobstay.tables.inputs import INSPECTIONS, InputColumn, InputTable

_ANSWERED = (
    "result", "inspected_on", "method", "scope", "surface_cleaned", "part_temp_c", "penetrant_dwell_min",
    "developer_dwell_min", "indication_form", "indication_length_mm", "action", "inspector", "note",
)  # fmt: skip
LOOK_OF_SHEET = "sheet "  # before the code: the inspection_id of a look that a worksheet brought back
ANSWERS = InputTable(
    "answers",
    "line of a worksheet",
    (
        InputColumn("code", "id", "the code that stands on the line", required=True),
        *(column for name in _ANSWERED for column in INSPECTIONS.columns if column.name == name),
        InputColumn("part_temp_f", "number", "temperature of the part, Fahrenheit", low=-76, high=302),
        InputColumn("indication_length_in", "number", "length of the indication, inch", low=0, high=390),
        InputColumn("coverage_percent", "number", "how much of the part could be seen", low=0, high=100),
        InputColumn("replaced_by", "text", "what part took its place"),
        InputColumn("line_of", "id", "fleet, boat and fitting, as our workbooks carry them"),
    ),
)
