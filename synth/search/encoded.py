"""Models and answers of CP-SAT as bytes: protocol buffers, for the few messages that are needed.

A model of clauses goes to the solver some ten thousand clauses at a time, and made through the
solver's own classes it took as long to hand over as to answer. The numbers of fields are those of
`cp_model.proto` and `sat_parameters.proto`, which OR-Tools publishes; the format is the one of
https://protobuf.dev/programming-guides/encoding (varints, tags of field number and wire type,
lengths before whatever has parts). Tests read these bytes with the classes made from these files.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping
from functools import cache

from synth.search.formula import Formula

VARINT, FIXED64, LENGTH = 0, 1, 2
"""Wire types: a varint, eight bytes, a length and so many bytes."""
_64_BITS = (1 << 64) - 1


def varint(value: int) -> bytes:
    """Return a whole number, of at most 64 bits with its sign, seven bits to a byte."""
    value &= _64_BITS
    found = bytearray()
    while value > 127:
        found.append(value & 127 | 128)
        value >>= 7
    found.append(value)
    return bytes(found)


def tag(field: int, wire: int) -> bytes:
    """Return what stands before the value of a field."""
    return varint(field << 3 | wire)


def part(field: int, data: bytes) -> bytes:
    """Return a field that is a message, or numbers one after the other."""
    return tag(field, LENGTH) + varint(len(data)) + data


# Fields of the messages: numbers of cp_model.proto.
CONSTRAINTS, BOOL_OR, LINEAR, EXACTLY_ONE = 3, 3, 12, 29
LITERALS = 1
VARIABLES, COEFFICIENTS, DOMAIN = 1, 2, 3
STATUS, SOLUTION, DETERMINISTIC_TIME = 1, 2, 17

EITHER = part(2, part(2, b"\x00\x01"))
"""A variable of a model (its field 2) with the domain (field 2) from 0 to 1."""
FIXED = {False: part(2, part(2, b"\x00\x00")), True: part(2, part(2, b"\x01\x01"))}
"""A variable that has one value."""

WRITTEN: dict[int, bytes] = {}
"""How each literal of a model is written: variable v is number v - 1, its opposite -v."""


class Encoder:
    """Turns a growing formula into the bytes of a model."""

    def __init__(self, formula: Formula) -> None:
        self._formula = formula
        self._constraints = bytearray()
        self._done = [0, 0, 0]
        """How many clauses, groups and sums have been written."""

    def model(self, assumed: Iterable[int]) -> bytes:
        """Return the model of the formula as it is now, with the literals `assumed` fixed."""
        self._write()
        size, variables = len(EITHER), bytearray(EITHER * self._formula.count)
        for literal in assumed:
            at = (abs(literal) - 1) * size
            variables[at : at + size] = FIXED[literal > 0]
        return bytes(variables + self._constraints)

    def _write(self) -> None:
        formula = self._formula
        clauses, groups, sums = self._done
        for variable in range(len(WRITTEN) // 2 + 1, formula.count + 1):
            WRITTEN.update({variable: varint(variable - 1), -variable: varint(-variable)})
        self._constraints += _clauses(formula.clauses[clauses:])
        for group in formula.exactly_one[groups:]:
            self._constraints += part(CONSTRAINTS, part(EXACTLY_ONE, _listed(group)))
        for members, weights, least, most in formula.sums[sums:]:
            numbers = b"".join(varint(member - 1) for member in members)
            weighed = b"".join(map(varint, weights))
            between = varint(least) + varint(most)
            linear = part(VARIABLES, numbers) + part(COEFFICIENTS, weighed) + part(DOMAIN, between)
            self._constraints += part(CONSTRAINTS, part(LINEAR, linear))
        self._done = [len(formula.clauses), len(formula.exactly_one), len(formula.sums)]


def _listed(literals: Iterable[int]) -> bytes:
    return part(LITERALS, b"".join(map(WRITTEN.__getitem__, literals)))


@cache
def _head(size: int) -> bytes:
    """Return what stands before so many bytes of literals, of which one is to hold."""
    head = b""
    for field in (LITERALS, BOOL_OR, CONSTRAINTS):
        head = tag(field, LENGTH) + varint(len(head) + size) + head
    return head


def _clauses(clauses: Iterable[Iterable[int]]) -> bytes:
    join, written = b"".join, WRITTEN.__getitem__
    lists = [join(map(written, clause)) for clause in clauses]
    return join([_head(len(data)) + data for data in lists])


def parameters(settings: Mapping[int, int | float]) -> bytes:
    """Return settings of the solver by field number: whole numbers and truth values as varints,
    others in eight bytes."""
    return b"".join(
        tag(field, FIXED64) + struct.pack("<d", value)
        if isinstance(value, float)
        else tag(field, VARINT) + varint(value)
        for field, value in settings.items()
    )


def read_answer(data: bytes) -> tuple[int, tuple[bool, ...], float]:
    """Return the status, the values of all variables (none without a solution) and the
    deterministic time of an answer. Raises ValueError where it is none."""
    status, values, effort, at = 0, b"", 0.0, 0
    while at < len(data):
        key, at = _read_varint(data, at)
        field, wire = key >> 3, key & 7
        size = 8 if wire == FIXED64 else 0
        if wire == VARINT:
            value, at = _read_varint(data, at)
            status = value if field == STATUS else status
        elif wire == LENGTH:
            size, at = _read_varint(data, at)
        elif wire != FIXED64:
            raise ValueError(f"wire type {wire} in an answer of the solver")
        if at + size > len(data):
            raise ValueError("an answer of the solver is cut short")
        if wire == FIXED64 and field == DETERMINISTIC_TIME:
            (effort,) = struct.unpack_from("<d", data, at)
        elif wire == LENGTH and field == SOLUTION:
            # Each value of a Boolean variable is one byte.
            values = data[at : at + size]
        at += size
    return status, tuple(map(bool, values)), effort


def _read_varint(data: bytes, at: int) -> tuple[int, int]:
    """Return a number and where the next thing is. Raises ValueError at the end of the data."""
    value = shift = 0
    while at < len(data):
        byte = data[at]
        at, value, shift = at + 1, value | (byte & 127) << shift, shift + 7
        if byte < 128:
            return value, at
    raise ValueError("an answer of the solver is cut short")
