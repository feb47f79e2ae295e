"""The three stories of a stop by sound: the voice of the demo in burner noise, heard by the real ears.

Each beat is spoken 15 dB over the noise of a burner, cut out and heard by the listener and the recogniser that a
visit uses, in the grammar of the moment, and decided by the session. What the tool says is compared word for word.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

for folder in ("hearing", "session/support"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))

from own_voice import rendered  # noqa: E402
from rehearsed import at, spoken  # noqa: E402
from sounds import burner_noise  # noqa: E402

from handsfree.hearing.listener import Listener, Utterance  # noqa: E402
from handsfree.hearing.recogniser import Recogniser  # noqa: E402
from handsfree.hearing.sources import Recording  # noqa: E402
from handsfree.session.rehearsal import Rehearsal  # noqa: E402
from handsfree.shipped import model_folder  # noqa: E402
from handsfree.visit.hearing import heard_from  # noqa: E402

VOICE = "en-us+m3"
"""Two voices that taught no network are heard so too at gas and turn; their "false stop" stays in doubt."""
RATE = 16_000
BELOW_DB = 15
GAS = "Gas. Touch no switch. Everyone out. Call from outside."
OFF = "Burner off now. Gas cock closed. Stay clear."

STORIES = {
    "gas": (
        ("found-maximum", "gate"),
        (
            ("gas smell", GAS),
            ("carry on", GAS),
            ("outside", "Emergency control: closed, or not reached?"),
            ("control closed", "Who is inside?"),
        ),
    ),
    "stop": (
        ("found-maximum", "gate"),
        (
            ("stop", OFF),
            ("false stop", "Burner: firing, or out?"),
            ("out", "Purge wait by the manual: over, or waiting?"),
            ("wait over", "Light up, watch it. Lit smoothly, or rough?"),
            ("lit smoothly", "Hold maximum again."),
        ),
    ),
    "turn": (
        ("maximum-turn", "turn"),
        (
            ("clockwise one turn", "Say the turn again."),
            ("clockwise one turn", "CO?"),
            ("over range", "Over range. Burner off now."),
        ),
    ),
}


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(model_folder())


def told(visit: Rehearsal, recogniser: Recogniser, words: str) -> list[str]:
    """Let the visit hear words as sound; return what the tool says."""
    (voice,) = rendered(VOICE, [words])
    sound = np.concatenate([np.zeros(round(1.6 * RATE)), voice, np.zeros(round(1.5 * RATE))])
    sound += np.resize(burner_noise(10), len(sound)) * 2000 * 10 ** (-BELOW_DB / 20)
    grammar = visit.plan.grammar(visit.state.question, visit.state.gate).automaton
    listener, said = Listener(recogniser), []
    listener.listen_for(grammar)
    for one in listener.utterances(Recording(np.clip(sound, -32768, 32767).astype(np.int16))):
        if isinstance(one, Utterance):
            now = visit.state.now + 2_000
            said += spoken(visit.take(heard_from(one, now - 1_500, now, grammar.identity, None)))
    return said


@pytest.mark.slow("five seconds of each of twelve calls are cut out and heard")
@pytest.mark.parametrize("story", STORIES)
def test_each_beat_of_a_story_is_heard_and_answered_word_for_word(story: str, recogniser: Recogniser) -> None:
    place, beats = STORIES[story]
    visit = at(*place)
    for words, tool in beats:
        assert told(visit, recogniser, words)[-1:] == [tool], words
