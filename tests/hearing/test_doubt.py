"""Where much else sounds like a tone, a burst needs more evidence; a tone that is known or comes again needs less."""

from dataclasses import replace

import pytest

from beepwatch.events import Character
from beepwatch.hearing.doubt import AGAIN, EACH, LATELY, Doubt
from beepwatch.hearing.finish import Found

VOICE = Character(purity=0.2)
BUZZER = Character()


def burst(onset: float, evidence: float, hertz: float = 2700.0, character: Character = BUZZER) -> Found:
    return Found(onset, 1.2, hertz, -40.0, 0, character, evidence, at_start=False)


def after_voices(count: int) -> Doubt:
    """A judge that has just refused `count` bursts of a voice."""
    doubt = Doubt()
    for i in range(count):
        assert not doubt.sounder(burst(i * 0.1, 500.0, 800.0, VOICE), taught=False)
    return doubt


def test_a_faint_burst_alone_is_told() -> None:
    """In noise nothing is refused, and the least evidence will do."""
    assert Doubt().sounder(burst(0.0, 30.0), taught=False)


def test_each_refused_burst_asks_for_more() -> None:
    """Just under the evidence that is asked a burst is refused, just over it is told."""
    assert not after_voices(5).sounder(burst(1.0, 5 * EACH - 1), taught=False)
    assert after_voices(5).sounder(burst(1.0, 5 * EACH + 1), taught=False)


def test_refusals_are_forgotten() -> None:
    """Ten seconds after a talk has ended a faint beep is told again."""
    assert after_voices(5).sounder(burst(LATELY + 2.0, 30.0), taught=False)


def test_of_a_known_tone_less_is_asked() -> None:
    """At the taught tone a burst in talk needs a quarter of what another does; alone it needs nothing more."""
    assert not after_voices(5).sounder(burst(1.0, 5 * EACH * AGAIN - 1), taught=True)
    assert after_voices(5).sounder(burst(1.0, 5 * EACH * AGAIN + 1), taught=True)
    assert Doubt().sounder(burst(1.0, 30.0), taught=True)


def test_a_doubtful_tone_is_told_when_it_comes_again() -> None:
    """The second burst of one tone and length needs a quarter; one of another tone or length does not count."""
    enough = 6 * EACH * AGAIN + 1
    doubt = after_voices(5)
    assert not doubt.sounder(burst(1.0, enough), taught=False)
    assert not doubt.sounder(burst(3.0, enough, hertz=2720.0), taught=False)
    assert not doubt.sounder(replace(burst(5.0, enough), duration=0.7), taught=False)
    doubt = after_voices(5)
    assert not doubt.sounder(burst(1.0, enough), taught=False)
    assert doubt.sounder(burst(3.0, enough), taught=False)


def test_a_spoilt_tone_is_told_when_it_comes_again() -> None:
    """A beep that a louder sounder stands over is not told the first time, and is told the second time."""
    over = replace(BUZZER, company=-25.0)
    doubt = Doubt()
    assert not doubt.sounder(burst(0.0, 5000.0, character=over), taught=False)
    assert doubt.sounder(burst(3.0, 5000.0, character=over), taught=False)


def test_a_tone_heard_well_before_may_be_bent_the_next_time() -> None:
    """A null of the room that one beep has passed by bends the next one; another length or tone does not count."""
    bent = replace(BUZZER, purity=0.5, flatness=15.0)
    doubt = Doubt()
    assert doubt.sounder(burst(0.0, 5000.0), taught=False)
    assert not doubt.sounder(burst(5.0, 5000.0, 2720.0, bent), taught=False)
    assert not doubt.sounder(replace(burst(10.0, 5000.0, character=bent), duration=0.7), taught=False)
    assert doubt.sounder(burst(15.0, 5000.0, character=bent), taught=False)
    doubt = Doubt()
    assert doubt.sounder(burst(0.0, 5000.0), taught=False)
    assert not doubt.sounder(burst(31.0, 5000.0, character=bent), taught=False)


def test_a_pure_long_tone_under_a_louder_one_is_told() -> None:
    """A battery's tone under music: nothing else will tell of it for a minute or an hour. A breath's comes again."""
    under = Character(purity=0.95, flatness=3.0, company=-5.0)
    long = replace(burst(0.0, 5000.0, character=under), duration=10.0)
    assert Doubt().sounder(long, taught=False)
    assert not Doubt().sounder(replace(long, duration=1.2), taught=False)
    assert not Doubt().sounder(replace(long, character=replace(under, purity=0.8)), taught=False)
    assert not Doubt().sounder(replace(long, character=replace(under, company=-12.0)), taught=False)


def test_the_rest_of_a_long_tone_is_told_after_its_first_piece() -> None:
    """A null of the room ended the first track: what sounds just before the second is no hum, but that piece."""
    rest = replace(burst(3.7, 5000.0, hertz=4551.0), duration=19.5, character=replace(BUZZER, before=1.5))
    assert not Doubt().sounder(rest, taught=False)
    doubt = Doubt()
    assert doubt.sounder(replace(burst(3.0, 500.0, hertz=4545.0), duration=0.6), taught=False)
    assert doubt.sounder(rest, taught=False)


@pytest.mark.parametrize(("hertz", "duration", "onset"), [(4400.0, 19.5, 3.7), (4551.0, 5.0, 3.7), (4551.0, 19.5, 5.0)])
def test_what_is_no_further_piece_is_doubted_as_before(hertz: float, duration: float, onset: float) -> None:
    """Another line, a tone no longer than music's notes, or one that begins long after the piece has ended."""
    doubt = Doubt()
    assert doubt.sounder(replace(burst(3.0, 500.0, hertz=4545.0), duration=0.6), taught=False)
    rest = replace(burst(onset, 5000.0, hertz=hertz), duration=duration, character=replace(BUZZER, before=1.5))
    assert not doubt.sounder(rest, taught=False)
