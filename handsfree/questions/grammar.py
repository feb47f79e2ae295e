"""Everything that is understood at a question of a gate, and every word that may be heard on a visit."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.checks import heard
from handsfree.lexicon.grammar import Grammar
from handsfree.questions import Question
from handsfree.questions.kind import Scope
from handsfree.questions.rules import everywhere, hazard_rule, taken_back


def grammar(question: Question, scope: Scope) -> Grammar:
    """Return all that is understood at a question; once the work has stopped, only its answers and hazards.

    There the last answer may be called wrong at each step: what was misheard or missaid must not stand.
    """
    own = question.rules(scope)
    if question.manner.asker == "stop":
        back = (taken_back(scope.catalogue),) if question.manner.taken_back else ()
        return Grammar((*back, *own, hazard_rule(scope.catalogue)))
    return Grammar((*own, *everywhere(scope.catalogue, photo=scope.photo)))


def stop_grammar(catalogue: Catalogue) -> Grammar:
    """Return what is heard over the tool's own voice: stop and hazard phrases alone."""
    return Grammar((hazard_rule(catalogue),))


def words(catalogue: Catalogue, scopes: Iterable[Scope]) -> frozenset[str]:
    """Return every word that may be heard at gates of these scopes, whatever the course of the visit."""
    asked: set[str] = {*catalogue.taken_back, *catalogue.over_range}
    texts: list[str] = []
    for scope in scopes:
        asked |= {ask.quantity for ask in scope.asks} | ({scope.watched} if scope.adjusts else set())
        texts += [state for thing in scope.things.values() for state in (thing.altered, thing.restored)]
        texts += [text for phrases in scope.answers.values() for text in phrases]
    known = [catalogue.quantities[name] for name in asked if name in catalogue.quantities]
    units = {unit for one in known for unit in (one.unit, *one.also)}
    for path, text in heard(catalogue):
        others = {"quantities": asked, "units": units, "spelling": frozenset()}.get(str(path[0]))
        if others is None or (len(path) > 1 and path[1] in others):
            texts.append(text)
    return frozenset(word for text in texts for word in text.split())
