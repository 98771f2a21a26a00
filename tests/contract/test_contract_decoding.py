"""The quick decoder and construct are one: the same values, the same mistakes in the same places, for any layout."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from readoff.contract import Codec, declare, link_contract, record_contract
from readoff.contract.decoding import Decoder, Misfit
from readoff.errors import ContractError, MalformedError
from support.layouts import declarations, octets_for


def _said(codec: Codec, layout: str, octets: bytes, whole: bool, *, slowly: bool) -> Any:
    """What comes of octets: the values with the types of all that is in them, or the mistake in words."""
    try:
        if slowly:
            values = codec.parse_slowly(layout, octets, where="here", whole=whole)
        else:
            values = (codec.parse if whole else codec.parse_prefix)(layout, octets, where="here")
    except MalformedError as error:
        return error.sentence()
    return _typed(values)


def _typed(value: Any) -> Any:
    if isinstance(value, dict):
        return [(key, _typed(each)) for key, each in value.items()]  # the order of the fields too
    if isinstance(value, list):
        return [_typed(each) for each in value]
    return type(value).__name__, value


@given(declarations(), octets_for(), st.booleans(), st.data())
def test_any_layout_and_any_octets(
    table: dict[str, Any], octets: bytes, whole: bool, data: st.DataObject
) -> None:
    try:
        made = declare(table, "any.toml")
    except ContractError:
        return  # an array of nothing, for one
    codec = Codec(made)
    layout = data.draw(st.sampled_from(sorted(made.layouts)))
    quickly = _said(codec, layout, octets, whole, slowly=False)
    assert quickly == _said(codec, layout, octets, whole, slowly=True)


@given(st.sampled_from(sorted(record_contract().declarations.layouts)), octets_for(200))
def test_every_layout_of_a_record(layout: str, octets: bytes) -> None:
    codec = record_contract().codec
    for whole in (False, True):
        quickly = _said(codec, layout, octets, whole, slowly=False)
        assert quickly == _said(codec, layout, octets, whole, slowly=True)


@given(st.sampled_from(sorted(link_contract().declarations.layouts)), octets_for(80))
def test_every_layout_of_the_line(layout: str, octets: bytes) -> None:
    codec = link_contract().codec
    for whole in (False, True):
        quickly = _said(codec, layout, octets, whole, slowly=False)
        assert quickly == _said(codec, layout, octets, whole, slowly=True)


def test_what_fits_is_never_parsed_a_second_time(monkeypatch: Any) -> None:
    """The quick way is taken: construct is asked for a mistake alone."""
    codec, asked = record_contract().codec, []
    slow = codec.parse_slowly
    monkeypatch.setattr(
        codec, "parse_slowly", lambda *told, **more: asked.append(told) or slow(*told, **more)
    )
    octets = codec.build("snapshot_start", {"label": "zero-ws"})
    assert codec.parse("snapshot_start", octets) == {"label": "zero-ws"}
    assert not asked
    for wrong in (octets[:-1], octets + b"x"):
        try:
            codec.parse("snapshot_start", wrong)
        except MalformedError as error:
            assert "snapshot_start" in error.sentence()
    assert len(asked) == 2


def test_a_misfit_is_said_without_a_reason() -> None:
    decoder = Decoder(record_contract().declarations)
    for octets in (b"", b"\x05abc"):
        try:
            decoder.decode("snapshot_start", octets)
        except Misfit:
            continue
        raise AssertionError(octets)
