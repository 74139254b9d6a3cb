"""Files of hours: what their days tell, by hand and by NumPy, and what is refused with its line."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.hours_file import days_of
from advisor.catalogue.load import load_run
from advisor.catalogue.schema_hourly import MONTHS, FileOfHours
from advisor.faults import FaultError

ROOT = Path(__file__).parents[2]


def rows(factors: list[float]) -> list[str]:
    """A year from 1 January 2026 of days with light from 06:00 to 18:00, each by its factor."""
    out = []
    start = datetime.datetime(2026, 1, 1)
    for day, factor in enumerate(factors):
        for hour in range(24):
            at = start + datetime.timedelta(days=day, hours=hour)
            out.append(f"{at.isoformat()},{300 * factor if 6 <= hour < 18 else 0:.6f}")
    return out


def weather() -> list[float]:
    rng = np.random.default_rng(3)
    out = [1.0]
    for _ in range(364):
        out.append(0.6 * out[-1] + 0.4 + 0.25 * rng.standard_normal())
    return [max(x, 0.05) for x in out]


def declared() -> FileOfHours:
    return FileOfHours(name="hours.csv", time="t", value="g", unit="W/m2")


def test_days_by_hand() -> None:
    found = days_of("\n".join(["t,g", *rows([1.0] * 365)]).encode(), declared())
    # twelve hours of 300 W/m2
    assert all(found.months[m].nominal == pytest.approx(300 * 12 * 3600) for m in MONTHS)
    assert found.dimension == "irradiation"
    assert (found.spread.nominal, found.persistence.nominal) == (0.0, 0.0)
    assert found.night.nominal == 12 * 3600
    assert found.count == 365


def test_spread_and_persistence_by_another_way() -> None:
    factors = np.array(weather())
    found = days_of("\n".join(["t,g", *rows(list(factors))]).encode(), declared())
    month = np.array(
        [(datetime.date(2026, 1, 1) + datetime.timedelta(days=d)).month for d in range(365)]
    )
    off = factors.copy()
    for m in range(1, 13):
        off[month == m] /= factors[month == m].mean()
    off -= 1
    assert found.spread.nominal == pytest.approx(np.sqrt((off**2).sum() / (365 - 12)), rel=1e-6)
    lag = (off[1:] * off[:-1]).mean() / (off**2).mean()
    assert found.persistence.nominal == pytest.approx(lag, rel=1e-6)


def test_other_marks_units_and_stamps() -> None:
    """The same day as a meter may write it: semicolons, decimal commas, ends of hours, mWh."""
    text = ["made by hand", "when;got"]
    for line in rows([1.0] * 365):
        at, value = line.split(",")
        end = datetime.datetime.fromisoformat(at) + datetime.timedelta(hours=1)
        text.append(f"{end.isoformat(sep=' ')};{value.replace('.', ',')}")
    found = days_of(
        "\n".join(text).encode(),
        FileOfHours(
            name="x", time="when", value="got", unit="mWh", stamp="end", skip=1,
            delimiter="semicolon", decimal="comma",
        ),
    )  # fmt: skip
    assert found.months["june"].nominal == pytest.approx(300 * 12 * 3.6)
    assert found.dimension == "energy"


SPRING, AUTUMN = datetime.datetime(2026, 3, 29, 1), datetime.datetime(2026, 10, 25, 1)
HOUR = datetime.timedelta(hours=1)


def by_the_clock(step: int = 1, at: int = 0) -> list[str]:
    """A year by the clock of a zone that is an hour ahead of UTC, two from SPRING to AUTUMN (in
    UTC), when days of light from 06:00 to 18:00 UTC are told; `at` hours after a row's start."""
    out = []
    utc = datetime.datetime(2025, 12, 31, 23, tzinfo=datetime.UTC)
    while (utc + HOUR).year < 2027:
        value = sum(300 for n in range(step) if 6 <= (utc.hour + n) % 24 < 18) / step
        stamp = utc + at * HOUR
        summer = SPRING <= stamp.replace(tzinfo=None) < AUTUMN
        zone = datetime.timezone(datetime.timedelta(hours=2 if summer else 1))
        out.append(f"{stamp.astimezone(zone).isoformat()},{value}")
        utc += step * HOUR
    return out


@pytest.mark.parametrize(("stamp", "at"), [("start", 0), ("end", 1)])
def test_clocks_that_are_put_forward_and_back(stamp: str, at: int) -> None:
    """A day has 23 rows, another 25; light is light, and the year has its days."""
    lines = by_the_clock(at=at)
    assert "2026-03-29T01:00:00+01:00,0.0" in lines
    assert "2026-03-29T03:00:00+02:00,0.0" in lines
    assert "2026-10-25T02:00:00+02:00,0.0" in lines
    assert "2026-10-25T02:00:00+01:00,0.0" in lines
    given = FileOfHours(name="hours.csv", time="t", value="g", unit="W/m2", stamp=stamp)
    found = days_of("\n".join(["t,g", *lines]).encode(), given)
    assert found.count == 365
    assert all(found.months[m].nominal == pytest.approx(300 * 12 * 3600) for m in MONTHS)
    # eleven or thirteen hours of a night on which the clock is changed, in a month of many
    assert found.night.nominal == pytest.approx(12 * 3600 + 3600 / 31)


def test_a_step_that_a_change_of_the_clock_does_not_fill() -> None:
    """Rows of three hours go on from the change by 02:00, 05:00 and so on; none is lost."""
    lines = by_the_clock(3)
    found = days_of("\n".join(["t,g", *lines]).encode(), declared())
    assert found.count == 365
    total = sum(found.months[m].nominal for m in MONTHS)
    assert total == pytest.approx(12 * 300 * 12 * 3600)


def test_a_clock_that_is_changed_at_midnight() -> None:
    """The day of spring begins at 01:00; in autumn the last hour of a day comes twice."""
    zone = {True: "+02:00", False: "+01:00"}
    start = datetime.datetime(2026, 1, 1)
    spring, autumn = datetime.datetime(2026, 4, 24), datetime.datetime(2026, 10, 29, 23)
    for stamp in ("start", "end"):
        lines = ["t,g"]
        for n in range(365 * 24):
            ahead = spring <= start + n * HOUR < autumn
            at = start + (n + (stamp == "end")) * HOUR
            on = spring <= at < autumn
            lines.append(f"{(at + on * HOUR).isoformat()}{zone[on]},{100 + ahead}")
        given = FileOfHours(name="x", time="t", value="g", unit="W/m2", stamp=stamp)
        found = days_of("\n".join(lines).encode(), given)
        assert found.count == 365
        april = (23 * 24 * 100 + (23 + 6 * 24) * 101) / 30
        assert found.months["april"].nominal == pytest.approx(april * 3600)


def test_times_in_utc_are_as_those_without_an_offset() -> None:
    plain = rows(weather())
    marked = [line.replace(",", "Z,") for line in plain]
    one, other = (
        days_of("\n".join(["t,g", *lines]).encode(), declared()) for lines in (plain, marked)
    )
    assert one.months == other.months
    assert (one.spread, one.persistence, one.night) == (
        other.spread,
        other.persistence,
        other.night,
    )


def _offset(text: str) -> str:
    return text.replace("2026-01-02T03:00:00", "2026-01-02T03:00:00+01:00")


def _all_but_one(text: str) -> str:
    return text.replace(":00:00,", ":00:00+01:00,").replace("02T03:00:00+01:00", "02T03:00:00")


BROKEN = [
    (_offset, 29, "with an offset from UTC"),
    (_all_but_one, 29, "with no offset from UTC"),
    (
        lambda t: t.replace(":00:00,", ":00:00Z,").replace("02T03:00:00Z", "02T03:00:00+01:00"),
        29,
        "0 s after the row before",
    ),
    (lambda text: text.replace("300.000000", "sun", 1), 8, '"sun"'),
    (lambda text: text.replace("300.000000", "-2", 1), 8, '"-2"'),
    (lambda text: text.replace("300.000000", "nan", 1), 8, '"nan"'),
    (lambda text: text.replace("2026-01-02T03:00:00", "yesterday"), 29, '"yesterday"'),
    (lambda text: text.replace("2026-01-02T03:00:00,0.000000\n", ""), 29, "7200 s"),
    (lambda text: text.replace("t,g", "t,h"), 1, '"g": no such column'),
    (lambda text: text.replace("t,g", "g,g"), 1, '"t": no such column'),
    (lambda text: "\n".join(text.split("\n")[:-1]), 8738, "23 rows on 2026-12-31"),
    (lambda text: text[: text.index("2026-12")], 8017, "fewer than 2 days in december"),
    (lambda text: text.replace("300.000000", "0"), 8761, "nothing but zeros"),
    (lambda text: text.replace("T05:00:00,0.000000", "T05:00:00,"), 7, "nothing"),
    (lambda _: "t,g\n", 1, "0 rows"),
]


@pytest.mark.parametrize(("broken", "line", "read"), BROKEN)
def test_what_is_broken_is_told_with_its_line(
    tmp_path: Path, broken: object, line: int, read: str
) -> None:
    text = "\n".join(["t,g", *rows([1.0] * 365)])
    (tmp_path / "hours.csv").write_text(broken(text))  # type: ignore[operator]
    product = (ROOT / "profiles" / "frost-post.yaml").read_text()
    product += (
        "harvest:\n  panel: {area: 10 cm2, efficiency: 10 %, price: 1}\n"
        "  charger: {efficiency: 80 %, price: 1}\n"
        "  file: {name: hours.csv, time: t, value: g, unit: W/m2}\n"
    )
    (tmp_path / "frost-post.yaml").write_text(product)
    with pytest.raises(FaultError) as error:
        load_run([ROOT / "catalog"], tmp_path / "frost-post.yaml", cached=True)
    fault = error.value.faults[0]
    assert fault.place is not None
    assert (fault.place.file, fault.place.line) == (str(tmp_path / "hours.csv"), line)
    assert read in fault.read
    assert fault.path == "frost-post:harvest.file"


def test_a_file_that_is_not_there_is_told_at_its_name(tmp_path: Path) -> None:
    product = (ROOT / "profiles" / "frost-post.yaml").read_text()
    product += "harvest:\n  file: {name: none.csv, time: t, value: g, unit: W}\n"
    (tmp_path / "frost-post.yaml").write_text(product)
    with pytest.raises(FaultError) as error:
        load_run([ROOT / "catalog"], tmp_path / "frost-post.yaml")
    assert "no such file" in error.value.faults[0].read
    assert error.value.faults[0].path == "frost-post:harvest.file.name"
