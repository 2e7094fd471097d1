"""Keys of many parts are refused however they are spelled, and nothing else is taken for one."""

from __future__ import annotations

import pytest

from backbench.documents.validation import MAX_KEY_PARTS, parse_toml
from backbench.errors import UserError

DEEP = ".".join("a" * (MAX_KEY_PARTS + 1))
SPELLED = [
    f"{DEEP} = 1", f"x = {{ {DEEP} = 1 }}", f"[{DEEP}]\nx = 1", f"[[{DEEP}]]\nx = 1",
    f"x = [\n  {{ y = {{ {DEEP} = 2 }} }},\n]", DEEP.replace("a", '"b c"') + " = 1",
    DEEP.replace("a", "''") + " = 1", f"{DEEP.replace('.', '  .' + chr(9))} = 1",
    f'x = "\\""\n{DEEP} = 1', f"x = '''\n'''\n{DEEP} = 1", f"x = 1 # '\n{DEEP} = 1",
    f"x = {{ y = 1.5, {DEEP} = 1 }}", f"{'a' * 1000}.{DEEP} = 1",
]  # fmt: skip
TEXTS = [
    f'notes = "{DEEP}"', f"notes = '{DEEP}'", f'notes = """\n{DEEP}\n"""', f"# {DEEP}\nx = 1",
    f"notes = '''\n{DEEP} = 1\n'''", f"x = [{', '.join(['1.5'] * 100)}]",
    f"{DEEP[:-2]} = 1", 'notes = "..............................."',
]  # fmt: skip


@pytest.mark.parametrize("text", SPELLED)
def test_a_deep_key_is_refused_with_its_line(text: str) -> None:
    with pytest.raises(UserError, match=r"a key of 1[78] parts") as caught:
        parse_toml(f"first = 1\n{text}".encode(), "review.toml")
    line = next(
        n for n, one in enumerate(text.split("\n"), start=2) if one.count(".") >= len(DEEP) // 2
    )
    assert caught.value.faults[0].where == f"review.toml, line {line}"


@pytest.mark.parametrize("text", TEXTS)
def test_dots_elsewhere_are_no_key(text: str) -> None:
    assert parse_toml(text.encode(), "review.toml")
