"""Malformed files by script: recordings, tables, manifests. Each a name and its bytes.

Some are sound though strange (an odd rate, a byte-order mark): those may be read, but then to
finite numbers of the shape that their header tells.
"""

# ruff: noqa: E501  (tables of oddities read best a line each)

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from functools import partial

import numpy as np
import polars as pl
import soundfile

from corpus.hostile_headers import hostile_headers
from corpus.malformed_sheets import sheets

CONTAINERS = (
    ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("RF64", "PCM_24"), ("W64", "PCM_24"),
    ("FLAC", "PCM_24"), ("AIFF", "PCM_24"), ("CAF", "PCM_24"),
)  # fmt: skip


def recording(container: str, subtype: str, rate: int = 48000, tracks: int = 2) -> bytes:
    """A sound recording of 2,400 samples."""
    wave = 0.3 * np.sin(np.arange(2400 * tracks) * 0.1).reshape(-1, tracks)
    out = io.BytesIO()
    soundfile.write(out, wave, rate, format=container, subtype=subtype)
    return out.getvalue()


def recordings() -> Iterator[tuple[str, bytes]]:
    """Headers that lie, bodies cut short, bytes flipped, values that are none."""
    for container, subtype in CONTAINERS:
        whole = recording(container, subtype)
        name = f"{container}-{subtype}".lower()
        for share in (0, 4, 11, 12, 20, 36, 44, 60, 100, len(whole) // 2, len(whole) - 1):
            yield f"{name}-cut-at-{share}.bin", whole[:share]
        for seed in range(12):
            yield f"{name}-flipped-{seed}.bin", _flipped(whole, seed, head=seed < 9)
        yield f"{name}-with-rubbish-after.bin", whole + b"\xff" * 1000
        yield f"{name}-zeros-after-64.bin", whole[:64] + bytes(len(whole) - 64)
    yield from _wav_headers()
    yield from hostile_headers()
    yield from _values()
    for rate in (1, 7, 8001, 44056, 47952, 352_800, 768_000, 1_999_999):
        yield f"odd-rate-{rate}.wav", recording("WAV", "PCM_24", rate)
    for subtype in ("PCM_U8", "ULAW", "ALAW", "IMA_ADPCM", "GSM610"):
        yield f"coarse-{subtype}.wav", recording("WAV", subtype, 8000, 1)


def _flipped(data: bytes, seed: int, *, head: bool) -> bytes:
    noisy, chance = bytearray(data), np.random.default_rng(seed)
    for place in chance.integers(0, min(len(data), 80) if head else len(data), size=6):
        noisy[place] = int(chance.integers(256))
    return bytes(noisy)


def _wav_headers() -> Iterator[tuple[str, bytes]]:
    """A plain WAV header with one field at a time that lies."""
    lies = {
        "zero-tracks": {"tracks": 0}, "65535-tracks": {"tracks": 65535}, "65-tracks": {"tracks": 65},
        "rate-0": {"rate": 0}, "rate-4-ghz": {"rate": 0xFFFFFFFF}, "bits-0": {"bits": 0},
        "bits-1": {"bits": 1}, "bits-255": {"bits": 255}, "align-0": {"align": 0},
        "align-1": {"align": 1}, "claims-2-gb": {"data": 0x7FFFFFFF}, "claims-4-gb": {"data": 0xFFFFFFFE},
        "unknown-size": {"data": 0xFFFFFFFF, "riff": 0xFFFFFFFF}, "data-0": {"data": 0},
        "riff-0": {"riff": 0}, "format-0": {"tag": 0}, "format-mp3": {"tag": 0x55},
        "format-float-16-bit": {"tag": 3, "bits": 16}, "extensible-without-more": {"tag": 0xFFFE},
        "fmt-4-gb-long": {"fmt": 0xFFFFFFFF}, "fmt-2-long": {"fmt": 2},
    }  # fmt: skip
    for name, lie in lies.items():
        for body in (0, 9600):
            yield f"header-{name}-{body}.wav", _wav(bytes(body), **lie)


def _wav(body: bytes, **lie: int) -> bytes:
    f = {"riff": 36 + len(body), "fmt": 16, "tag": 1, "tracks": 2, "rate": 48000, "align": 4,
         "bits": 16, "data": len(body)} | lie  # fmt: skip
    return (
        b"RIFF" + struct.pack("<I", f["riff"]) + b"WAVEfmt "
        + struct.pack("<IHHIIHH", f["fmt"], f["tag"], f["tracks"], f["rate"],
                      (f["rate"] * 4) & 0xFFFFFFFF, f["align"], f["bits"])
        + b"data" + struct.pack("<I", f["data"]) + body
    )  # fmt: skip


def _values() -> Iterator[tuple[str, bytes]]:
    special = {
        "nan": np.nan, "infinite": np.inf, "minus-infinite": -np.inf, "denormal": 1e-310,
        "huge": 1e300, "greatest": np.finfo(np.float64).max,
    }  # fmt: skip
    for name, value in special.items():
        for places in (slice(100, 101), slice(None)):
            wave = np.zeros((4800, 2))
            wave[places, 1] = value
            out = io.BytesIO()
            soundfile.write(out, wave, 48000, format="WAV", subtype="DOUBLE")
            yield f"value-{name}-{'all' if places.start is None else 'one'}.wav", out.getvalue()


def tables() -> Iterator[tuple[str, bytes]]:
    """Text and Parquet that is no table of numbers, or is one in a strange dress."""
    good = "f,a\n" + "".join(f"{10 * n},{-n / 10}\n" for n in range(1, 60))
    texts = {
        "bom": "\ufeff" + good, "ragged-more": good + "1,2,3\n", "ragged-less": good + "7\n",
        "empty": "", "header-only": "f,a\n", "blank-lines": "\n\n\n", "comments-only": "# f,a\n" * 9,
        "formula": good + "=1+1,2\n", "formula-dde": good + "=cmd|' /C calc'!A0,1\n",
        "at-sign": good + "@SUM(A1),1\n", "decimal-commas": good.replace(".", ","),
        "semicolons": good.replace(",", ";"), "nan": good + "nan,1\n", "inf": good + "1,inf\n",
        "minus-inf": good + "1,-inf\n", "denormal": good + "700,1e-320\n", "huge": good + "700,1e308\n",
        "overflow": good + "700,1e999\n", "twice-a-column": good.replace("f,a", "f,f", 1),
        "no-such-column": good.replace("f,a", "x,y", 1), "unclosed-quote": good + '"12,3\n',
        "quotes-over-lines": good + '"1\n2",3\n', "nul": good + "1\x00,2\n", "controls": good + "\x1b[2J,\x07\n",
        "old-mac-lines": good.replace("\n", "\r"), "dos-lines": good.replace("\n", "\r\n"),
        "arabic-digits": good + "١,٢\n", "underscores": good + "1_000,2\n", "hex": good + "0x10,1\n",
        "spaces": good.replace(",", " , "), "tabs": good.replace(",", "\t"), "negative": good + "-5,1\n",
        "zero-hertz": good + "0,1\n", "descending": "f,a\n3,1\n2,1\n1,1\n", "equal-hertz": "f,a\n5,1\n5,2\n",
        "one-row": "f,a\n5,1\n", "long-cell": "f,a\n" + "9" * 200_000 + ",1\n", "long-header": "f" * 10**6 + ",a\n1,2\n",
        "html": "<html><body>f,a</body></html>", "json": '{"f": [1], "a": [2]}', "million-columns": ",".join(f"c{n}" for n in range(10**6)) + "\n" + ",".join("1" for _ in range(10**6)) + "\n",
        "million-commas": "f,a\n" + "," * 10**6 + "\n", "only-commas": "," * 1000 + "\n", "quotes": '"' * 10001,
    }  # fmt: skip
    for name, text in texts.items():
        yield f"table-{name}.csv", text.encode()
    for codec in ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252"):
        yield f"table-{codec}.csv", (good.replace("f,a", "f,a,é") + "").encode(codec)
    yield "table-half-utf-8.csv", good.encode() + b"1,2\xc3"
    yield from _parquets()


def _parquets() -> Iterator[tuple[str, bytes]]:
    numbers = [float(n) for n in range(1, 60)]
    frames = {
        "sound": {"f": numbers, "a": numbers}, "integers": {"f": list(range(1, 60)), "a": numbers},
        "text": {"f": [str(n) for n in numbers], "a": numbers}, "words": {"f": ["x"] * 59, "a": numbers},
        "lists": {"f": [[n] for n in numbers], "a": numbers}, "truths": {"f": [True] * 59, "a": numbers},
        "nothing": {"f": [None] * 59, "a": numbers}, "no-rows": {"f": [], "a": []},
        "nan": {"f": [float("nan")] * 59, "a": numbers}, "holes": {"f": [None, *numbers[1:]], "a": numbers},
        "bytes": {"f": [b"x"] * 59, "a": numbers}, "structs": {"f": [{"x": n} for n in numbers], "a": numbers},
        "other-columns": {"x": numbers, "y": numbers},
    }  # fmt: skip
    for name, columns in frames.items():
        out = io.BytesIO()
        pl.DataFrame(columns).write_parquet(out)
        yield f"parquet-{name}.parquet", out.getvalue()
        if name == "sound":
            whole = out.getvalue()
            for share in (4, 8, len(whole) // 2, len(whole) - 4):
                yield f"parquet-cut-at-{share}.parquet", whole[:share]
            for seed in range(12):
                yield f"parquet-flipped-{seed}.parquet", _flipped(whole, seed, head=False)


def manifests(many: int) -> Iterator[tuple[str, bytes]]:
    """TOML bombs and texts that are no manifest; many: entries of those that have many."""
    texts = {
        "empty": "", "nested-lists": "x = " + "[" * 100_000 + "]" * 100_000,
        "nested-tables": "x = " + "{a=" * 50_000 + "1" + "}" * 50_000,
        "dotted": ".".join(["a"] * 50_000) + " = 1", "table-header": "[" + ".".join(["a"] * 50_000) + "]",
        "many-tables": "".join(f"[t{n}]\n" for n in range(many)),
        "many-captures": "[[capture]]\n" * many, "long-number": "x = " + "9" * 100_000,
        "long-text": 'x = "' + "y" * 3_000_000 + '"', "twice": "[review]\n[review]\n", "open": "[review",
        "nul": "[review]\nkey = '\x00'", "escape": "[review]\nkey = \"\\u001b[2J\"",
        "too-long": "#" * 5_000_000, "year-10000": "[review]\ndate = 10000-01-01",
        "infinite": "[review]\nmains_hz = inf", "nan": "[review]\nmains_hz = nan",
    }  # fmt: skip
    for name, text in texts.items():
        yield f"manifest-{name}.toml", text.encode()
    for codec in ("utf-16", "utf-32", "latin-1"):
        yield f"manifest-{codec}.toml", "[review]\ntitle = 'é'".encode(codec)
    chance = np.random.default_rng(1)
    for n in range(10):
        yield f"manifest-rubbish-{n}.toml", chance.bytes(2000)


def corpus(many: int) -> Iterator[tuple[str, str, bytes]]:
    """Everything: kind (recording, table, manifest, sheet), name, bytes."""
    kinds = {
        "recording": recordings, "table": tables, "manifest": partial(manifests, many),
        "sheet": sheets,
    }  # fmt: skip
    for kind, files in kinds.items():
        for name, data in files():
            yield kind, name, data
