"""A failed proof: what is wrong, where it stands, and the shortest story that shows it."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.documents import Place


@dataclass(frozen=True)
class Beat:
    """One step of a story: the gate, what was said or happened there, and what is altered afterwards."""

    gate: str
    said: str
    altered: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProofFinding:
    """One failed proof at one place."""

    proof: str
    what: str
    place: Place
    gate: str | None = None
    story: tuple[Beat, ...] = ()
    remedy: str = ""

    def to_json(self) -> dict[str, object]:
        """Return the finding as plain data."""
        return {
            "proof": self.proof,
            "what": self.what,
            "file": self.place.file,
            "line": self.place.line,
            "column": self.place.column,
            "gate": self.gate,
            "story": [{"gate": b.gate, "said": b.said, "altered": list(b.altered)} for b in self.story],
            "remedy": self.remedy,
        }


PROOFS: dict[str, str] = {
    "reachable": "Every gate is reached by some visit.",
    "can-finish": "From every gate, written stops aside, the finish can still be reached.",
    "proves": "Whatever the procedure says it is for can be shown on a transition to the finish.",
    "can-stop": "At every question of every gate each stop and hazard phrase is understood, and as nothing else.",
    "bounded": "Every loop ends: when all bounds are used up, no transition leads round again.",
    "restored": "Whatever was altered is restored before the finish.",
    "needs": "No way forward enters a gate with a thing in another state than the gate needs.",
    "captured": "A setting is read as found before it is changed, and never after.",
    "branches": "Every outcome of a calculation leads somewhere, no branch is dead, its inputs can be there.",
    "fresh": "No verdict judges readings that an adjuster moves, taken before the last turn of an adjuster.",
    "advice": "A turn is advised only on readings judged out, after the supply was judged, with no hazard open.",
    "resolved": "No visit finishes with a verdict left outside.",
    "decides": "Every question decides something; a word that stops the visit does so at every question.",
    "own-words": "What alters or restores something is passed by words that name the state, never by yes or done.",
    "alike": "Gates that do the same need the same, and one between others what these need; one order puts back.",
    "not-done": 'Any gate can be passed by "not done, because", except stops, isolations, changes and restores.',
    "second-person": "What a second person answers is on no way skipped to where the answer would have led.",
    "firing": "A gate that reads a held rate, times the meter or lies between firing gates is marked firing.",
    "re-entry": "From no gate does a stop lead back to where something fires without the steps that it requires.",
    "apart": "Phrases accepted together sound different enough, and none begins another.",
    "vocabulary": "Every word that is heard has a pronunciation.",
    "sayable": "Every number a gate asks for can be said, and its limits lie inside what can be said.",
    "limits": "Every written limit can be met and missed by values that can be called.",
    "one-limit": "One quantity at one measurement point is judged by one set of written limits.",
    "rows": "Every row of a table is read by some visit, in the unit of what it judges.",
    "in-order": "The gates of a declared order are come to in that order.",
    "units": "Readings kept under one name have one unit, and every unit can be said.",
    "translated": "Every text is there in each language of the file, but where the author lets it lack.",
    "sources": "Every gate, wait and limit says where it comes from.",
    "short": "No prompt is longer than can be held in mind.",
    "clean": "No text of the tool holds a stop or hazard phrase or promises that something is safe.",
    "action-first": "Every stop script begins with what to do, and asks nothing.",
    "sheets": "Prompts and job sheet facts name what the sheets have.",
}
"""The proofs by name and what each says; the order in which they are reported."""
