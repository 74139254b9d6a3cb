"""Quotes put onto parts that stand: by name, with their comments, and what does not fit is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.load import load_catalogue
from advisor.faults import FaultError
from advisor.studies.sheets import QuoteAnswer, quote, quote_notes

KAV = """\
# soldered by hand
part: orlen-kav
price:
  currency: EUR  # as ever
  breaks:
    1: 1.12  # by the piece
    1000: 0.71
  multiple: 10
  lead-time: 12 weeks  # asked by phone
"""
POJ = "part: sundry-poj\nprice: {currency: EUR, breaks: {1: 2.00, 100: 1.50}}\n"
TUL = "part: orlen-tul  # no price yet\n"
MAP = """\
decimal: comma
thousands: point
part: Item
rows: {quantity: Qty}
names: {SP-0815: sundry-poj}
keys:
  price.breaks.{quantity}: Unit price
  price.currency: Cur
  price.lead-time: {column: Lead, unit: weeks}
  price.multiple: Mult
  price.stock: Stock
minimum-order: MOQ
constants: {price.offer: quote 4711, price.date: 2026-11-20}
"""
HEAD = "Item;Qty;Unit price;Cur;Lead;MOQ;Mult;Stock\n"


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    """A catalogue of three parts."""
    parts = tmp_path / "ours" / "parts"
    parts.mkdir(parents=True)
    for name, text in (("orlen-kav", KAV), ("sundry-poj", POJ), ("orlen-tul", TUL)):
        (parts / f"{name}.yaml").write_text(text, "utf-8")
    return parts.parent


def quoted(ours: Path, rows: str, text: str = MAP) -> QuoteAnswer:
    """The answer to a quote, its files written."""
    (ours.parent / "quote.csv").write_text(HEAD + rows, "utf-8")
    (ours.parent / "map.yaml").write_text(text, "utf-8")
    found = quote(ours.parent / "quote.csv", ours.parent / "map.yaml", ours)
    for path, written in found.files.items():
        path.write_text(written, "utf-8")
    return found


def test_a_quote_goes_onto_parts_and_keeps_their_comments(ours: Path) -> None:
    rows = "ORLEN KAV;1;1,20;EUR;10;;50;4.500\nOrlen Kav;1.000;0,74;EUR;10;;50;4.500\n"
    found = quoted(ours, rows)
    assert (ours / "parts" / "orlen-kav.yaml").read_text("utf-8") == (
        "# soldered by hand\npart: orlen-kav\nprice:\n  currency: EUR  # as ever\n  breaks:\n"
        "    1: 1.20  # by the piece\n    1000: 0.74\n  multiple: 50\n"
        "  lead-time: 10 weeks  # asked by phone\n  offer: quote 4711\n  date: 2026-11-20\n"
        "  stock: 4500\n"
    )
    (part,) = found.parts
    assert part.breaks == {1: 1.20, 1000: 0.74}
    assert part.before == {1: 1.12, 1000: 0.71}
    assert found.silent == ("orlen-tul", "sundry-poj")
    price = load_catalogue([ours]).parts["orlen-kav"].price
    assert price is not None
    assert (price.multiple, price.stock, price.offer) == (50, 4500, "quote 4711")
    # a second time nothing changes
    assert quoted(ours, rows).files == {}


def test_breaks_of_the_offer_before_do_not_stay(ours: Path) -> None:
    found = quoted(ours, "SP-0815;10;1,80;EUR;;;;\nnobody;1;1,00;EUR;;;;\n")
    assert load_catalogue([ours]).parts["sundry-poj"].price.breaks.keys() == {10}  # type: ignore[union-attr]
    assert found.unknown == ("nobody",)
    notes = "\n".join(quote_notes(found))
    assert "names that no part of the catalogue bears: nobody" in notes
    assert "parts that the quote says nothing of: orlen-kav, orlen-tul" in notes


def test_a_minimum_order_lifts_the_least_break(ours: Path) -> None:
    rows = "orlen-kav;1;1,20;EUR;;100;;\norlen-kav;10;1,10;EUR;;100;;\n"
    rows += "orlen-kav;1000;0,74;EUR;;100;;\norlen-tul;100;2,00;EUR;;100;;\n"
    found = quoted(ours, rows)
    kav, tul = found.parts
    assert kav.breaks == {100: 1.10, 1000: 0.74}
    assert (kav.below_minimum, kav.minimum_order) == ((1, 10), 100)
    assert (tul.breaks, tul.before) == ({100: 2.0}, None)
    assert kav.stays == ("multiple", "lead-time")
    assert "orlen-kav: sold from 100 pieces, so no price at 1, 10" in list(quote_notes(found))


def test_currencies_are_told(ours: Path) -> None:
    rows = "orlen-kav;1;$ 1,20;USD;;;;\nsundry-poj;1;2,10 €;EUR;;;;\n"
    found = quoted(ours, rows)
    assert found.currencies == {"USD": 1, "EUR": 1}
    assert any("several currencies: USD (1), EUR (1)" in note for note in quote_notes(found))
    with pytest.raises(FaultError, match=r'price\.currency: read "EUR"; expected "USD"'):
        quoted(ours, "orlen-kav;1;1,20;USD;;;;\norlen-kav;10;1,00;EUR;;;;\n")
    with pytest.raises(FaultError, match=r'price\.currency: read "(EUR|USD)"'):
        quoted(ours, "orlen-kav;1;€ 1,20;USD;;;;\n")
    own = MAP.replace("  price.currency: Cur\n", "")
    with pytest.raises(FaultError, match="a price without one"):
        quoted(ours, "orlen-kav;1;1,20;;;;;\n", own)
    with pytest.raises(FaultError, match="several have this sign"):
        quoted(ours, "orlen-kav;1;$1,20;;;;;\n", own)
    assert quoted(ours, "orlen-kav;1;€1,20;;;;;\n", own).currencies == {"EUR": 1}
    # only rows of one currency
    only = MAP + "only-where: {Cur: [EUR]}\n"
    rows = "orlen-kav;1;1,20;USD;;;;\norlen-kav;1;1,10;EUR;;;;\n"
    assert quoted(ours, rows, only).parts[0].breaks[1] == 1.10


def test_what_is_no_quote_is_refused(ours: Path) -> None:
    before = {path: path.read_bytes() for path in (ours / "parts").iterdir()}
    with pytest.raises(FaultError, match="a key of the price: catalog import --update"):
        quoted(ours, "orlen-kav;1;1;EUR;;;;\n", MAP.replace("price.stock", "memory.flash"))
    with pytest.raises(FaultError, match='"orlen-kav" without a price'):
        quoted(ours, "orlen-kav;1;;EUR;;;;\n")
    with pytest.raises(FaultError, match=r"quote\.csv:2:3: .*an?.* money") as error:
        quoted(ours, "orlen-kav;1;on request;EUR;soon;;1,5;\n")
    assert [f.place.column for f in error.value.faults if f.place] == [3, 5, 7]
    with pytest.raises(FaultError, match=r"what it is of, in column B of this row"):
        quoted(ours, "orlen-kav;;1,20;EUR;;;;\n")
    assert {path: path.read_bytes() for path in before} == before
