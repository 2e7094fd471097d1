"""A plan in words: for the terminal and for paper."""

from __future__ import annotations

from html import escape

from backbench.bench_day.cautions import cautions
from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.documents.manifest import Manifest
from backbench.quantities.writing import exact, in_text

WARM_UP = "Warm up for 30 minutes with the load connected, the input terminated, no signal."


def rows(plan: Plan, done: set[str]) -> list[dict[str, object]]:
    """One row a step: whether it is recorded, and what to set."""
    return [
        {"n": n, "done": "x" if step.stem in done else "", **row_of(step)}
        for n, step in enumerate(plan.step, start=1)
    ]


def row_of(step: PlannedStep) -> dict[str, object]:
    conditions = step.conditions
    return {
        "file": step.file,
        "level": generator_text(step),
        "output": in_text(step.out_vrms, "V") if step.out_vrms else "",
        "load": "usual" if conditions.load_ohm is None else _load(conditions.load_ohm),
        "range": conditions.range or "",
        "play": stimulus_text(step),
        "power": in_text(step.power_w, "W") if step.power_w else "",
        "why": step.why,
    }


def stimulus_text(step: PlannedStep) -> str:
    """The stimulus in a few words."""
    facts = step.stimulus.model_dump()
    own = ", ".join(_outside(step))
    match step.stimulus.kind:
        case "tone":
            text = f"tone {_hz(facts['tone_hz'])}{_recorded(facts.get('full_scale_db'))}"
        case "tone through a resistor":
            ohm = in_text(facts["through_ohm"], "ohm")
            text = f"tone {_hz(facts['through_hz'])} through {ohm}"
        case "two tones":
            text = f"{' + '.join(_hz(f) for f in facts['tones_hz'])}, {in_text(facts['ratio'])}:1"
        case "square and sine":
            square, sine = facts["square_and_sine_hz"]
            text = f"square wave {_hz(square)} + {_hz(sine)}, 4:1"
        case "sweep":
            text = f"sweep {' to '.join(_hz(f) for f in facts['sweep_hz'])}"
        case "square":
            text = f"square wave {_hz(facts['square_hz'])}"
        case "multitone":
            text = f"{len(facts['multitone_hz'])} tones"
        case "idle":
            text = f"nothing ({facts['idle']})"
        case other:
            text = other
    return f"{text}, {own}" if own else text


def _recorded(db: float | None) -> str:
    return "" if db is None else f" at {exact(db, 'dB')} re full scale"


def _outside(step: PlannedStep) -> list[str]:
    remarks = [in_text(step.record_s, "s")] if step.record_s else []
    remarks += [f"{step.conditions.driven} driven only"] if step.conditions.driven else []
    return [*remarks, *(["generator into recorder"] if step.loop_back else [])]


def generator_text(step: PlannedStep) -> str:
    """What to set the generator to."""
    for key, unit in (("generator_vrms", "V"), ("generator_vpp", "V p-p")):
        level = getattr(step.stimulus, key, None)
        if level is not None:
            if level == "unknown":
                return "not known yet" if step.out_vrms else "by hand"
            return in_text(level, unit)
    return "off"


def _hz(hz: float) -> str:
    return in_text(hz, "Hz", 6)


def _load(load: float | str) -> str:
    return str(load) if isinstance(load, str) else in_text(load, "ohm")


def page(plan: Plan, manifest: Manifest) -> str:
    """The plan as a page to print: cautions, notes, a box to tick for each capture."""
    items = "".join(f"<li>{escape(line)}</li>" for line in cautions(manifest.unit))
    notes = "".join(f"<li>{escape(line)}</li>" for line in [WARM_UP, *plan.notes])
    names = list(row_of(plan.step[0])) if plan.step else []
    head = "".join(f"<th>{name}</th>" for name in ["", *names])
    body = "".join(
        "<tr><td>&#9744;</td>"
        + "".join(f"<td>{escape(str(value))}</td>" for value in row_of(step).values())
        + "</tr>\n"
        for step in plan.step
    )
    units = ", ".join(f"{unit.maker} {unit.model} ({unit.key})" for unit in manifest.unit)
    usual = manifest.conditions.load_ohm
    return PAGE.format(
        title=escape(f"Captures to take: {units}"), units=escape(units), cautions=items,
        notes=notes, head=head, body=body, key=escape(plan.review),
        load="not stated" if usual is None else escape(_load(usual)),
    )  # fmt: skip


PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title><style>
body {{ font: 10pt/1.35 serif; margin: 15mm; color: #111 }}
table {{ border-collapse: collapse; width: 100% }}
th, td {{ text-align: left; vertical-align: top; padding: 1.5mm 2mm }}
tr {{ border-bottom: 1px solid #999 }}
tr {{ page-break-inside: avoid }}
.cautions {{ border: 1px solid #111; padding: 2mm 6mm }}
</style></head><body>
<h1>{units}</h1><p>Review {key}. Usual load: {load}.</p>
<div class="cautions"><h2>Before anything is connected</h2><ul>{cautions}</ul></div>
<ul>{notes}</ul>
<table><thead><tr>{head}</tr></thead><tbody>
{body}</tbody></table>
</body></html>
"""
