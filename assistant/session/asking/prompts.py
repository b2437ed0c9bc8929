"""What is asked or instructed now, in words: for the step that begins, for `repeat`, and after an interruption."""

from __future__ import annotations

from assistant.language import spelling
from assistant.language import vocabulary as w
from assistant.language.sentences import SIGNS, duration, listed, say
from assistant.procedure.model import plan as p
from assistant.session.lookup import (
    ANSWERS,
    came_from,
    can_correct_answers,
    name_of,
    remedy_surface,
    said_as,
    step_of,
    wait_left,
    waited_surfaces,
)
from assistant.session.order.bridges import bridge_step, is_bridge
from assistant.session.state import FINAL_MODES, RUNNING, State
from assistant.session.words import offering


def words(plan: p.Plan, key: str, **values: object) -> str:
    """A line of the assistant's own, in the plan's language, with commands as they are said here."""
    return say(plan.language, key, **{**plan.spoken, **values})


def prompt(plan: p.Plan, state: State) -> str:
    """The question or instruction that is open now; "" before the start."""
    mode = state.mode
    if mode in FINAL_MODES:
        return words(plan, mode)
    if mode == "rewet":
        return rewet(plan, state)
    if mode == "paused":
        return words(plan, "paused")
    if mode == "trouble":
        more = words(plan, "trouble_answers", words=said_as(plan, w.CORRECTION)) if can_correct_answers(plan, state) else ""
        return " ".join((words(plan, "trouble", words=mishap_words(plan)), more)).strip()
    if mode == "which":
        return which(plan, state)
    if mode == "stopping":
        return stop(plan, state)
    if mode == "option":
        option = asked(plan, state)
        if state.questioned:
            return words(plan, "read_back", claim=option.claim) if option.claim else words(plan, "option_back")
        return words(plan, "option_ask", ask=option.ask)
    if mode == "recover":
        return recovery_question(plan, state)
    step = step_of(plan, state)
    if step is None:
        return ""
    if mode == "value_back":
        return words(plan, "value_back", value=spelled(state.value, step, plan.language))
    if mode == "value" and state.spelling:
        return spell(plan, state, step)
    if mode == "read_back":
        return read_back(plan, state, step)
    if mode == "wait":
        return wait(plan, state, step)
    if mode == "witness" and step.kind != p.WITNESS:
        return words(plan, "witness_ask")
    if state.questioned:
        return words(plan, "quick_again")
    if state.patch_since_ms >= 0:
        return words(plan, "patch_wet")
    return instruction(plan, state, step)


def asked(plan: p.Plan, state: State) -> p.Option:
    """The question of the start that is open."""
    return next(o for o in plan.options if o.id == state.value)


def instruction(plan: p.Plan, state: State, step: p.Step) -> str:
    """The words of a step: brief or full; cautions are never shortened."""
    brief = state.brief and bool(step.brief)
    parts = [step.brief if brief else step.say, step.caution]
    if not state.brief:
        parts.append(step.look_for)
    if step.id.startswith("bridge:person:sign-in"):
        return " ".join(parts)
    prompts = {
        p.WET: "say_confirm_wet", p.CHECK: "say_confirm_check", p.READING: "say_number", p.WITNESS: "witness_ask",
        p.PATCH: "say_confirm_wet",
    }
    key = prompts.get(step.kind, "say_confirm")
    if step.kind == p.NOTE:
        key = f"say_{step.value_kind}"
    if not state.brief or step.kind in (p.READING, p.NOTE, p.WITNESS):
        parts.append(words(plan, key))
    return " ".join(part for part in parts if part)


def wait(plan: p.Plan, state: State, step: p.Step) -> str:
    """How long the wait will be and for what."""
    left = wait_left(plan, state, step) - state.now_ms
    names = [name_of(plan, s) for s in waited_surfaces(plan, state, step) if s in state.contacts]
    names += [
        name_of(plan, c) for c in step.wait_for if c in state.cycles and state.cycles[c].status == RUNNING
    ]
    text = words(
        plan, "wait_left", time=duration(plan.language, left), names=listed(plan.language, names)
    ) if names else ""
    parts = [text] if is_bridge(step.id) or not step.say else [step.say, text]
    return " ".join([*parts, step.caution])


def rewet(plan: p.Plan, state: State, *, first: bool = False) -> str:
    """The re-wet at hand, then those that wait for their turn. `first`: said to somebody who speaks of other work."""
    surface, *others = state.rewets
    text = words(plan, "rewet_first" if first else "rewet", name=name_of(plan, surface))
    if others:
        text += " " + words(plan, "rewet_also", names=listed(plan.language, [name_of(plan, s) for s in others]))
    return text


def read_back(plan: p.Plan, state: State, step: p.Step) -> str:
    """What was understood, and how to confirm it."""
    if state.asked == "skip":
        return words(plan, "skip_back")
    return words(plan, "read_back", claim=step.claim) if step.claim else words(plan, "read_back_plain")


def spelled(text: str, step: p.Step, language: str) -> str:
    """A value as it is read back: a lot sign by sign, a number digit by digit with its unit, a date in its parts.

    Digits stand apart, so that they are spoken one by one: fifteen and fifty sound alike.
    """
    if step.value_kind == spelling.NUMBER:
        return f"{_apart(text)} {step.unit}".strip()
    return " ".join(sign_word(sign, spelling.LOT, language) for sign in text) if step.value_kind == spelling.LOT else text


def _apart(number: str) -> str:
    whole, point, rest = number.partition(".")
    sign = "-" if whole.startswith("-") else ""
    return sign + " ".join(whole.removeprefix("-")) + point + rest


def sign_word(sign: str, kind: str, language: str) -> str:
    """How one sign of a value is said back; itself where the language has no word for it."""
    name = ("dash" if kind == spelling.LOT else "minus") if sign == "-" else sign
    return SIGNS[language].get(name, sign)


def spell(plan: p.Plan, state: State, step: p.Step) -> str:
    """Asked sign by sign: what to do at first, later what stands so far."""
    if not state.spelt:
        return words(plan, f"spell_{step.value_kind}")
    return words(plan, "spelt", value=_signs(plan, state, step))


def value_wanted(plan: p.Plan, state: State, step: p.Step) -> str:
    """What can be said where a value is asked for, to somebody who said something else."""
    if not state.spelling:
        return words(plan, "say_number" if step.value_kind == spelling.NUMBER else f"say_{step.value_kind}")
    if state.spelt and not spelling.whole(step.value_kind, state.spelt):
        return words(plan, "spelt_part", value=_signs(plan, state, step))
    return spell(plan, state, step)


def so_far(plan: p.Plan, state: State, step: p.Step) -> str:
    """What stands of a value said sign by sign, to somebody who asks where they are."""
    return words(plan, "spelt_so_far", value=_signs(plan, state, step))


def _signs(plan: p.Plan, state: State, step: p.Step) -> str:
    return " ".join(sign_word(sign, step.value_kind, plan.language) for sign in state.spelt)


def mishap_words(plan: p.Plan) -> str:
    """How each mishap of the plan is named aloud."""
    return ", ".join(dict.fromkeys(said_as(plan, m.word) for m in plan.mishaps.values() if m.word))


def choice_names(plan: p.Plan, state: State) -> list[str]:
    """What the numbers of a "which?" question stand for, as said."""
    if remedy_surface(state):
        return [words(plan, f"remedy_is_{remedy}") for remedy in state.which]
    if state.mishap == ANSWERS:
        return [o.ask.rstrip("?") for option in state.which for o in plan.options if o.id == option]
    return [name_of(plan, surface) for surface in state.which]


def which(plan: p.Plan, state: State) -> str:
    """The question after a mishap's name: which power, or which surface by its number."""
    if remedy_surface(state):
        return words(plan, "which_remedy", choices=" ".join(
            words(plan, "which_choice", n=n, name=name) for n, name in enumerate(choice_names(plan, state), 1)
        ))
    mishap = plan.mishaps.get(state.mishap)
    if mishap is not None and not state.which:
        return " ".join((mishap.asks_which, words(plan, "which_power")))
    names = choice_names(plan, state)
    choices = " ".join(words(plan, "which_choice", n=i + 1, name=names[i]) for i in offering.said_now(state))
    return words(plan, "which_more" if offering.has_more(state) else "which_surface", choices=choices)


def stop_to_do(plan: p.Plan, state: State) -> list[str]:
    """What must be known or done before it is safe to go: wet, to close, to shut off, left running, hands."""
    found = []
    if state.contacts:
        names = listed(plan.language, [name_of(plan, s) for s in state.contacts])
        found.append(words(plan, "stop_wet", names=names))
    found += [words(plan, "stop_close", name=name_of(plan, o)) for o, at in state.openings.items() if at == "open"]
    found += [
        words(plan, "stop_running", name=name_of(plan, run.cycle))
        for run in state.cycles.values()
        if run.status == RUNNING
    ]
    found += [
        words(plan, "bridge_machine", name=machine, value=value)
        for machine, value in plan.end_machines.items()
        if state.machines.get(machine) != value
    ]
    found += plan.stop_says
    if state.hands != plan.end_hands:
        found.append(bridge_step(plan, f"bridge:move:{plan.end_hands}", state.hands).say)
    return found


def stop(plan: p.Plan, state: State) -> str:
    """The whole of a safe stop, as said."""
    return " ".join([words(plan, "stop"), *stop_to_do(plan, state), words(plan, "stop_confirm")])


def recovery_question(plan: p.Plan, state: State) -> str:
    """The question after a break that is open now, or ""."""
    if not state.questions:
        return ""
    kind, subject = state.questions[0].split(":", 1)
    if kind == "opening":
        at = words(plan, "open" if state.openings[subject] == "open" else "closed")
        return words(plan, "recover_opening", name=name_of(plan, subject), position=at)
    if kind == "hands":
        return words(plan, f"recover_hands_{subject}")
    step = bridge_step(plan, subject, came_from(plan, state, subject)) if is_bridge(subject) else plan.step(subject)
    return words(plan, "recover_last", step=step.say)
