"""All lines as CSV (RFC 4180, UTF-8): one row a line, and nothing a spreadsheet would take for a formula."""

from __future__ import annotations

import csv
import io
import json

from assistant.record.export.corrections import corrected_lines, corrects
from assistant.record.export.printed import detail
from assistant.record.reader import Record

COLUMNS = ("line", "t_ms", "wall", "record", "rules", "kind", "v", "detail", "data", "sha256")


def csv_bytes(record: Record) -> bytes:
    """The CSV. `detail` is for reading; `data` is the fact as JSON in ASCII, so that no terminal or sheet
    can be led astray by it."""
    out = io.StringIO(newline="")
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    taken = corrected_lines(record.lines)
    for line in record.lines:
        # "detail" starts with a field's name, "data" with a brace; a name that starts like a formula is
        # quoted.
        text = corrects(taken.get(line.seq)) + detail(line.data, 20_000)
        rows.writerow(
            (
                line.seq,
                line.t_ms,
                line.wall,
                line.record,
                line.rules,
                line.kind,
                line.v,
                f"'{text}" if text[:1] in "=+-@\t\r" and text else text,
                json.dumps(line.data, sort_keys=True, separators=(",", ":")),
                line.sha256,
            )
        )
    return out.getvalue().encode()
