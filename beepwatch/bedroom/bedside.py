"""The card by the bed, from a household's settings and the words that are spoken at night."""

from beepwatch.paper.card import SOUNDS, Card, Meaning
from beepwatch.settings.household import Household
from beepwatch.waking.catalogue import english
from beepwatch.waking.messages import Messages


def card_of(home: Household, numbers: tuple[str, ...] = (), address: str = "") -> Card:
    """The card of this household; a sound that its device does not have is left out.

    numbers: lines for "Our numbers". address: of the page, without any code.
    """
    settings = home.settings
    names, words = settings.names, settings.words
    messages = Messages(names.caregiver, names.person, words.emergency, words.backup_plan)
    said = english().names
    meanings = {
        tones.pattern: Meaning(messages.title(tones.pattern), messages.body(tones.pattern)[-1])
        for tones in SOUNDS
        if tones.pattern not in settings.disarmed
    }
    return Card(
        person=names.person or said.person,
        goes=tuple(name for name in (names.caregiver, names.second) if name),
        plan=words.backup_plan or said.plan,
        emergency=words.emergency or said.emergency,
        meanings=meanings,
        numbers=numbers,
        address=address,
    )
