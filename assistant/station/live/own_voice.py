"""The hearing profile of whoever works at the gauntlets: found by name, and put to use for the session."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from assistant.account.plans import dressed
from assistant.errors import SiteFileError, UsageError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people.old_profile import old_name, old_profile, trainees_folder
from assistant.hearing.people.profile import Profile, load_profile, profile_folder
from assistant.station.live.setup import Prepared, vocabulary


def profile_of(name: str | None, person: str, language: str, say: Callable[[str], None]) -> Profile | None:
    """The profile called `name`, or else the person's own where there is one in this language.

    Raises UsageError for a named one that isn't there, can't be read or is of another language.
    """
    if name is not None:
        named = load_profile(name)
        if named.language != language:
            raise UsageError(
                f"The profile '{name}' is for '{named.language}', the session for '{language}'.",
                try_next=f"assistant profile {name} --language {language}",
            )
        return named
    try:
        there = (profile_folder() / f"{person}.json").is_file()
        found = load_profile(person) if there else old_profile(trainees_folder() / old_name(person), person)
    except (UsageError, SiteFileError) as error:
        say(f"{error} The session goes on without it.")
        return None
    return found if found is not None and found.language == language else None


def as_said_by(ready: Prepared, profile: Profile | None, say: Callable[[str], None] = lambda text: None) -> Prepared:
    """The same with the words that this voice is understood with; they are what the assistant then asks for."""
    if profile is None:
        return ready
    changes = profile.better_words(ready.pack)
    for word, forms in changes.items():
        say(f'Profile: say "{forms[0]}" instead of "{ready.pack.say[word][0]}".')
    for word in profile.louder:
        if word in ready.pack.say:
            say(f'Profile: say "{(changes.get(word) or ready.pack.say[word])[0]}" louder than you usually do.')
    lost = [ready.pack.say[w][0] for w in profile.troublesome if w not in changes and w in ready.pack.say]
    if lost:
        say("Profile: press the key for " + ", ".join(f'"{form}"' for form in lost) + ": not understood in this voice.")
    if not changes:
        return ready
    pack = ready.pack.with_words(changes)
    return replace(ready, pack=pack, plan=dressed(ready.plan, vocabulary(pack), ready.plan.today))


def bars_of(profile: Profile | None, engine: str) -> Bars:
    """How sure `engine` must be of this person's words. What was learnt with another engine says nothing of this one.
    Wherever the profile came from, a word that confirms is held to the standard at least."""
    if profile is None or profile.engine not in ("", engine):
        return Bars()
    return replace(profile.bars, confirming=max(Bars().confirming, profile.bars.confirming))
