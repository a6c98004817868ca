"""Two open daily weather series, read where packages installed for the tests keep them.

aquacrop 3.1.0 (Apache-2.0): champion_climate.txt, Champion, Nebraska, 1982-2018, temperatures,
rain and reference ET. pcse 6.0.13 (EUPL): NL1.976 to NL1.999, Wageningen (Haarweg), all that
FAO-56 asks for. Neither is copied here.
"""

from datetime import date, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path


def _package(name: str) -> Path:
    spec = find_spec(name)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


@cache
def champion_rows() -> list[tuple[date, dict[str, float]]]:
    """Day Month Year Tmin Tmax Prcp Et0, in °C and mm."""
    lines = (_package("aquacrop") / "data" / "champion_climate.txt").read_text().splitlines()[1:]
    rows = []
    for line in lines:
        day, month, year, tmin, tmax, rain, et0 = line.split()
        values = {"tmin_degc": tmin, "tmax_degc": tmax, "rain_mm": rain, "et0_mm": et0}
        on = date(int(float(year)), int(float(month)), int(float(day)))
        rows.append((on, {name: float(text) for name, text in values.items()}))
    return rows


@cache
def wageningen_rows() -> list[tuple[date, dict[str, float]]]:
    """Station, year, day of year, kJ/m², °C, °C, kPa, m/s, mm; -99 is nil."""
    rows = []
    for path in sorted((_package("pcse") / "tests" / "test_data").glob("NL1.9??")):
        for line in path.read_text(encoding="latin-1").splitlines():
            cells = line.split()
            if line.startswith("*") or len(cells) != 9:
                continue
            solar, tmin, tmax, ea, wind, rain = (float(cell) for cell in cells[3:])
            on = date(int(cells[1]), 1, 1) + timedelta(days=int(cells[2]) - 1)
            rows.append((on, {
                "tmin_degc": tmin, "tmax_degc": tmax, "rain_mm": rain, "ea_kpa": ea,
                "wind_2m_m_s": wind, "solar_mj_m2_d": solar / 1000,
            }))  # fmt: skip
    return rows
