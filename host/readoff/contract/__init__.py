"""The contract both sides are made from: protocols/*.toml as parsers, builders and the NASM include."""

from readoff.contract.codec import Codec
from readoff.contract.declared import Contract, link_contract, record_contract
from readoff.contract.language import Declarations, Field, Layout, declare

__all__ = [
    "Codec",
    "Contract",
    "Declarations",
    "Field",
    "Layout",
    "declare",
    "link_contract",
    "record_contract",
]
