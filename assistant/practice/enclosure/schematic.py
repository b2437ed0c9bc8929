"""The simulated enclosure as a plain drawing: SVG for the browser, blocks for the terminal.

Made from the enclosure file alone. Every state has a shape and a word as well as a shade, so that it reads without
colour: dirty is hatched, wet has waves and the time it has been wet, done has a tick, partly done a dash, spoiled a cross, carried
dirt an arrow.
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.sax.saxutils import escape

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.procedure.model.plan import WET, Step

DIRTY, WET_NOW, PART, SOME_DONE, DONE, SPOILED, CARRIED = "dirty", "wet", "part wet", "partly done", "done", "spoiled", "dirt carried"
# state -> (fill, stroke, ink, mark for the terminal)
_LOOK = {
    DIRTY: ("url(#hatch)", "#6b5d4d", "#3d3329", "////"), WET_NOW: ("#cfe6fb", "#1565c0", "#0b3c78", "~~~~"),
    PART: ("url(#half)", "#1565c0", "#0b3c78", "~~.."),
    SOME_DONE: ("#f4f8ec", "#558b2f", "#33591a", " -- "), DONE: ("#e3f4e3", "#2e7d32", "#1b5e20", " ok "),
    SPOILED: ("#fbe0dc", "#b71c1c", "#7f1010", "XXXX"), CARRIED: ("#fff0c9", "#b26a00", "#6b3f00", "->->"),
}
_HANDS = {"room": "outside", "gauntlets": "in the gauntlets", "window": "in through the window"}
_SPOILED_DIRT = 9
_W, _H, _GAP, _COLS, _HEAD = 176, 66, 10, 4, 34


@dataclass(frozen=True, slots=True)
class Cell:
    """One surface as shown: `since_s`: how long it has been wet, or 0; `wanted_s`: how long it must be; `how`: what
    "part wet" comes from, or how many of its agents are done with."""

    surface: str
    name: str
    zone: str
    state: str
    since_s: int = 0
    wanted_s: int = 0
    how: str = ""


def _title(world: EnclosureSim) -> str:
    """As it is written on the enclosure, not as it is spoken."""
    return world.plan.enclosure.upper()


def cells(world: EnclosureSim, now_ms: int) -> list[Cell]:
    """Every surface the procedure works on, by zone, topmost and rearmost first."""
    plan = world.plan
    steps: dict[str, list[Step]] = {}
    for step in plan.steps:
        if step.kind == WET:
            steps.setdefault(step.surface, []).append(step)
    shown = [s for s in plan.surfaces.values() if s.id in steps] or list(plan.surfaces.values())
    zones = {zone: n for n, zone in enumerate(dict.fromkeys(s.zone for s in shown))}
    shown.sort(key=lambda s: (zones[s.zone], s.height, s.side, s.depth))
    return [_cell(world, s.id, now_ms, steps.get(s.id, [])) for s in shown]


def _cell(world: EnclosureSim, surface: str, now_ms: int, steps: list[Step]) -> Cell:
    spec, now = world.plan.surfaces[surface], world.surfaces[surface]
    wanted = steps[-1].contact_ms if steps else 0
    done, of = _agents_done(world, surface, steps, now_ms)
    since, state, how = 0, DIRTY, ""
    film = now.film
    if film:
        wanted = next((s.contact_ms for s in world.plan.steps if s.surface == surface and s.agent == film.agent), wanted)
    if film and world.is_wet(surface, now_ms):
        since, state = (now_ms - film.since_ms) // 1000, WET_NOW
    elif film and world.some_wet(surface, now_ms) > 0:
        state = PART
        how = "drying" if film.dries_ms <= now_ms else "being wiped" if now_ms < film.last_ms else "not all of it wet"
    elif of and done == of:
        state = DONE
    elif now.dirt >= _SPOILED_DIRT > spec.cleanliness:
        state = SPOILED
    elif done:
        state, how = SOME_DONE, f"{done} of {of} done"
    if now.carried and state in (DIRTY, SOME_DONE, DONE):
        state = CARRIED
    return Cell(surface, spec.name, spec.zone, state, since, wanted // 1000, how if state in (PART, SOME_DONE) else "")


def _agents_done(world: EnclosureSim, surface: str, steps: list[Step], now_ms: int) -> tuple[int, int]:
    """How many agents have been on a surface for long enough, of how many. One that only some cleans ask for counts
    from when it is used, as nobody sees from the enclosure what was planned."""
    firm = {s.agent: s for s in steps if not s.when}
    asked = {s.agent: s for s in steps if s.agent in firm or _acted(world, surface, s.agent, now_ms)} or {s.agent: s for s in steps}
    done = [s for s in asked.values()
            if _acted(world, surface, s.agent, now_ms) and world.acted_ms(surface, s.agent, now_ms) >= s.contact_ms]
    return len(done), len(asked)


def _acted(world: EnclosureSim, surface: str, agent: str, now_ms: int) -> bool:
    """Whether the agent has been on it at all."""
    now = world.surfaces[surface]
    return agent in now.done or bool(now.film and now.film.agent == agent and now.film.last_ms <= now_ms)


def doors(world: EnclosureSim) -> list[tuple[str, bool]]:
    """(name, open) of every opening."""
    return [(o.name, world.openings[o.id] == "open") for o in world.plan.openings.values()]


def air(world: EnclosureSim, now_ms: int) -> list[tuple[str, str]]:
    """(name, state in words) of every cycle that was started."""
    out = []
    for cycle, run in world.cycles.items():
        name = world.plan.cycles[cycle].name
        if run.broken:
            out.append((name, "counts no more"))
        elif run.due_ms <= now_ms:
            out.append((name, "over"))
        else:
            left = (run.due_ms - now_ms) // 1000
            out.append((name, f"{_clock(left)} left, {world.air_left(cycle, now_ms):.1%} of the old air"))
    return out


def blocks(world: EnclosureSim, now_ms: int, width: int = 78) -> str:
    """The drawing for a terminal: one line per surface, a mark, a word and the time."""
    lines, zone = [f"{_title(world)}   hands: {_HANDS.get(world.hands, world.hands)}"], ""
    for cell in cells(world, now_ms):
        if cell.zone != zone:
            zone = cell.zone
            lines.append(f"-- {zone.replace('_', ' ')} ".ljust(width, "-"))
        lines.append(f" [{_LOOK[cell.state][3]}] {cell.name:<34.34} {_words(cell)}"[:width])
    lines.append("-- doors ".ljust(width, "-"))
    lines += [f" {'[    ]' if is_open else '[####]'} {name:<34.34} {'OPEN' if is_open else 'closed'}" for name, is_open in doors(world)]
    lines += [f" (air)  {name:<34.34} {text}"[:width] for name, text in air(world, now_ms)]
    return "\n".join(lines)


def _words(cell: Cell) -> str:
    if cell.state == WET_NOW and 0 < cell.wanted_s <= cell.since_s:
        return "wet long enough"  # "3:11 of 2:00" reads as if something were late
    if cell.state in (PART, SOME_DONE):
        return cell.how or cell.state
    if cell.state == WET_NOW:
        return f"wet {_clock(cell.since_s)}" + (f" of {_clock(cell.wanted_s)}" if cell.wanted_s else "")
    return cell.state


def _clock(seconds: int) -> str:
    return f"{seconds // 60}:{seconds % 60:02d}"


def svg(world: EnclosureSim, now_ms: int) -> str:
    """The drawing as one SVG document, readable without colour."""
    found = cells(world, now_ms)
    zones: dict[str, list[Cell]] = {}
    for cell in found:
        zones.setdefault(cell.zone, []).append(cell)
    width = 2 * 20 + _COLS * _W + (_COLS - 1) * _GAP
    parts, y = [], 58
    for zone, members in zones.items():
        rows = -(-len(members) // _COLS)
        height = _HEAD + rows * (_H + _GAP)
        parts.append(f'<rect class="zone" x="10" y="{y}" width="{width - 20}" height="{height}" rx="6"/>'
                     f'<text class="zone-name" x="20" y="{y + 22}">{escape(zone.replace("_", " "))}</text>')
        for n, cell in enumerate(members):
            x = 20 + (n % _COLS) * (_W + _GAP)
            parts.append(_box(cell, x, y + _HEAD + (n // _COLS) * (_H + _GAP)))
        y += height + 12
    parts.append(_doors_svg(world, now_ms, y))
    y += 104 + 22 * len(air(world, now_ms))
    title = f"{_title(world)}, practice, {_clock(now_ms // 1000)}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {y}" width="{width}" height="{y}" role="img" '
        f'aria-label="{escape(title)}"><title>{escape(title)}</title>{_DEFS}'
        f'<rect width="{width}" height="{y}" fill="#ffffff"/>'
        f'<text class="title" x="14" y="26">{escape(title)}</text>'
        f'<text class="small" x="14" y="46">Hands: {escape(_HANDS.get(world.hands, world.hands))}</text>{"".join(parts)}</svg>\n'
    )


_DEFS = (
    '<defs><pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="8" height="8" fill="#f3eee7"/><rect width="2" height="8" fill="#cfc2b0"/></pattern>'
    '<linearGradient id="half"><stop offset="0.5" stop-color="#cfe6fb"/><stop offset="0.5" stop-color="#f3eee7"/>'
    "</linearGradient></defs>"
    "<style>text{font-family:system-ui,sans-serif;font-size:14px;fill:#222}.title{font-size:19px;font-weight:600}"
    ".small{font-size:14px}.zone{fill:#fafafa;stroke:#9a9a9a}.zone-name{font-weight:600}.state{font-size:13px;font-weight:600}"
    "</style>"
)


def _box(cell: Cell, x: int, y: int) -> str:
    fill, stroke, ink, _ = _LOOK[cell.state]
    name = cell.name if len(cell.name) <= 24 else cell.name[:23] + "…"
    dash = ' stroke-dasharray="6 4"' if cell.state in (PART, SOME_DONE, CARRIED) else ""
    out = (
        f'<g><rect x="{x}" y="{y}" width="{_W}" height="{_H}" rx="4" fill="{fill}" stroke="{stroke}" stroke-width="2"{dash}/>'
        f'<rect x="{x + 4}" y="{y + 5}" width="{_W - 8}" height="20" fill="#ffffff" opacity="0.85"/>'
        f'<text x="{x + 8}" y="{y + 20}">{escape(name)}</text>'
        f'<rect x="{x + 34}" y="{y + 33}" width="{_W - 40}" height="20" fill="#ffffff" opacity="0.85"/>'
        f'<text class="state" x="{x + 38}" y="{y + 48}" style="fill:{ink}">{escape(_words(cell))}</text>'
        f"{_mark(cell.state, x + 8, y + 33, stroke)}"
    )
    if cell.state == WET_NOW and cell.wanted_s:
        part = min(1.0, cell.since_s / cell.wanted_s)
        out += (f'<rect x="{x + 6}" y="{y + _H - 9}" width="{_W - 12}" height="5" fill="#ffffff" stroke="{stroke}"/>'
                f'<rect x="{x + 6}" y="{y + _H - 9}" width="{round((_W - 12) * part)}" height="5" fill="{stroke}"/>')
    return out + "</g>"


def _mark(state: str, x: int, y: int, ink: str) -> str:
    """A sign of its own for each state, about 20 by 20."""
    pen = f'fill="none" stroke="{ink}" stroke-width="3" stroke-linecap="round"'
    shapes = {
        DIRTY: f'<path d="M{x + 2} {y + 18}L{x + 18} {y + 2}M{x + 2} {y + 9}L{x + 9} {y + 2}M{x + 11} {y + 18}L{x + 18} {y + 11}" {pen}/>',
        WET_NOW: "".join(f'<path d="M{x} {y + dy}q5 -6 10 0t10 0" {pen}/>' for dy in (6, 15)),
        PART: f'<path d="M{x} {y + 11}q5 -6 10 0" {pen}/>',
        SOME_DONE: f'<path d="M{x + 2} {y + 10}h16" {pen}/>',
        DONE: f'<path d="M{x + 1} {y + 11}l6 7l12 -15" {pen}/>',
        SPOILED: f'<path d="M{x + 2} {y + 2}l16 16M{x + 18} {y + 2}l-16 16" {pen}/>',
        CARRIED: f'<path d="M{x} {y + 10}h16m-6 -6l6 6l-6 6" {pen}/>',
    }
    return shapes[state]


def _doors_svg(world: EnclosureSim, now_ms: int, y: int) -> str:
    out = [f'<text class="zone-name" x="20" y="{y + 16}">doors</text>']
    for n, (name, is_open) in enumerate(doors(world)):
        x = 20 + n * (_W + _GAP)
        if is_open:
            shape = (f'<path d="M{x} {y + 64}h14M{x + 66} {y + 64}h14" stroke="#222" stroke-width="6"/>'
                     f'<path d="M{x + 14} {y + 64}l40 20" stroke="#b71c1c" stroke-width="4"/>')
        else:
            shape = f'<path d="M{x} {y + 64}h80" stroke="#222" stroke-width="8"/>'
        word = "OPEN" if is_open else "closed"
        out.append(f'{shape}<text x="{x}" y="{y + 34}">{escape(name)}</text><text class="state" x="{x + 90}" y="{y + 69}">{word}</text>')
    for n, (name, text) in enumerate(air(world, now_ms)):
        out.append(f'<text x="20" y="{y + 108 + 22 * n}">{escape(name)}: {escape(text)}</text>')
    return "".join(out)
