"""What the technician can ask at any moment. An answer changes nothing but what was said."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.language.sentences import duration, listed
from assistant.procedure.model.plan import Plan, Step
from assistant.session.asking import prompts
from assistant.session.facts import lines
from assistant.session.lookup import branch_steps, first_of_hazard, holds, name_of, said_as, step_of
from assistant.session.state import RUNNING, State
from assistant.session.turn import Turn
from assistant.session.words.allowed import allowed_words


def answer_question(turn: Turn, said: str) -> None:
    """Repeat, how long, still wet, where, what's next, why, help, keys."""
    text = {
        w.REPEAT: _repeat, w.HOW_LONG: _how_long, w.STILL_WET: _still_wet, w.WHERE: _where,
        w.WHATS_NEXT: _next, w.WHY: _why, w.HELP: _help, w.KEYS: _keys,
    }[said](turn)
    turn.speak(lines.ANSWER, text)


def return_line(turn: Turn) -> None:
    """After an interruption: exactly where, what is wet, and for how long."""
    plan, state = turn.plan, turn.state
    if state.mode == "ready" or (state.mode == "rewet" and not state.rewets):
        return  # on the way to something else, which says itself where the work stands
    step = step_of(plan, state)
    plain = state.mode in ("step", "value", "wait") and not state.questioned and state.patch_since_ms < 0
    plain = plain and not state.spelling
    if plain and step is not None:
        text = turn.words("returned", step=_say(turn, step))
    else:
        text = prompts.prompt(plan, state)
    wet = still_wet(plan, state) if state.contacts and not first_of_hazard(plan, state) else ""
    turn.speak(lines.ANSWER, f"{text} {wet}")


def _say(turn: Turn, step: Step) -> str:
    return step.brief if turn.state.brief and step.brief else step.say or turn.words("wait_begin")


def _repeat(turn: Turn) -> str:
    return prompts.prompt(turn.plan, turn.state)


def _running(plan: Plan, state: State) -> list[tuple[int, str]]:
    found = [(c.complete_at_ms, name_of(plan, c.surface)) for c in state.contacts.values()]
    found += [(r.due_ms, name_of(plan, r.cycle)) for r in state.cycles.values() if r.status == RUNNING]
    return sorted(found)


def _how_long(turn: Turn) -> str:
    running = _running(turn.plan, turn.state)
    if not running:
        return turn.words("how_long_none")
    at, name = running[-1]
    return turn.words("how_long", names=name, time=duration(turn.plan.language, at - turn.now_ms))


MOST_NAMED = 3  # more names than that nobody keeps; the site's own judgement, no source


def still_wet(plan: Plan, state: State) -> str:
    """What is wet and how long each still has to stay so: three at most, first what dries or ends first, then how many
    more there are."""
    found = sorted(state.contacts.values(), key=lambda c: (min(c.dries_at_ms, c.complete_at_ms), c.surface))
    if not found:
        return prompts.words(plan, "still_wet_none")
    names = [
        prompts.words(
            plan, "wet_item", name=name_of(plan, c.surface),
            time=duration(plan.language, c.complete_at_ms - state.now_ms),
        )
        for c in found[:MOST_NAMED]
    ]
    if len(found) > MOST_NAMED:
        names.append(prompts.words(plan, "wet_more", n=str(len(found) - MOST_NAMED)))
    return prompts.words(plan, "still_wet", names=listed(plan.language, names))


def _still_wet(turn: Turn) -> str:
    return still_wet(turn.plan, turn.state)


def _where(turn: Turn) -> str:
    step = step_of(turn.plan, turn.state)
    text = turn.words("where", step=_say(turn, step)) if step else turn.words("where_none")
    if turn.state.patch_since_ms >= 0:  # whoever wetted it again and said so would be held to have seen it dry
        text = turn.words("patch_wet")
    if step and turn.state.spelling and turn.state.spelt:
        text = f"{text} {prompts.so_far(turn.plan, turn.state, step)}"
    if turn.state.mode == "paused":
        text = f"{turn.words('not_now_paused')} {text}"
    return text


def _next(turn: Turn) -> str:
    top = turn.state.top
    waiting = [
        s for s in branch_steps(turn.plan, top.branch)
        if s.id not in top.done and s.id not in top.skipped and s.id != turn.state.current and holds(turn.state, s)
    ]
    return turn.words("next", step=_say(turn, waiting[0])) if waiting else turn.words("next_none")


def _why(turn: Turn) -> str:
    step = step_of(turn.plan, turn.state)
    parts = [text for text in (step.why, step.caution) if text] if step else []
    return " ".join(parts) or turn.words("why_none")


def _help(turn: Turn) -> str:
    always = frozenset((*w.MISHAPS, *w.MANNERS, w.KEYS))
    names = [said_as(turn.plan, x) for x in sorted(allowed_words(turn.plan, turn.state) - always)]
    return turn.words("help", words=", ".join(names))


def _keys(turn: Turn) -> str:
    return turn.words("keys_word")
