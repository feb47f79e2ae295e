"""Reading in a voice: the dialogue of `soundcheck --enrol`, on the screen and spoken."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from handsfree.hearing.enrolment.keeping import KeptVoice, Voices
from handsfree.hearing.enrolment.reading import ReadTexts, VoiceReading, texts
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.microphone import MicrophoneLost
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import SoundSource
from handsfree.ledger import state_folder
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import ExitCode, Problem
from handsfree.speaking.voice import Voice
from handsfree.speaking.worker import Loudspeaker

_LONGEST_PROMPT_S = 10.0

Tell = Callable[[str, bool], None]
"""Shows a sentence; true where it is to be spoken, too."""


def read_in(person: str, source: SoundSource, microphone: str, model: Path, *, silent: bool) -> None:
    """Let a person read the texts once, and keep how they sounded.

    Raises Problem when nothing was kept, and why.
    """
    folder = ModelFolder.check(model)
    reading = VoiceReading(texts())
    with _told(silent=silent) as (tell, speaking):
        tell(f"Read aloud what is shown, one by one, as you call it at work: {len(texts().read)} times.", True)
        tell('To leave it say "not now". Nothing is kept then.', True)
        _read(reading, texts(), Recogniser(folder.path, Pronunciations()), source, tell, speaking)
        said, why = reading.voice()
        if reading.left:
            why = "Left. Nothing is kept."
        if why:
            tell(why, True)
            raise Problem("there is no enrolment", remedy="try it again where it is quiet", code=ExitCode.FAILED)
        day = time.strftime("%Y-%m-%d")
        Voices(state_folder()).keep(KeptVoice(person, microphone, folder.identity, day, said))
        tell(f'Kept on this device alone, for {person} and the microphone "{microphone}".', True)


def _read(  # noqa: PLR0917 - the parts of one conversation
    reading: VoiceReading,
    wanted_texts: ReadTexts,
    recogniser: Recogniser,
    source: SoundSource,
    tell: Tell,
    speaking: Callable[[], bool],
) -> None:
    """Ask for each text until all were asked for, somebody left, or the sound has ended."""
    listener = Listener(recogniser)
    listener.listen_for(wanted_texts.grammar())
    many = len(wanted_texts.read)
    tell(f"1/{many}  {reading.asked}", False)
    try:
        for heard in _heard(listener, source, speaking):
            asked = reading.asked
            outcome = reading.heard(heard.alternatives, heard.samples)
            if outcome == "again":
                tell(f"Once more: {asked}", True)
            elif reading.asked is not None:
                tell(f"{reading.place + 1}/{many}  {reading.asked}", False)
            if reading.asked is None:
                return
    except MicrophoneLost as lost:
        raise Problem(f'the microphone "{source.name}" was lost: {lost}', remedy="check its plug") from lost


def _heard(listener: Listener, source: SoundSource, speaking: Callable[[], bool]) -> Iterator[Utterance]:
    """Yield what is said while the tool is silent."""
    spoke = False
    for block in source.blocks():
        speaks = speaking()
        if speaks is not spoke:
            listener.tool_speaks(speaks)
            spoke = speaks
        yield from (one for one in listener.hear(block) if isinstance(one, Utterance))
    yield from (one for one in listener.finish() if isinstance(one, Utterance))


@contextlib.contextmanager
def _told(*, silent: bool) -> Iterator[tuple[Tell, Callable[[], bool]]]:
    """Give what tells a sentence, on the screen and by the voice, and what says whether it is speaking."""
    with contextlib.ExitStack() as ended:
        voice = loudspeaker = None
        if not silent:
            voice = Voice()
            ended.callback(voice.close)
            with contextlib.suppress(Problem):  # then all is shown
                loudspeaker = Loudspeaker()
                ended.callback(loudspeaker.close)

        def tell(sentence: str, aloud: bool) -> None:
            sys.stdout.write(f"{sentence}\n")
            sys.stdout.flush()
            sound = voice.render(sentence) if aloud and voice is not None and loudspeaker is not None else None
            if sound is not None and loudspeaker is not None:
                loudspeaker.wait(_LONGEST_PROMPT_S)
                loudspeaker.play(sound)

        yield tell, lambda: loudspeaker is not None and loudspeaker.speaking
        if loudspeaker is not None:
            loudspeaker.wait(_LONGEST_PROMPT_S)
