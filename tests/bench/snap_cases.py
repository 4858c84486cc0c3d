"""Six real snaps of the lakeshore record, their worked tables printed beside the page, and asserted.

    python tests/bench/snap_cases.py [FOLDER]

FOLDER is a season folder whose weather holds MKE.csv (by default ../shared/data/seasons/lakeshore).
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "snap"))
from snap_season import Case, Row, check, hand_order, report_of, show, write_season

LAKESHORE = (
    # lows measured in it [°C]: 2 Oct -2.2, 3 Oct -2.8
    Case(
        "early October frost at the limit itself",
        date(1974, 10, 4),
        date(1974, 10, 2),
        date(1974, 10, 3),
        "close",
        (
            Row("hollow", (0.38, 0.03, 0.01, 0.0, 0.0, 1.35), (7.2, 22.8, 0.0, 0.0, 0.6, -13.5)),
            Row("bare", (0.06, 0.01, 0.02, 0.0, 0.0, 1.28), (4.0, 6.0, 0.0, 0.0, 1.2, -12.8)),
            Row("falls", (0.04, 0.01, 0.02, 0.0, 0.0, 1.14), (2.0, 2.0, 0.0, 0.0, 1.2, -11.4)),
            Row("fish", (0.04, 0.02, 0.01, 0.0, 0.0, 1.26), (2.4, 1.2, 0.0, 0.0, 0.6, -12.6)),
            Row("buried", (0.06, 0.01, 0.01, 0.0, 0.0, 1.22), (1.2, 1.8, 0.0, 0.0, 0.6, -12.2)),
            Row("deep", (0.04, 0.01, 0.01, 0.0, 0.0, 1.83), (2.4, 2.4, 0.0, 0.0, 0.6, -18.3)),
        ),
    ),
    # lows measured in it [°C]: 9 Nov -5, 10 Nov -6.1, 11 Nov -9.4
    Case(
        "November plunge, a week long",
        date(1986, 11, 12),
        date(1986, 11, 9),
        date(1986, 11, 12),
        "quick",
        (
            Row("fish", (0.96, 0.01, 0.0, 0.07, 0.39, 0.0), (1.2, 28.8, 97.5, 0.0, 0.0, 0.0)),
            Row("bare", (0.96, 0.01, 0.0, 0.08, 0.31, 0.0), (4.0, 96.0, 0.0, 0.0, 0.0, 0.0)),
            Row("deep", (0.95, 0.02, 0.0, 0.11, 0.08, 0.0), (4.8, 57.0, 0.0, 0.0, 0.0, 0.0)),
            Row("hollow", (1.0, 0.0, 0.0, 0.07, 0.36, 0.0), (0.0, 60.0, 0.0, 0.0, 0.0, 0.0)),
            Row("falls", (0.96, 0.01, 0.0, 0.06, 0.33, 0.0), (2.0, 48.0, 0.0, 0.0, 0.0, 0.0)),
            Row("buried", (0.97, 0.0, 0.0, 0.08, 0.32, 0.0), (0.0, 29.1, 0.0, 0.0, 0.0, 0.0)),
        ),
    ),
    # lows measured in it [°C]: 2 Nov -7.2, 3 Nov -7.8, 4 Nov -9.4
    Case(
        "from 52 F to 19 F within three days, early November",
        date(1991, 11, 5),
        date(1991, 11, 2),
        date(1991, 11, 5),
        "quick",
        (
            Row("fish", (0.97, 0.0, 0.0, 0.02, 0.34, 0.0), (0.0, 29.1, 85.0, 0.0, 0.0, 0.0)),
            Row("bare", (0.99, 0.0, 0.0, 0.02, 0.31, 0.0), (0.0, 99.0, 0.0, 0.0, 0.0, 0.0)),
            Row("hollow", (1.0, 0.0, 0.0, 0.01, 0.32, 0.0), (0.0, 60.0, 0.0, 0.0, 0.0, 0.0)),
            Row("deep", (0.98, 0.0, 0.0, 0.08, 0.07, 0.0), (0.0, 58.8, 0.0, 0.0, 0.0, 0.0)),
            Row("falls", (0.97, 0.0, 0.0, 0.03, 0.31, 0.0), (0.0, 48.5, 0.0, 0.0, 0.0, 0.0)),
            Row("buried", (0.97, 0.01, 0.0, 0.05, 0.29, 0.0), (1.2, 29.1, 0.0, 0.0, 0.0, 0.0)),
        ),
    ),
    # lows measured in it [°C]: 4 Nov 0, 5 Nov -2.2, 6 Nov -2.2, 7 Nov -2.2
    Case(
        "three nights at 28 F exactly",
        date(1998, 11, 8),
        date(1998, 11, 4),
        date(1998, 11, 8),
        "quick",
        (
            Row("bare", (0.07, 0.12, 0.03, 0.07, 0.01, 0.0), (48.0, 7.0, 0.0, 0.0, 1.8, 0.0)),
            Row("hollow", (0.38, 0.12, 0.0, 0.05, 0.01, 0.0), (28.8, 22.8, 0.0, 0.0, 0.0, 0.0)),
            Row("deep", (0.07, 0.1, 0.04, 0.01, 0.0, 0.01), (24.0, 4.2, 0.0, 0.0, 2.4, -0.1)),
            Row("falls", (0.08, 0.1, 0.06, 0.06, 0.01, 0.0), (20.0, 4.0, 0.0, 0.0, 3.6, 0.0)),
            Row("fish", (0.07, 0.09, 0.04, 0.07, 0.02, 0.0), (10.8, 2.1, 5.0, 0.0, 2.4, 0.0)),
            Row("buried", (0.08, 0.08, 0.05, 0.05, 0.01, 0.0), (9.6, 2.4, 0.0, 0.0, 3.0, 0.0)),
        ),
    ),
    # lows measured in it [°C]: 3 Dec -2.2, 4 Dec -6.7, 5 Dec -7.2, 6 Dec -3.3
    Case(
        "long mild fall, then collapse in December",
        date(2009, 12, 7),
        date(2009, 12, 3),
        date(2009, 12, 7),
        "quick",
        (
            Row("fish", (0.79, 0.1, 0.0, 0.08, 0.45, 0.0), (12.0, 23.7, 112.5, 0.0, 0.0, 0.0)),
            Row("bare", (0.76, 0.11, 0.0, 0.06, 0.39, 0.0), (44.0, 76.0, 0.0, 0.0, 0.0, 0.0)),
            Row("deep", (0.81, 0.07, 0.0, 0.13, 0.22, 0.0), (16.8, 48.6, 0.0, 0.0, 0.0, 0.0)),
            Row("hollow", (0.96, 0.02, 0.0, 0.06, 0.42, 0.0), (4.8, 57.6, 0.0, 0.0, 0.0, 0.0)),
            Row("falls", (0.76, 0.09, 0.0, 0.06, 0.41, 0.0), (18.0, 38.0, 0.0, 0.0, 0.0, 0.0)),
            Row("buried", (0.75, 0.08, 0.0, 0.07, 0.37, 0.0), (9.6, 22.5, 0.0, 0.0, 0.0, 0.0)),
        ),
    ),
    # lows measured in it [°C]: 6 Nov -1.6, 7 Nov -6.6, 8 Nov -9.3, 9 Nov -2.7, 10 Nov -1, 11 Nov -9.9
    Case(
        "the coldest November nights, after a week of frost",
        date(2019, 11, 12),
        date(2019, 11, 6),
        date(2019, 11, 12),
        "quick",
        (
            Row("fish", (0.99, 0.0, 0.0, 0.01, 0.49, 0.0), (0.0, 29.7, 122.5, 0.0, 0.0, 0.0)),
            Row("bare", (0.99, 0.0, 0.0, 0.02, 0.45, 0.0), (0.0, 99.0, 0.0, 0.0, 0.0, 0.0)),
            Row("hollow", (1.0, 0.0, 0.0, 0.04, 0.44, 0.0), (0.0, 60.0, 0.0, 0.0, 0.0, 0.0)),
            Row("deep", (1.0, 0.0, 0.0, 0.07, 0.23, 0.0), (0.0, 60.0, 0.0, 0.0, 0.0, 0.0)),
            Row("falls", (0.99, 0.0, 0.0, 0.04, 0.45, 0.0), (0.0, 49.5, 0.0, 0.0, 0.0, 0.0)),
            Row("buried", (1.0, 0.0, 0.0, 0.02, 0.43, 0.0), (0.0, 30.0, 0.0, 0.0, 0.0, 0.0)),
        ),
    ),
)


def main() -> None:
    default = Path(__file__).parents[2] / ".." / "shared" / "data" / "seasons" / "lakeshore"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    path = folder / "weather" / "MKE.csv"
    if not path.is_file():
        sys.exit(f"{path} is not there: name the lakeshore season folder.")
    record = path.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as made:
        for case in LAKESHORE:
            season = write_season(
                Path(made) / str(case.as_of), year=case.as_of.year, station="MKE", latitude=42.95,
                longitude=-87.9, elevation_m=204, record=record,
            )  # fmt: skip
            report = report_of(season, case.as_of)
            print(f"\n{case.name}\n{show(report)}")
            print("  by hand: " + " > ".join("/".join(group) for group in hand_order(case)))
            check(case, report)
    print(f"\n{len(LAKESHORE)} tables agree.")


if __name__ == "__main__":
    main()
