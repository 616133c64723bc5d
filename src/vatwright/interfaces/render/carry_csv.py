"""The layer table as comma-separated values, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from vatwright.interfaces.render.data import numbers
from vatwright.wording import in_english

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet

COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("clock_s", "clock_s", "s"),
    ("area_mm2", "area_m2", "mm2"),
    ("thickness_um", "thickness_m", "um"),
    ("thickness_low_um", "thickness_low_m", "um"),
    ("thickness_high_um", "thickness_high_m", "um"),
    ("cure_depth_um", "cure_depth_m", "um"),
    ("settle_demand_s", "settle_demand_s", "s"),
    ("settle_true_s", "settle_true_s", "s"),
    ("settle_given_s", "settle_given_s", "s"),
    ("lift_demand_mm", "lift_demand_m", "mm"),
    ("pull_N", "pull_n", "N"),
    ("screen_force_N", "screen_force_n", "N"),
)
"""Column, field of the record, bench unit."""


@in_english
def layers_csv(sheet: CarrySheet) -> str:
    """Return one row a layer (RFC 4180, comma, CRLF); a number that is not finite is left empty.

    References
    ----------
    Y. Shafranovich, Common Format and MIME Type for Comma-Separated Values (CSV) Files, RFC 4180, 2005, section 2.
    [rfc4180:2005]
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["layer", *(name for name, _, _ in COLUMNS)])
    series = [numbers(getattr(sheet.layers, attribute).tolist(), unit) for _, attribute, unit in COLUMNS]
    writer.writerows([k, *row] for k, row in enumerate(zip(*series, strict=True)))
    return out.getvalue()
