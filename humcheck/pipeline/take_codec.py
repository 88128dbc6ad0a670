"""Measured takes as bytes and back: what is kept of a take beside the bench file.

Typed reading by msgspec: bytes of other making give an error, never code that runs.
"""

from __future__ import annotations

import struct
from typing import Any

import msgspec
import numpy as np

from humcheck.comparison.material import MeasuredTake

_ARRAY, _COMPLEX = 1, 2
_PAIR = struct.Struct("<dd")


class DamagedTake(ValueError):
    """The bytes are no measured take of this version."""


def take_to_bytes(take: MeasuredTake) -> bytes:
    """Return a measured take as bytes."""
    return msgspec.msgpack.encode(take, enc_hook=_encoded)


def take_from_bytes(kept: bytes) -> MeasuredTake:
    """Return the take that `take_to_bytes` was given.

    Raises
    ------
    DamagedTake
        If the bytes are anything else.
    """
    try:
        return msgspec.msgpack.decode(kept, type=MeasuredTake, dec_hook=_of_type, ext_hook=_extended)
    except (msgspec.DecodeError, ValueError, TypeError, struct.error, RecursionError) as error:
        raise DamagedTake(str(error)) from error


def _encoded(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        header = msgspec.msgpack.encode((value.dtype.str, value.shape))
        data = np.ascontiguousarray(value).tobytes()
        return msgspec.msgpack.Ext(_ARRAY, struct.pack("<I", len(header)) + header + data)
    if isinstance(value, complex):
        return msgspec.msgpack.Ext(_COMPLEX, _PAIR.pack(value.real, value.imag))
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} cannot be kept")


def _extended(code: int, data: memoryview) -> Any:
    if code == _COMPLEX:
        return complex(*_PAIR.unpack(data))
    if code != _ARRAY:
        raise ValueError(f"unknown kind {code}")
    (size,) = struct.unpack_from("<I", data)
    dtype, shape = msgspec.msgpack.decode(data[4 : 4 + size], type=tuple[str, tuple[int, ...]])
    kind = np.dtype(dtype)
    if kind.hasobject:
        raise ValueError("objects are not kept")
    return np.frombuffer(data[4 + size :], dtype=kind).reshape(shape).copy()


def _of_type(kind: Any, value: Any) -> Any:
    """Accept what `_extended` made; a real number stands for a complex one that was written as such."""
    if kind is complex and isinstance(value, int | float | complex):
        return complex(value)
    if isinstance(value, np.ndarray):
        return value
    raise ValueError(f"{type(value).__name__} where {kind} was kept")
