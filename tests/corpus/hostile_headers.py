"""Headers of recordings that claim more than there is, or make a reader go round and round.

Chunks of no length in large number, tables of four billion entries, lists within lists, sizes of
64 bits and below zero, blocks of nothing: written by hand after the layouts of the containers.
"""

# ruff: noqa: E501  (a header a line)

from __future__ import annotations

import io
import struct
from collections.abc import Iterator

import numpy as np
import soundfile

MOST = 0xFFFFFFFF
MANY = 100_000
SOUND = np.random.default_rng(1).bytes(6000)


def hostile_headers() -> Iterator[tuple[str, bytes]]:
    for family in (_wav, _rf64, _w64, _aiff, _caf, _au, _flac):
        for name, data in family().items():
            yield f"hostile-{name}.bin", data


def _chunk(name: bytes, body: bytes = b"", size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(body) if size is None else size) + body


def _fmt(tracks: int = 2, rate: int = 48000, tag: int = 1) -> bytes:
    second = (rate * 6) & MOST
    return _chunk(b"fmt ", struct.pack("<HHIIHH", tag, tracks, rate, second, 6, 24))


def _riff(*chunks: bytes) -> bytes:
    body = b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body


def _wav() -> dict[str, bytes]:
    data = _chunk(b"data", SOUND)
    loops = struct.pack("<9I", *[0] * 7, MOST, 0)
    nested = b"".join(_chunk(b"LIST", b"INFO", 12 * (5000 - n)) for n in range(5000))
    block = struct.pack("<HHIIHHHH", 0x11, 2, 48000, 48000, 65535, 4, 2, 65535)
    return {
        "wav-empty-chunks": _riff(_fmt(), _chunk(b"junk") * MANY, data),
        "wav-unknown-chunks": _riff(_fmt(), _chunk(b"abcd") * MANY, data),
        "wav-zeros": _riff(_fmt(), bytes(8 * MANY), data),
        "wav-formats": _riff(_fmt() * (MANY // 3), data),
        "wav-empty-data": _riff(_fmt(), _chunk(b"data") * MANY),
        "wav-cues": _riff(_fmt(), _chunk(b"cue ", struct.pack("<I", MOST) + bytes(24)), data),
        "wav-loops": _riff(_fmt(), _chunk(b"smpl", loops), data),
        "wav-nested": _riff(_fmt(), nested, data),
        "wav-labels": _riff(_fmt(), _chunk(b"LIST", b"adtl" + _chunk(b"labl", b"abcd") * MANY), data),
        "wav-text": _riff(_fmt(), _chunk(b"LIST", b"INFO" + _chunk(b"INAM", b"ab", MOST)), data),
        "wav-bext": _riff(_fmt(), _chunk(b"bext", b"a" * 700, MOST - 15), data),
        "wav-peaks": _riff(_fmt(tracks=65535), _chunk(b"PEAK", bytes(8000)), data),
        "wav-64-tracks": _riff(_fmt(tracks=64), _chunk(b"data", SOUND, MOST)),
        "wav-blocks": _riff(_chunk(b"fmt ", block), data),
    }  # fmt: skip


def _rf64() -> dict[str, bytes]:
    def made(riff: int, data: int, frames: int, table: int = 0, entries: bytes = b"") -> bytes:
        sizes = struct.pack("<QQQI", riff, data, frames, table) + entries
        head = b"RF64" + struct.pack("<I", MOST) + b"WAVE"
        return head + _chunk(b"ds64", sizes) + _fmt() + _chunk(b"data", SOUND, MOST)

    below = (1 << 64) - 1
    return {
        "rf64-huge": made(1 << 62, 1 << 62, 1 << 60),
        "rf64-below-zero": made(below, below, below),
        "rf64-table": made(1 << 40, 1 << 40, 1 << 38, MOST),
        "rf64-entries": made(6072, 6000, 1000, MANY, bytes(12 * MANY)),
        "rf64-without": b"RF64" + struct.pack("<I", MOST) + b"WAVE" + _fmt() + _chunk(b"data", SOUND),
    }  # fmt: skip


def _w64() -> dict[str, bytes]:
    buffer = io.BytesIO()
    soundfile.write(buffer, np.zeros((1000, 2)), 48000, format="W64", subtype="PCM_24")
    whole = buffer.getvalue()
    guid = bytes.fromhex("f3acd3118cd100c04f8edb8a")
    place = whole.index(b"data" + guid)
    result = {}
    for name, size, number in (("empty", 24, MANY), ("none", 0, MANY), ("below-zero", -24, 100)):
        between = (b"junk" + guid + struct.pack("<q", size)) * number
        result[f"w64-{name}"] = whole[:place] + between + whole[place:]
    return result


def _aiff() -> dict[str, bytes]:
    def form(*chunks: bytes) -> bytes:
        body = b"".join(chunks)
        return b"FORM" + struct.pack(">I", len(body) + 4) + b"AIFF" + body

    def chunk(name: bytes, body: bytes = b"", size: int | None = None) -> bytes:
        return name + struct.pack(">I", len(body) if size is None else size) + body

    def common(tracks: int = 2, frames: int = 1000, rate: str = "400ebb80000000000000") -> bytes:
        return chunk(b"COMM", struct.pack(">hIh", tracks, frames, 24) + bytes.fromhex(rate))

    data = chunk(b"SSND", bytes(8) + SOUND)
    return {
        "aiff-empty-chunks": form(common(), chunk(b"ANNO") * MANY, data),
        "aiff-unknown-chunks": form(common(), chunk(b"abcd") * MANY, data),
        "aiff-marks": form(common(), chunk(b"MARK", b"\xff\xff"), data),
        "aiff-many-marks": form(common(), chunk(b"MARK", b"\xff\xff" + bytes(8 * 65535)), data),
        "aiff-comments": form(common(), chunk(b"COMT", b"\xff\xff" + bytes(8 * 65535)), data),
        "aiff-loop": form(common(), chunk(b"basc", bytes(100), MOST - 15), data),
        "aiff-tracks": form(common(tracks=32767, frames=MOST), data),
        "aiff-rate": form(common(rate="7fff8000000000000000"), data),
        "aiff-size": form(common(), chunk(b"SSND", bytes(8) + SOUND, MOST)),
    }  # fmt: skip


def _caf() -> dict[str, bytes]:
    def chunk(name: bytes, body: bytes = b"", size: int | None = None) -> bytes:
        return name + struct.pack(">q", len(body) if size is None else size) + body

    def described(kind: bytes = b"lpcm", packet: int = 6, frames: int = 1) -> bytes:
        words = struct.pack(">d4sIIIII", 48000.0, kind, 0, packet, frames, 2, 24)
        return b"caff\x00\x01\x00\x00" + chunk(b"desc", words)

    data = chunk(b"data", bytes(4) + SOUND)
    packets = struct.pack(">qqii", 1 << 40, 1 << 60, 0, 0) + b"\x81" * 1000
    result = {
        "caf-empty-chunks": described() + chunk(b"free") * MANY + data,
        "caf-unknown-chunks": described() + chunk(b"abcd") * MANY + data,
        "caf-huge": described() + chunk(b"info", bytes(10), 1 << 62) + data,
        "caf-strings": described() + chunk(b"info", b"\xff" * 4 + b"a\0b\0" * MANY) + data,
        "caf-peaks": described() + chunk(b"peak", bytes(8 * MANY)) + data,
        "caf-packets": described(b"alac", 0, 4096) + chunk(b"kuki", bytes(24))
        + chunk(b"pakt", packets) + data,
        "caf-packet-size": described(packet=MOST) + data,
        "caf-layout": described() + chunk(b"chan", bytes(8) + b"\xff" * 4 + bytes(100)) + data,
    }  # fmt: skip
    for size in (-1, -12, -24):
        for name in (b"abcd", b"free", b"info"):
            spoiled = described() + chunk(name, size=size) + data
            result[f"caf-{name.decode()}{size}"] = spoiled
    return result


def _au() -> dict[str, bytes]:
    def made(offset: int = 24, size: int = MOST, tracks: int = 2) -> bytes:
        return b".snd" + struct.pack(">5I", offset, size, 4, 48000, tracks) + SOUND

    return {"au-offset": made(offset=MOST - 15), "au-tracks": made(tracks=MOST),
            "au-size": made(size=0x7FFFFFFF)}  # fmt: skip


def _flac() -> dict[str, bytes]:
    buffer = io.BytesIO()
    noise = 0.1 * np.random.default_rng(1).normal(size=(5000, 2))
    soundfile.write(buffer, noise, 48000, format="FLAC", subtype="PCM_24")
    whole = buffer.getvalue()
    frames = whole[whole.index(b"\xff\xf8", 42) :]

    def begun(total: int, last: bool = True) -> bytes:
        """The stream's own block, with another number of samples."""
        head = bytearray(whole[:42])
        head[4] = 0x80 if last else 0
        head[21] = (head[21] & 0xF0) | total >> 32
        head[22:26] = struct.pack(">I", total & MOST)
        return bytes(head)

    def block(kind: int, body: bytes) -> bytes:
        return bytes([kind]) + struct.pack(">I", len(body))[1:] + body

    last, start = block(0x81, b""), begun(5000, last=False)
    picture = struct.pack(">8I", 3, MOST, MOST, 1, 1, 24, 0, MOST)
    return {
        "flac-empty-blocks": start + block(1, b"") * MANY + last + frames,
        "flac-comments": start + block(0x84, struct.pack("<II", 0, MOST)) + frames,
        "flac-vendor": start + block(0x84, struct.pack("<II", MOST, 0)) + frames,
        "flac-picture": start + block(0x86, picture) + frames,
        "flac-cues": start + block(0x85, bytes(395) + b"\xff") + frames,
        "flac-seek-table": start + block(0x83, b"\xff" * 18 * MANY) + frames,
        "flac-no-length": begun(0) + frames,
        "flac-days": begun((1 << 36) - 1) + frames,
        "flac-noise": begun(4_000_000) + SOUND * 300,
        "flac-false-frames": begun(4_000_000) + b"\xff\xf8\xc9\x18\x00" * MANY,
        "flac-one-frame": begun(4_000_000) + frames[: len(frames) // 2] * 100,
    }  # fmt: skip
