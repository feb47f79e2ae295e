"""The recogniser of a visit for trials at a desk: what a visit would make of a sound. Nothing is recorded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from handsfree.demo.play import scenario_files
from handsfree.events.inputs import Heard
from handsfree.events.state import State
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.listener import Listener, Utterance, whole_utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import Recording
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import Meaning
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.questions import Question
from handsfree.questions.grammar import stop_grammar
from handsfree.session.fusion import Interpretation, choose
from handsfree.session.plan import Plan
from handsfree.visit.hearing import heard_from

Does = Literal["taken at once", "asked", "not heard"]
"""What a visit does: it takes the words, it asks whether they were meant, or it takes nothing and asks again."""
Choose = Callable[[Heard], Interpretation]
"""The session's own choice at a question."""


@dataclass(frozen=True)
class Judged:
    """What a visit makes of one sound."""

    heard: Heard | None
    """None where nobody was heard to speak."""
    chosen: Interpretation

    @property
    def does(self) -> Does:
        """What the visit would do."""
        if self.chosen.meaning is None:
            return "not heard"
        return "asked" if self.chosen.doubt else "taken at once"

    @property
    def meaning(self) -> Meaning | None:
        """What it was taken for; None where it was not heard."""
        return self.chosen.meaning

    @property
    def text(self) -> str:
        """The words: those that were taken, else what it sounded like; empty for nothing and for other speech."""
        words = self.chosen.words
        if not words and self.heard is not None and self.heard.alternatives:
            words = self.heard.alternatives[0].text
        return "" if UNKNOWN_WORD in words and self.meaning is None else " ".join(words)

    @property
    def why(self) -> str:
        """What speaks against the words; empty where nothing does."""
        return self.chosen.doubt or self.chosen.why


class TrialRecogniser:
    """Hears sounds as a visit does, by both our networks and, with a plan for it, the third opinion.

    The third opinion is waited for however long it takes. Raises Problem when the model cannot be used.
    """

    def __init__(
        self,
        model: Path,
        pronunciations: Pronunciations,
        catalogue: Catalogue,
        general: GeneralPlan | None = None,
    ) -> None:
        member = None if general is None else GeneralMember(general, pronunciations)
        if member is not None:
            member.wait().patient()
        self._recogniser = Recogniser(model, pronunciations, member)
        self._stop_words = stop_grammar(catalogue).automaton

    def whole(self, sound: Samples, grammar: Grammar, choose_at: Choose) -> Judged:
        """Return what is made of a sound that is one utterance from end to end."""
        utterance = whole_utterance(self._recogniser, grammar.automaton, sound)
        return _judged(utterance, grammar, choose_at)

    def each(self, sound: Samples, grammar: Grammar, choose_at: Choose) -> Sequence[Judged]:
        """Return what is made of each utterance in a sound that has some of the room around them."""
        listener = Listener(self._recogniser, self._stop_words)
        listener.listen_for(grammar.automaton)
        told = listener.utterances(Recording(sound))
        return [_judged(one, grammar, choose_at) for one in told if isinstance(one, Utterance)]

    def first(self, sound: Samples, grammar: Grammar, choose_at: Choose) -> Judged:
        """Return the first utterance in a sound that answers the question, else what there is."""
        nothing = Judged(None, Interpretation(None, why="nothing heard"))
        found = [*self.each(sound, grammar, choose_at), nothing]
        return next((one for one in found if one.meaning is not None), found[0])


def at_question(plan: Plan, gate: str, question: Question, grammar: Grammar) -> Choose:
    """Return how a visit chooses at a question of a gate before it knows any reading."""
    state = State(status="running", gate=gate, question=question)
    return lambda heard: choose(plan, state, grammar, heard)


def example_plan(procedure: Procedure) -> Plan:
    """Return a procedure with the example sheets of its trade, whether they hold all that it asks for or not."""
    sheets, _ = load_sheets(procedure.trade.example or scenario_files()[0])
    return Plan(procedure, sheets)


def _judged(utterance: Utterance, grammar: Grammar, choose_at: Choose) -> Judged:
    heard = heard_from(utterance, 0, 0, grammar.automaton.identity, None)
    return Judged(heard, choose_at(heard))
